package modbus

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"dimwatch/drivers"
	"dimwatch/drivers/plan"
)

// reply is the timeout of the tests in which answers are late: far longer than loopback needs on a busy machine.
const reply = 250 * time.Millisecond

// misbehaviours are what devices and gateways do, each once here. Two things are wanted of every row, in
// TestMisbehaviour: what the row says of the one reading, and that the next one is right again. TestNothingWrongIsGood
// then mixes all rows.
var misbehaviours = []struct {
	name string
	do   func(x *exchange)

	err   error                         // what Read fails with; nil where it is good
	count func(c drivers.Counts) uint64 // what the request is counted as; nil where it is OK
	kept  bool                          // the connection serves the next request as well
	after error                         // what the next Read fails with, for what is only seen then
}{
	{name: "late reply", kept: true, err: drivers.ErrTimeout, count: timeouts,
		do: func(x *exchange) { x.sleep(reply + reply/2); x.answer() }},
	{name: "reply to the request before, then the right one", kept: true,
		do: func(x *exchange) { x.send(x.wrong(x.id-1, x.unit, x.function)); x.answer() }},
	{name: "duplicate reply", kept: true,
		do: func(x *exchange) { x.answer(); x.answer() }},
	{name: "wrong transaction", err: drivers.ErrReply, count: protocols,
		do: func(x *exchange) { x.send(x.wrong(x.id+100, x.unit, x.function)) }},
	{name: "wrong unit", err: drivers.ErrReply, count: protocols,
		do: func(x *exchange) { x.send(x.wrong(x.id, x.unit+1, x.function)) }},
	{name: "wrong function", err: drivers.ErrReply, count: protocols,
		do: func(x *exchange) { x.send(x.wrong(x.id, x.unit, x.other())) }},
	{name: "exception of another function", err: drivers.ErrReply, count: protocols,
		do: func(x *exchange) { x.send(x.frame(x.id, x.unit, 0x80|x.other(), illegalAddress)) }},
	{name: "exception without a code", err: drivers.ErrReply, count: protocols,
		do: func(x *exchange) { x.send(x.frame(x.id, x.unit, 0x80|x.function)) }},
	{name: "exception with four bytes", err: drivers.ErrReply, count: protocols,
		do: func(x *exchange) { x.send(x.frame(x.id, x.unit, 0x80|x.function, illegalAddress, 0, 0, 0)) }},
	{name: "half a reply, then silence", err: drivers.ErrTimeout, count: timeouts,
		do: func(x *exchange) { x.send(x.good()[:9]) }},
	{name: "half a header, then silence", err: drivers.ErrTimeout, count: timeouts,
		do: func(x *exchange) { x.send(x.good()[:4]) }},
	{name: "dripping past the timeout", err: drivers.ErrTimeout, count: timeouts,
		do: func(x *exchange) { x.drip(x.good(), reply/5) }},
	{name: "dripping within the timeout", kept: true,
		do: func(x *exchange) { x.drip(x.good(), time.Millisecond) }},
	{name: "end of the connection instead of a reply", // repeated at once
		do: func(x *exchange) { x.close() }, count: closures},
	{name: "reset instead of a reply", // repeated at once
		do: func(x *exchange) { x.reset() }, count: closures},
	{name: "end of the connection within a reply", err: drivers.ErrRefused, count: closures,
		do: func(x *exchange) { x.send(x.good()[:9]); x.close() }},
	{name: "end of the connection after the reply",
		do: func(x *exchange) { x.answer(); x.close() }},
	{name: "reset after the reply",
		do: func(x *exchange) { x.answer(); time.Sleep(20 * time.Millisecond); x.reset() }},
	{name: "exception 1", kept: true, err: drivers.ErrDevice, count: exceptions, do: func(x *exchange) { x.exception(1) }},
	{name: "exception 3", kept: true, err: drivers.ErrDevice, count: exceptions, do: func(x *exchange) { x.exception(3) }},
	{name: "exception 4", kept: true, err: drivers.ErrDevice, count: exceptions, do: func(x *exchange) { x.exception(4) }},
	{name: "exception 5", kept: true, err: drivers.ErrDevice, count: exceptions, do: func(x *exchange) { x.exception(5) }},
	{name: "exception 8", kept: true, err: drivers.ErrDevice, count: exceptions, do: func(x *exchange) { x.exception(8) }},
	{name: "exception 10", kept: true, err: drivers.ErrTimeout, count: exceptions, do: func(x *exchange) { x.exception(10) }},
	{name: "exception 11", kept: true, err: drivers.ErrTimeout, count: exceptions, do: func(x *exchange) { x.exception(11) }},
	{name: "exception 77", kept: true, err: drivers.ErrDevice, count: exceptions, do: func(x *exchange) { x.exception(77) }},
	{name: "exception 6, once", kept: true, count: exceptions, do: func(x *exchange) { x.exception(6) }}, // asked again at once
	{name: "length 0", err: drivers.ErrReply, count: protocols, do: func(x *exchange) { x.length(0) }},
	{name: "length 1", err: drivers.ErrReply, count: protocols, do: func(x *exchange) { x.length(1) }},
	{name: "length 255", err: drivers.ErrReply, count: protocols, do: func(x *exchange) { x.length(255) }},
	{name: "length 65535", err: drivers.ErrReply, count: protocols, do: func(x *exchange) { x.length(65535) }},
	{name: "length one more than sent", err: drivers.ErrTimeout, count: timeouts, do: func(x *exchange) { x.length(8) }},
	{name: "length one less than sent", err: drivers.ErrReply, count: protocols, do: func(x *exchange) { x.length(6) }},
	{name: "protocol not 0", err: drivers.ErrReply, count: protocols,
		do: func(x *exchange) { b := x.good(); b[3] = 1; x.send(b) }},
	{name: "count not that of the bytes", err: drivers.ErrReply, count: protocols,
		do: func(x *exchange) { b := x.good(); b[8] += 2; x.send(b) }},
	{name: "no registers", err: drivers.ErrReply, count: protocols,
		do: func(x *exchange) { x.send(x.sized(0)) }},
	{name: "fewer registers", err: drivers.ErrReply, count: protocols,
		do: func(x *exchange) { x.send(x.sized(len(x.data()) - 2)) }},
	{name: "more registers", err: drivers.ErrReply, count: protocols,
		do: func(x *exchange) { x.send(x.sized(len(x.data()) + 2)) }},
	{name: "one register and a half", err: drivers.ErrReply, count: protocols,
		do: func(x *exchange) { x.send(x.sized(len(x.data()) - 1)) }},
	{name: "the request echoed", err: drivers.ErrReply, count: protocols,
		do: func(x *exchange) {
			x.send(x.frame(x.id, x.unit, x.function, byte(x.address>>8), byte(x.address), byte(x.count>>8), byte(x.count)))
		}},
	{name: "garbage after the reply", after: drivers.ErrReply, count: nil,
		do: func(x *exchange) { x.send(append(x.good(), 0xDE, 0xAD, 0xBE, 0xEF, 0xDE, 0xAD, 0xBE, 0xEF)) }},
}

