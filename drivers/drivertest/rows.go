package drivertest

import (
	"context"
	"errors"
	"io"
	"runtime"
	"time"

	"dimwatch/drivers"
)

// rows is the contract.
var rows = []struct {
	name   string
	needs  []Ability
	clause string
	check  func(r *run)
}{
	{"values", nil,
		"Read sets every element of out, in the order of Device.Points, with time, value and quality",
		func(r *run) {
			s := r.open(r.device("north"))[0]
			for range 3 {
				s.mustRead()
			}
		}},

	{"time", []Ability{Endless},
		"the time of a live reading is when its value was received",
		func(r *run) {
			s := r.open(r.device("north"))[0]
			before := time.Now()
			out := s.mustRead()
			after := time.Now()
			for i, x := range out {
				if x.At.Before(before) || x.At.After(after) {
					r.broken("reading %d is of %s, Read ran from %s to %s", i, x.At, before, after)
				}
			}
		}},

	{"no points", nil,
		"a device without points is no mistake: Read does nothing, or reads on to the next row",
		func(r *run) {
			d := r.device("north")
			d.Points = nil
			s := r.open(d)[0]
			if err := s.Read(context.Background(), nil); err != nil && !isSentinel(err) {
				r.broken("Read: %v", err)
			}
		}},

	{"one bad point", []Ability{Refuse},
		"a point that fails alone is a quality, not an error, and spares the rest, at the latest after some cycles",
		func(r *run) {
			bad := len(r.world.Points) / 2
			r.world.Refuse(bad)
			s := r.open(r.device("north"))[0]
			out := s.recover(len(r.world.Points) - 1)
			if out[bad].Quality == drivers.Good {
				r.broken("the point that cannot be read is good")
			}
			if r.world.Rows == 0 {
				again, err := s.read(context.Background())
				if err != nil || good(again) != len(again)-1 {
					r.broken("the Read after it gave %d good readings, error %v", good(again), err)
				}
			}
		}},

	{"open offline", []Ability{Cut},
		"Open touches no wire and opens no file: a configuration can be checked in an office",
		func(r *run) {
			r.world.Cut()
			s := r.open(r.device("north"))[0]
			if len(s.Plan()) == 0 {
				r.broken("a source that was not read yet has no plan")
			}
			s.mustFail()
		}},

	{"nothing in the device block", nil,
		"Open reports what is missing, at a place in the configuration",
		func(r *run) {
			d := r.device("north")
			d.Body = body(r.T, "")
			_, diags := r.rig.Kind.Open([]drivers.Device{d})
			if !diags.HasErrors() {
				r.broken("Open of an empty device block has no error")
			}
			for _, x := range diags {
				if x.Subject == nil || x.Detail == "" {
					r.broken("a diagnostic without place or detail: %v", x)
				}
			}
		}},

	{"every mistake", nil,
		"every mistake of every device is reported, also a key that is not known",
		func(r *run) {
			one, two := r.device("north"), r.device("south")
			one.Body = body(r.T, r.world.Body+"\nno_such_key = 1\n")
			two.Body = one.Body
			_, diags := r.rig.Kind.Open([]drivers.Device{one, two})
			if n := len(diags.Errs()); n < 2 {
				r.broken("Open reported %d mistakes of two", n)
			}
		}},

	{"two devices", nil,
		"Open makes one source for each device, in order; they may share a connection, and closing one spares the other",
		func(r *run) {
			short := r.device("south")
			short.Points = short.Points[:1]
			both := r.open(r.device("north"), short)
			both[0].mustRead()
			out := make([]drivers.Reading, 1)
			if err := both[1].Read(context.Background(), out); err != nil || good(out) != 1 || out[0].Value != r.world.Points[0].Want {
				r.broken("the second source gave %+v, error %v", out, err)
			}
			both[1].Close()
			both[0].mustRead()
		}},

	{"out is not kept", nil,
		"out belongs to the caller and is not kept",
		func(r *run) {
			s := r.open(r.device("north"))[0]
			first := s.mustRead()
			for i := range first {
				first[i] = drivers.Reading{Value: -1, Quality: drivers.Bad, Reason: "mine"}
			}
			s.mustRead()
			for i, x := range first {
				if x.Reason != "mine" || x.Value != -1 {
					r.broken("reading %d of the first Read was changed by the second: %+v", i, x)
				}
			}
		}},

	{"plan", nil,
		"Plan tells what one Read asks, a line a request",
		func(r *run) {
			lines := r.open(r.device("north"))[0].Plan()
			if len(lines) == 0 {
				r.broken("no line for %d points", len(r.world.Points))
			}
			for i, l := range lines {
				if l == "" {
					r.broken("line %d is empty", i)
				}
			}
		}},

	{"counts", nil,
		"Counts are the requests made so far and only grow",
		func(r *run) {
			s := r.open(r.device("north"))[0]
			if s.Counts() != (drivers.Counts{}) {
				r.broken("before the first Read they are %+v", s.Counts())
			}
			s.mustRead()
			one := s.Counts()
			s.mustRead()
			two := s.Counts()
			if one.OK == 0 || two.OK < one.OK || two.Timeout+two.Exception+two.Protocol+two.Closed > 0 {
				r.broken("after one good Read they are %+v, after two %+v", one, two)
			}
		}},

	{"deadline", []Ability{Delay},
		"Read returns when ctx is done: at its deadline, though the device's timeout is longer",
		func(r *run) {
			r.world.Timeout = time.Minute
			s := r.open(r.device("north"))[0]
			s.mustRead()
			r.world.Delay(time.Hour)
			ctx, cancel := context.WithTimeout(context.Background(), 50*time.Millisecond)
			defer cancel()
			r.within(50*time.Millisecond, func() {
				if _, err := s.read(ctx); !errors.Is(err, context.DeadlineExceeded) {
					r.broken("the error does not wrap that of the context: %v", err)
				}
			})
			r.world.Delay(0)
			s.recover(len(r.world.Points))
		}},

	{"cancel", []Ability{Delay},
		"Read returns when ctx is done: while it waits for the device",
		func(r *run) {
			r.world.Timeout = time.Minute
			s := r.open(r.device("north"))[0]
			s.mustRead()
			r.world.Delay(time.Hour)
			ctx, cancel := context.WithCancel(context.Background())
			time.AfterFunc(50*time.Millisecond, cancel)
			r.within(50*time.Millisecond, func() {
				if _, err := s.read(ctx); !errors.Is(err, context.Canceled) {
					r.broken("the error does not wrap that of the context: %v", err)
				}
			})
			r.world.Delay(0)
			s.recover(len(r.world.Points))
		}},

	{"cancelled before", nil,
		"Read returns when ctx is done: also if it is done already",
		func(r *run) {
			s := r.open(r.device("north"))[0]
			ctx, cancel := context.WithCancel(context.Background())
			cancel()
			r.within(0, func() { s.read(ctx) })
		}},

	{"late answers", []Ability{Delay},
		"a device that does not answer in time is ErrTimeout, and what it says later is not taken for something else",
		func(r *run) {
			s := r.open(r.device("north"))[0]
			s.mustRead()
			r.world.Delay(r.world.Timeout + r.world.Timeout/2)
			r.within(r.world.Timeout, func() {
				if err := s.mustFail(); !errors.Is(err, drivers.ErrTimeout) {
					r.broken("the error is no ErrTimeout: %v", err)
				}
			})
			for range 5 {
				s.read(context.Background())
			}
			r.world.Delay(0)
			s.recover(len(r.world.Points))
		}},

	{"cut and restored", []Ability{Cut, Restore},
		"a device that goes away is an error, and it is read again when it is back",
		func(r *run) {
			s := r.open(r.device("north"))[0]
			s.mustRead()
			r.world.Cut()
			for range 3 {
				r.within(r.world.Timeout, func() { s.mustFail() })
			}
			r.world.Restore()
			s.recover(len(r.world.Points))
		}},

	{"garbled answers", []Ability{Garble},
		"an answer that breaks the protocol is no value, and the next sound one is",
		func(r *run) {
			s := r.open(r.device("north"))[0]
			s.mustRead()
			r.world.Garble(true)
			s.mustFail()
			for range 3 {
				s.read(context.Background())
			}
			r.world.Garble(false)
			s.recover(len(r.world.Points))
		}},

	{"end", []Ability{End},
		"a recording ends with io.EOF, again and again",
		func(r *run) {
			s := r.open(r.device("north"))[0]
			for range r.world.Rows {
				s.mustRead()
			}
			for range 2 {
				if err := s.mustFail(); !errors.Is(err, io.EOF) {
					r.broken("after the last row the error is %v", err)
				}
			}
		}},

	{"close", nil,
		"Close may be called twice, also before the first Read, and a Read after it is ErrClosed",
		func(r *run) {
			both := r.open(r.device("north"), r.device("south"))
			both[0].mustRead()
			for _, s := range both {
				for range 2 {
					if err := s.Close(); err != nil {
						r.broken("Close: %v", err)
					}
				}
				if err := s.mustFail(); !errors.Is(err, drivers.ErrClosed) {
					r.broken("Read after Close: %v", err)
				}
			}
		}},

	{"nothing left", nil,
		"after Close nothing goes on running",
		func(r *run) {
			before := runtime.NumGoroutine()
			s := r.open(r.device("north"))[0]
			s.mustRead()
			s.Close()
			for end := time.Now().Add(slack); runtime.NumGoroutine() > before; time.Sleep(5 * time.Millisecond) {
				if time.Now().After(end) {
					buf := make([]byte, 1<<16)
					r.broken("%d goroutines, before Open %d:\n%s", runtime.NumGoroutine(), before, buf[:runtime.Stack(buf, true)])
					return
				}
			}
		}},
}
