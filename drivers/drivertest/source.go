package drivertest

import (
	"context"
	"errors"
	"io"
	"math"
	"time"

	"dimwatch/drivers"
)

// source is a source under test.
type source struct {
	drivers.Source
	run *run
}

// slack is how much later than asked a call may come back on a busy machine. Not constants for the tests of the suite.
var slack = 2 * time.Second

// recovery is how long a device that is well again may take to be read well again.
var recovery = 10 * time.Second

// sentinels are what an error of Read wraps.
var sentinels = []error{drivers.ErrTimeout, drivers.ErrRefused, drivers.ErrReply, drivers.ErrDevice, drivers.ErrNoAnswer,
	drivers.ErrClosed, io.EOF}

// read reads once and checks what holds for every Read.
func (s *source) read(ctx context.Context) ([]drivers.Reading, error) {
	s.run.Helper()
	points := s.run.world.Points
	out := make([]drivers.Reading, len(points))
	for i := range out {
		// What the driver does not set is seen: a good value that is nobody's.
		out[i] = drivers.Reading{Value: math.Inf(1), Quality: drivers.Good, Reason: "never set"}
	}
	err := s.Read(ctx, out)
	if err != nil && !isSentinel(err) {
		s.run.Errorf("the error wraps none of the contract's: %v", err)
	}
	for i, r := range out {
		switch {
		case r.Reason == "never set":
			s.run.Errorf("reading %d was not set (error: %v)", i, err)
		case r.At.IsZero():
			s.run.Errorf("reading %d has no time", i)
		case r.Quality == drivers.Good && err != nil:
			s.run.Errorf("reading %d is good and Read failed: %v", i, err)
		case r.Quality == drivers.Good && r.Value != points[i].Want:
			s.run.Errorf("reading %d is %v as good, its point has %v", i, r.Value, points[i].Want)
		case r.Quality == drivers.Good && r.Reason != "":
			s.run.Errorf("reading %d is good and has a reason: %s", i, r.Reason)
		case r.Quality != drivers.Good && r.Reason == "":
			s.run.Errorf("reading %d is %v without a reason", i, r.Quality)
		}
	}
	return out, err
}

func isSentinel(err error) bool {
	for _, s := range sentinels {
		if errors.Is(err, s) {
			return true
		}
	}
	return false
}

// good counts the good readings.
func good(out []drivers.Reading) int {
	n := 0
	for _, r := range out {
		if r.Quality == drivers.Good {
			n++
		}
	}
	return n
}

// mustRead reads once and wants everything good.
func (s *source) mustRead() []drivers.Reading {
	s.run.Helper()
	out, err := s.read(context.Background())
	if err != nil || good(out) != len(out) {
		s.run.broken("Read of a device that is well: error %v, readings %+v", err, out)
	}
	return out
}

// mustFail reads once and wants an error.
func (s *source) mustFail() error {
	s.run.Helper()
	out, err := s.read(context.Background())
	if err == nil {
		s.run.broken("Read gave no error, readings %+v", out)
	}
	return err
}

// recover reads again and again until want readings are good, as a poller would.
func (s *source) recover(want int) []drivers.Reading {
	s.run.Helper()
	for end := time.Now().Add(recovery); ; {
		out, err := s.read(context.Background())
		if good(out) >= want || s.run.Failed() {
			return out
		}
		if time.Now().After(end) {
			s.run.broken("%d readings are good %s later, want %d; the last error: %v", good(out), recovery, want, err)
			return out
		}
		time.Sleep(max(s.run.world.Cycle, 5*time.Millisecond))
	}
}

// within runs f and wants it to come back in time.
func (r *run) within(d time.Duration, f func()) {
	r.Helper()
	start := time.Now()
	f()
	if took := time.Since(start); took > d+slack {
		r.broken("it took %s, which is longer than %s by more than %s", took, d, slack)
	}
}