func timeouts(c drivers.Counts) uint64   { return c.Timeout }
func protocols(c drivers.Counts) uint64  { return c.Protocol }
func exceptions(c drivers.Counts) uint64 { return c.Exception }
func closures(c drivers.Counts) uint64   { return c.Closed }

// other is a function that was not asked for.
func (x *exchange) other() byte { return x.function%4 + 1 }

// wrong is an answer of the right size whose values are those of nobody.
func (x *exchange) wrong(id uint16, unit, function byte) []byte {
	n := len(x.data())
	return x.frame(id, unit, append([]byte{function, byte(n)}, bytes.Repeat([]byte{0xBE}, n)...)...)
}

// sized is an answer to the request that has n bytes of data, and says so.
func (x *exchange) sized(n int) []byte {
	n = max(n, 0)
	return x.frame(x.id, x.unit, append([]byte{x.function, byte(n)}, bytes.Repeat([]byte{0xBE}, n)...)...)
}

// length sends the right answer with another length in its header.
func (x *exchange) length(n int) {
	b := x.good()
	b[4], b[5] = byte(n>>8), byte(n)
	x.send(b)
}

func TestMisbehaviour(t *testing.T) {
	for _, row := range misbehaviours {
		t.Run(row.name, func(t *testing.T) {
			t.Parallel()
			s := startServer(t)
			src := openOne(t, s.at, reply, "holding = 100", "holding = 101")
			mustRead(t, src)

			for round := range 3 {
				if l := src.health.wait(time.Now()); l > 0 {
					time.Sleep(l)
				}
				if row.name == "exception 3" {
					src.forget() // it has halved the length, so that there are two requests
				}
				dials, before := s.dialled(), src.Counts()
				once := len(s.requests())
				s.does(func(x *exchange) {
					if x.n == once+1 {
						row.do(x)
						return
					}
					x.answer()
				})
				began := time.Now()
				out, err := read(src)
				took := time.Since(began)
				if !errors.Is(err, row.err) {
					t.Fatalf("round %d: error %v, want %v", round, err, row.err)
				}
				lawful(t, src, out)
				for i, r := range out {
					if (r.Quality == drivers.Good) != (row.err == nil) {
						t.Errorf("round %d: reading %d is %v: %s", round, i, r.Quality, r.Reason)
					}
				}
				if most := reply + 2*time.Second; took > most {
					t.Errorf("round %d: it took %s", round, took)
				}
				if row.count != nil && row.count(src.Counts()) != row.count(before)+1 {
					t.Errorf("round %d: counts were %+v and are %+v", round, before, src.Counts())
				}
				if row.count == nil && row.after == nil && src.Counts().OK != before.OK+1 {
					t.Errorf("round %d: counts were %+v and are %+v", round, before, src.Counts())
				}
				if row.after != nil {
					out, err := read(src)
					if !errors.Is(err, row.after) {
						t.Fatalf("round %d: then error %v, want %v", round, err, row.after)
					}
					lawful(t, src, out)
				}
				mustRead(t, src)
				if again := s.dialled() - dials; (again == 0) != row.kept || again > 1 {
					t.Errorf("round %d: %d new connections, kept: %v", round, again, row.kept)
				}
			}
			// Nothing else may teach the planner anything.
			if lines := len(src.Plan()); lines != 1 && row.name != "exception 3" {
				t.Errorf("the plan is now %q", src.Plan())
			}
		})
	}
}

// TestStaleAnswersAreCounted: late and doubled answers are thrown away one by one.
func TestStaleAnswersAreCounted(t *testing.T) {
	s := startServer(t)
	src := openOne(t, s.at, time.Second, "holding = 100")
	s.does(func(x *exchange) { x.answer(); x.answer() })
	for range 10 {
		mustRead(t, src)
	}
	if n := src.unit.link.framing.(*mbap).stale; n < 9 || s.dialled() != 1 {
		t.Errorf("%d answers thrown away of 9 or 10, %d connections", n, s.dialled())
	}
}

// TestCloseAfterEveryReply: a device that closes after each answer is read without a loss, with a connection each.
func TestCloseAfterEveryReply(t *testing.T) {
	s := startServer(t)
	src := openOne(t, s.at, time.Second, "holding = 100")
	s.does(func(x *exchange) { x.answer(); x.close() })
	for range 10 {
		mustRead(t, src)
	}
	if n := s.dialled(); n < 10 || n > 11 {
		t.Errorf("%d connections for 10 reads", n)
	}
}

// TestRedialsAreLimited: in the long run such a device is not dialled more than once a second.
func TestRedialsAreLimited(t *testing.T) {
	s := startServer(t)
	src := openOne(t, s.at, time.Second, "holding = 100")
	s.does(func(x *exchange) { x.answer(); x.close() })
	src.unit.link.redials = allowance{most: 5, every: time.Hour}
	good := 0
	for range 20 {
		if _, err := read(src); err == nil {
			good++
		} else if !errors.Is(err, drivers.ErrRefused) {
			t.Fatal(err)
		}
	}
	if n := s.dialled(); n != 5 || good != 5 {
		t.Errorf("%d connections and %d good reads, 5 are allowed", n, good)
	}
}

// TestNeverAnswers: after two requests without an answer the connection is given up; then both the connection and the
// unit are tried less and less often.
func TestNeverAnswers(t *testing.T) {
	t.Parallel()
	s := startServer(t)
	src := openOne(t, s.at, 30*time.Millisecond, "holding = 100", "input = 5")
	s.does(func(x *exchange) {})
	for range 2 {
		if _, err := read(src); !errors.Is(err, drivers.ErrTimeout) {
			t.Fatal(err)
		}
	}
	if n := len(s.requests()); n != 2 {
		t.Errorf("%d requests in two cycles: after the first silence the rest has to wait", n)
	}
	if src.unit.link.stream != nil {
		t.Error("the connection is kept after two silences")
	}
	for range 50 {
		out, err := read(src)
		if !errors.Is(err, drivers.ErrTimeout) && !errors.Is(err, drivers.ErrRefused) {
			t.Fatal(err)
		}
		lawful(t, src, out)
	}
	if n := len(s.requests()); n > 6 {
		t.Errorf("%d requests in 52 cycles", n)
	}
	s.does(nil)
	waitGood(t, src)
}

// waitGood polls until everything is good.
func waitGood(t *testing.T, src *source) {
	t.Helper()
	for end := time.Now().Add(10 * time.Second); ; time.Sleep(5 * time.Millisecond) {
		out, err := read(src)
		lawful(t, src, out)
		if err == nil && !slices.ContainsFunc(out, func(r drivers.Reading) bool { return r.Quality != drivers.Good }) {
			return
		}
		if time.Now().After(end) {
			t.Fatalf("not good again: %v %+v", err, out)
		}
	}
}

// TestRefused: while a connection is not tried, Read comes back at once, with the last reason.
func TestRefused(t *testing.T) {
	s := startServer(t)
	src := openOne(t, s.at, time.Second, "holding = 100")
	mustRead(t, src)
	s.stop()
	src.unit.link.pause.first = time.Hour
	for range 2 { // the repeat after the end of the connection, or the dial of the next cycle
		if _, err := read(src); !errors.Is(err, drivers.ErrRefused) {
			t.Fatal(err)
		}
	}
	tried := src.unit.link.pause.failures
	for range 100 {
		out, err := read(src)
		if !errors.Is(err, drivers.ErrRefused) {
			t.Fatal(err)
		}
		contains(t, "next try in", err.Error())
		contains(t, s.at+" unit 1", err.Error())
		lawful(t, src, out)
	}
	if src.unit.link.pause.failures != tried {
		t.Error("it was tried while pausing")
	}
	s.listen(s.at)
	src.unit.link.pause.next = time.Now()
	mustRead(t, src)
	if src.unit.link.pause.failures != 0 {
		t.Error("the pause was not forgotten after an answer")
	}
}

// TestUnansweredDial: a host that does not answer the attempt to connect costs a timeout, not more.
func TestUnansweredDial(t *testing.T) {
	src := openOne(t, "127.0.0.1:1", 50*time.Millisecond, "holding = 100")
	src.unit.link.dial = func(ctx context.Context, _ string) (stream, error) {
		<-ctx.Done()
		return nil, ctx.Err()
	}
	began := time.Now()
	_, err := read(src)
	if took := time.Since(began); !errors.Is(err, drivers.ErrRefused) || took < 50*time.Millisecond || took > 2*time.Second {
		t.Errorf("%v after %s", err, took)
	}
}

// TestOneConnectionOnly: a device that takes one client gets one, however many units and points are read.
func TestOneConnectionOnly(t *testing.T) {
	s := startServer(t)
	var devices []drivers.Device
	for unit := 1; unit <= 4; unit++ {
		devices = append(devices, device(t, fmt.Sprintf("address = %q\nunit = %d", s.at, unit), "holding = 100", "input = 3", "coil = 9"))
	}
	sources := open(t, devices...)
	for range 3 {
		for _, src := range sources {
			mustRead(t, src)
		}
	}
	if s.dialled() != 1 {
		t.Errorf("%d connections", s.dialled())
	}
	for i, src := range sources {
		src.Close()
		if open := src.unit.link.stream != nil; open != (i < len(sources)-1) {
			t.Errorf("after closing %d of 4 the connection is open: %v", i+1, open)
		}
	}
}

// TestBusyHoldsStale: a device that stays busy is asked twice a cycle, and its last values are shown as stale for a while.
func TestBusyHoldsStale(t *testing.T) {
	s := startServer(t)
	src := openOne(t, s.at, time.Second, "holding = 100")
	src.cycle = time.Minute
	good := mustRead(t, src)[0]
	s.does(func(x *exchange) { x.exception(deviceBusy) })
	before := len(s.requests())
	out, err := read(src)
	if err != nil || out[0].Quality != drivers.Stale || out[0].Value != good.Value || !out[0].At.Equal(good.At) {
		t.Errorf("%+v, error %v", out[0], err)
	}
	contains(t, "busy", out[0].Reason)
	if n := len(s.requests()) - before; n != 2 {
		t.Errorf("%d requests", n)
	}
	src.cycle = 0 // the value is now older than three cycles
	if out, err = read(src); !errors.Is(err, drivers.ErrDevice) || out[0].Quality != drivers.Bad {
		t.Errorf("later: %+v, error %v", out[0], err)
	}
	s.does(nil)
	mustRead(t, src)
}

// TestDeadUnitBehindALivingGateway: one unit that does not answer, by silence or by the gateway's word, costs the others
// nothing but one timeout now and then.
func TestDeadUnitBehindALivingGateway(t *testing.T) {
	t.Parallel()
	for name, do := range map[string]func(x *exchange){
		"silence":      func(x *exchange) {},
		"exception 10": func(x *exchange) { x.exception(gatewayPath) },
		"exception 11": func(x *exchange) { x.exception(gatewayTarget) },
	} {
		t.Run(name, func(t *testing.T) {
			s := startServer(t)
			dead := device(t, fmt.Sprintf("address = %q\nunit = 9", s.at), "holding = 100", "input = 3", "coil = 1")
			dead.Cycle, dead.Timeout = 20*time.Millisecond, 100*time.Millisecond
			alive := device(t, fmt.Sprintf("address = %q\nunit = 2", s.at), "holding = 100")
			both := open(t, dead, alive)
			s.does(func(x *exchange) {
				if x.unit == 9 {
					do(x)
					return
				}
				x.answer()
			})
			for range 40 {
				out, err := read(both[0])
				if !errors.Is(err, drivers.ErrTimeout) {
					t.Fatal(err)
				}
				lawful(t, both[0], out)
				mustRead(t, both[1])
				time.Sleep(5 * time.Millisecond)
			}
			asked := 0
			for _, r := range s.requests() {
				if r.unit == 9 {
					asked++
				}
			}
			// 40 cycles of 5 ms, or of 100 ms in silence; pauses of 40, 80, 160 ms and so on by 0.8 to 1.2.
			if asked < 2 || asked > 8 {
				t.Errorf("%d requests to the dead unit in 40 cycles", asked)
			}
			s.does(nil)
			waitGood(t, both[0])
		})
	}
}

// TestDeviceFault: a device that calls itself faulty three times in a row is asked less often, and not called dead.
func TestDeviceFault(t *testing.T) {
	s := startServer(t)
	src := openOne(t, s.at, time.Second, "holding = 100", "input = 2")
	src.health = newHealth(time.Hour)
	s.does(func(x *exchange) { x.exception(deviceFailure) })
	for range 10 {
		out, err := read(src)
		if !errors.Is(err, drivers.ErrDevice) {
			t.Fatal(err)
		}
		contains(t, "exception 4", out[0].Reason)
	}
	if n := len(s.requests()); n != 2*faultyCycles {
		t.Errorf("%d requests in ten cycles, want %d", n, 2*faultyCycles)
	}
}

// TestLearnsMissingRegister: one register that the device does not have takes itself out only.
func TestLearnsMissingRegister(t *testing.T) {
	s := startServer(t)
	var points []string
	for i := range 30 {
		points = append(points, fmt.Sprintf("holding = %d", 100+i))
	}
	src := openOne(t, s.at, time.Second, points...)
	missing := func(x *exchange) {
		if x.address <= 113 && 113 < x.address+x.count {
			x.exception(illegalAddress)
			return
		}
		x.answer()
	}
	s.does(missing)
	for cycle := 0; ; cycle++ {
		out, _ := read(src)
		lawful(t, src, out)
		n := 0
		for i, r := range out {
			if r.Quality == drivers.Good {
				n++
			} else if i == 13 {
				contains(t, "exception 2", r.Reason)
			}
		}
		if n == 29 {
			break
		}
		if cycle > 5 { // ceil(log2 30) = 5
			t.Fatalf("only %d of 29 points are read after %d cycles", n, cycle)
		}
	}
	read(src)
	if got := fmt.Sprint(src.Plan()); got != "[read holding 100..112 (13 registers, 13 points) of unit 1 read holding 114..129 (16 registers, 16 points) of unit 1]" {
		t.Error(got)
	}
}

// TestLearnsLimit: a device that refuses long reads, or does not answer them, is read in shorter ones.
func TestLearnsLimit(t *testing.T) {
	t.Parallel()
	for name, do := range map[string]func(x *exchange){
		"exception 3": func(x *exchange) { x.exception(illegalValue) },
		"silence":     func(x *exchange) {},
	} {
		t.Run(name, func(t *testing.T) {
			s := startServer(t)
			var points []string
			for i := range 60 {
				points = append(points, fmt.Sprintf("holding = %d", 2*i))
			}
			src := openOne(t, s.at, 50*time.Millisecond, points...)
			s.does(func(x *exchange) {
				if x.count > 40 {
					do(x)
					return
				}
				x.answer()
			})
			for end := time.Now().Add(20 * time.Second); ; time.Sleep(5 * time.Millisecond) {
				out, err := read(src)
				lawful(t, src, out)
				if err == nil && len(src.Plan()) == 3 && !slices.ContainsFunc(out, func(r drivers.Reading) bool { return r.Quality != drivers.Good }) {
					return
				}
				if time.Now().After(end) {
					t.Fatalf("the plan is %q, error %v", src.Plan(), err)
				}
			}
		})
	}
}

// TestAskedRunThatStaysSilentHidesNoOther: the points behind a request that is never answered are read, if not in every
// cycle.
func TestAskedRunThatStaysSilentHidesNoOther(t *testing.T) {
	t.Parallel()
	s := startServer(t)
	src := openOne(t, s.at, 50*time.Millisecond, "coil = 1", "holding = 100", "input = 7")
	mustRead(t, src) // so that nothing is learned from the silence
	s.does(func(x *exchange) {
		if x.function != 1 {
			x.answer()
		}
	})
	seen := map[int]bool{}
	for range 6 {
		out, _ := read(src)
		lawful(t, src, out)
		for i, r := range out {
			seen[i] = seen[i] || r.Quality == drivers.Good
		}
	}
	if seen[0] || !seen[1] || !seen[2] {
		t.Errorf("read were %v", seen)
	}
}

// TestNothingWrongIsGood mixes all misbehaviours at random over two units and all tables. Whatever happens, a value that
// is called good is the value of its own point. Afterwards all is well again.
func TestNothingWrongIsGood(t *testing.T) {
	t.Parallel()
	const quick = 20 * time.Millisecond // silence is most of the time of this test; noise only makes more of it
	s := startServer(t)
	var devices []drivers.Device
	for unit := 1; unit <= 2; unit++ {
		d := device(t, fmt.Sprintf("address = %q\nunit = %d", s.at, unit),
			"holding = 100", "holding = 101", "holding = 140", "input = 7", "input = 300", "coil = 5", "coil = 6", "discrete = 77", "holding = 700")
		d.Timeout, d.Cycle = quick, time.Millisecond
		devices = append(devices, d)
	}
	sources := open(t, devices...)
	for _, src := range sources {
		src.unit.link.pause.first = 0
		src.unit.link.redials = allowance{most: 1e9, every: time.Hour}
	}
	seed := rand.Uint64()
	rng := rand.New(rand.NewPCG(seed, 0)) // used by the server's goroutines one at a time: there is one request out
	used := map[string]int{}
	random := func(x *exchange) {
		s.mu.Lock()
		row := misbehaviours[rng.IntN(len(misbehaviours))]
		well := rng.IntN(2) == 0
		late := time.Duration(rng.IntN(int(2 * quick)))
		if !well {
			used[row.name]++
		}
		s.mu.Unlock()
		switch {
		case well:
			x.answer()
		case row.name == "late reply":
			x.sleep(late)
			x.answer()
		default:
			row.do(x)
		}
	}
	s.does(random)
	var good, bad atomic.Int64
	var pollers sync.WaitGroup
	end := time.Now().Add(3 * time.Second)
	for _, src := range sources {
		pollers.Go(func() {
			for time.Now().Before(end) && !t.Failed() {
				out, _ := read(src)
				lawful(t, src, out)
				for _, r := range out {
					if r.Quality == drivers.Good {
						good.Add(1)
					} else {
						bad.Add(1)
					}
				}
				// What was learned from made-up exceptions is forgotten and pauses are cut, so that all stays in the game.
				src.forget()
				time.Sleep(min(src.health.wait(time.Now()), time.Millisecond))
				src.health.pause.next = time.Time{}
			}
		})
	}
	pollers.Wait()
	s.mu.Lock()
	met := len(used)
	s.mu.Unlock()
	t.Logf("seed %d: %d good values, all their own, and %d that were not good; %d of %d misbehaviours met", seed, good.Load(), bad.Load(), met, len(misbehaviours))
	if good.Load() < 100 || bad.Load() < 100 || met < len(misbehaviours)/2 {
		t.Errorf("too little happened to say anything")
	}
	s.does(nil)
	for _, src := range sources {
		src.unit.timeout = time.Second
		waitGood(t, src)
	}
}

// forget makes the areas of a source anew.
func (s *source) forget() {
	for _, a := range s.areas {
		var spans []plan.Span
		for _, i := range a.points {
			spans = append(spans, s.places[i].span())
		}
		a.Area, a.version = plan.NewArea(spans, tcpCost, a.table.most()), 0
		a.layOut(s.places, time.Time{})
	}
}

// TestValuesAreNeverTorn: a value over several registers comes from one request, though the device changes it between
// any two: all registers of one answer are its number.
func TestValuesAreNeverTorn(t *testing.T) {
	s := startServer(t)
	var points []string
	for i := range 70 {
		points = append(points, fmt.Sprintf(`holding = %d, type = "uint64"`, 3*i)) // they overlap by one register
	}
	src := openOne(t, s.at, time.Second, points...)
	s.does(func(x *exchange) {
		pdu := []byte{x.function, byte(2 * x.count)}
		for range x.count {
			pdu = append(pdu, 0, byte(x.n))
		}
		x.send(x.frame(x.id, x.unit, pdu...))
	})
	for range 20 {
		out, err := read(src)
		if err != nil {
			t.Fatal(err)
		}
		for i, r := range out {
			v := uint64(r.Value)
			if n := v >> 48; r.Quality != drivers.Good || v>>32&0xFFFF != n {
				t.Fatalf("point %d is %016x, %v %s", i, v, r.Quality, r.Reason)
			}
		}
	}
	if n := len(src.Plan()); n != 2 {
		t.Errorf("%d requests", n)
	}
}

// TestNeverWorks: connections that are made and never give an answer are not made again and again.
func TestNeverWorks(t *testing.T) {
	for name, do := range map[string]func(x *exchange){
		"reset":    func(x *exchange) { x.reset() },
		"end":      func(x *exchange) { x.close() },
		"nonsense": func(x *exchange) { x.length(0) },
	} {
		t.Run(name, func(t *testing.T) {
			s := startServer(t)
			src := openOne(t, s.at, time.Second, "holding = 100")
			src.unit.link.pause.first = time.Hour
			s.does(do)
			for range 50 {
				out, err := read(src)
				if !errors.Is(err, drivers.ErrRefused) && !errors.Is(err, drivers.ErrReply) {
					t.Fatal(err)
				}
				lawful(t, src, out)
			}
			if n := s.dialled(); n != 1 {
				t.Errorf("%d connections in 50 cycles", n)
			}
		})
	}
}
