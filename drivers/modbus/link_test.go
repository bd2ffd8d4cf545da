package modbus

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"dimwatch/drivers"

	upstream "github.com/simonvetter/modbus"
)

// TestGap: between an answer and the next request on a connection there is the pause that the devices ask for, whichever
// unit is asked.
func TestGap(t *testing.T) {
	s := startServer(t)
	const gap = 20 * time.Millisecond
	var answered time.Time
	var least = time.Hour
	s.does(func(x *exchange) {
		if !answered.IsZero() {
			least = min(least, time.Since(answered))
		}
		answered = time.Now()
		x.answer()
	})
	one, two := device(t, fmt.Sprintf("address = %q", s.at), "holding = 1", "coil = 1", "input = 5"), device(t, fmt.Sprintf("address = %q\nunit = 2", s.at), "holding = 1")
	two.Gap = gap
	both := open(t, one, two)
	for range 3 {
		mustRead(t, both[0])
		mustRead(t, both[1])
	}
	both[0].Close()
	both[1].Close()
	s.stop()
	if least < gap-time.Millisecond {
		t.Errorf("the shortest pause was %s", least)
	}
}

// TestFairness: units that share a link and always have something to ask get about the same number of turns.
func TestFairness(t *testing.T) {
	s := startServer(t)
	s.does(func(x *exchange) { x.sleep(2 * time.Millisecond); x.answer() })
	var devices []drivers.Device
	for unit := 1; unit <= 4; unit++ {
		points := []string{"holding = 1"}
		for i := range unit * 3 { // some ask much more a cycle
			points = append(points, fmt.Sprintf("holding = %d", 1000*(i+1)))
		}
		devices = append(devices, device(t, fmt.Sprintf("address = %q\nunit = %d", s.at, unit), points...))
	}
	stop := make(chan struct{})
	var group sync.WaitGroup
	for _, src := range open(t, devices...) {
		group.Go(func() {
			for {
				select {
				case <-stop:
					return
				default:
					mustRead(t, src)
				}
			}
		})
	}
	for end := time.Now().Add(10 * time.Second); len(s.requests()) < 240 && time.Now().Before(end); {
		time.Sleep(5 * time.Millisecond)
	}
	close(stop)
	group.Wait()
	turns := map[byte]int{}
	for _, r := range s.requests()[40:240] { // while all were at it
		turns[r.unit]++
	}
	for unit := byte(1); unit <= 4; unit++ {
		if turns[unit] < 35 {
			t.Errorf("turns of 200: %v", turns)
			break
		}
	}
	if s.dialled() != 1 {
		t.Errorf("%d connections", s.dialled())
	}
}

// TestDripEndsAtTheDeadline: bytes that keep coming do not stretch the time of a request.
func TestDripEndsAtTheDeadline(t *testing.T) {
	s := startServer(t)
	src := openOne(t, s.at, 200*time.Millisecond, "holding = 1")
	mustRead(t, src)
	s.does(func(x *exchange) { x.drip(append(x.good(), make([]byte, 200)...)[:10], 60*time.Millisecond) })
	began := time.Now()
	_, err := read(src)
	if took := time.Since(began); !errors.Is(err, drivers.ErrTimeout) || took < 200*time.Millisecond || took > time.Second {
		t.Errorf("%v after %s", err, took)
	}
}

// TestPartOfACycle: what was read before the caller's time was over stays good, the rest is not.
func TestPartOfACycle(t *testing.T) {
	s := startServer(t)
	src := openOne(t, s.at, time.Minute, "coil = 1", "holding = 1")
	mustRead(t, src)
	s.does(func(x *exchange) {
		if x.function == 1 {
			x.answer()
		}
	})
	ctx, cancel := context.WithTimeout(context.Background(), 300*time.Millisecond)
	defer cancel()
	out := make([]drivers.Reading, 2)
	if err := src.Read(ctx, out); err != nil {
		t.Fatal(err)
	}
	lawful(t, src, out)
	if out[0].Quality != drivers.Good || out[1].Quality != drivers.Bad {
		t.Errorf("%+v", out)
	}
	if src.unit.link.stream != nil {
		t.Error("a connection with an answer under way was kept")
	}
	s.does(nil)
	mustRead(t, src)
}

// TestLateInterrupt: the end of the context of an earlier Read does not touch the next one.
func TestLateInterrupt(t *testing.T) {
	s := startServer(t)
	src := openOne(t, s.at, time.Minute, "holding = 1")
	mustRead(t, src)
	u := src.unit
	s.does(func(x *exchange) {
		// The request of the second Read is out; the func of the first one's context comes late.
		u.link.interrupt(u, 1)
		x.sleep(20 * time.Millisecond)
		x.answer()
	})
	mustRead(t, src)
	s.does(func(x *exchange) { u.link.interrupt(u, 3) }) // that of the Read itself does
	if _, err := read(src); !errors.Is(err, drivers.ErrTimeout) {
		t.Errorf("an interrupt of the Read that is on: %v", err)
	}
}

// TestCancelWhileWaitingForTheLink: a unit that waits for its turn gives up when it is told to.
func TestCancelWhileWaitingForTheLink(t *testing.T) {
	s := startServer(t)
	both := open(t, device(t, fmt.Sprintf("address = %q", s.at), "holding = 1"), device(t, fmt.Sprintf("address = %q\nunit = 2", s.at), "holding = 1"))
	turn := <-both[0].unit.link.turn
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Millisecond)
	defer cancel()
	err := both[1].Read(ctx, make([]drivers.Reading, 1))
	if !errors.Is(err, context.DeadlineExceeded) || both[1].Counts() != (drivers.Counts{}) {
		t.Errorf("%v, counts %+v", err, both[1].Counts())
	}
	both[0].unit.link.turn <- turn
	mustRead(t, both[1])
}

// TestAllocations: at most two for a transaction, both in the protocol library (the words of the request and its PDU),
// and none for decoding and planning.
func TestAllocations(t *testing.T) {
	address := plainServer(t)
	src := openOne(t, address, time.Second, "holding = 0", `holding = 100, type = "float32"`, "input = 3", "coil = 9", "holding = 400", "discrete = 1")
	out := make([]drivers.Reading, len(src.places))
	once := func() {
		if err := src.Read(context.Background(), out); err != nil {
			t.Fatal(err)
		}
	}
	once()
	runs := len(src.Plan())
	if got := testing.AllocsPerRun(200, once); got > float64(2*runs) {
		t.Errorf("%v allocations for %d transactions", got, runs)
	}
}

// plainServer answers every read with zeros and allocates nothing.
func plainServer(t testing.TB) string {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	var group sync.WaitGroup
	var conns []net.Conn
	var mu sync.Mutex
	group.Go(func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			mu.Lock()
			conns = append(conns, c)
			mu.Unlock()
			group.Go(func() { plainServe(c) })
		}
	})
	t.Cleanup(func() {
		l.Close()
		mu.Lock()
		for _, c := range conns {
			c.Close()
		}
		mu.Unlock()
		group.Wait()
	})
	return l.Addr().String()
}

func plainServe(c net.Conn) {
	defer c.Close()
	var in [12]byte
	var out [maxADU]byte
	for {
		if _, err := io.ReadFull(c, in[:]); err != nil {
			return
		}
		n := int(be16(in[:], 10))
		if in[7] > 2 {
			n *= 2
		} else {
			n = (n + 7) / 8
		}
		copy(out[:8], in[:8])
		out[4], out[5], out[8] = byte((n+3)>>8), byte(n+3), byte(n)
		if _, err := c.Write(out[:9+n]); err != nil {
			return
		}
	}
}

// upstreamDevice is a device on the server of another Modbus library, whose author never saw ours.
type upstreamDevice struct {
	mu     sync.Mutex
	writes int
}

func (d *upstreamDevice) bits(write bool, unit, function byte, at, n uint16) ([]bool, error) {
	words, err := d.words(write, unit, function, at, n)
	var bits []bool
	for _, w := range words {
		bits = append(bits, w&1 == 1)
	}
	return bits, err
}

func (d *upstreamDevice) words(write bool, unit, function byte, at, n uint16) ([]uint16, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	switch {
	case write:
		d.writes++
		return nil, upstream.ErrIllegalFunction
	case unit == 66:
		return nil, upstream.ErrGWTargetFailedToRespond
	case unit == 67:
		return nil, upstream.ErrServerDeviceFailure
	case int(at)+int(n) > 2000:
		return nil, upstream.ErrIllegalDataAddress
	}
	var words []uint16
	for i := range n {
		words = append(words, law(unit, function, int(at+i)))
	}
	return words, nil
}

func (d *upstreamDevice) HandleCoils(r *upstream.CoilsRequest) ([]bool, error) {
	return d.bits(r.IsWrite, r.UnitId, 1, r.Addr, r.Quantity)
}

func (d *upstreamDevice) HandleDiscreteInputs(r *upstream.DiscreteInputsRequest) ([]bool, error) {
	return d.bits(false, r.UnitId, 2, r.Addr, r.Quantity)
}

func (d *upstreamDevice) HandleHoldingRegisters(r *upstream.HoldingRegistersRequest) ([]uint16, error) {
	return d.words(r.IsWrite, r.UnitId, 3, r.Addr, r.Quantity)
}

func (d *upstreamDevice) HandleInputRegisters(r *upstream.InputRegistersRequest) ([]uint16, error) {
	return d.words(false, r.UnitId, 4, r.Addr, r.Quantity)
}

// TestIndependentServer reads all tables of a server that is not ours, in blocks up to the limits, of several units,
// with exceptions, and it never sees a write.
func TestIndependentServer(t *testing.T) {
	probe, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	address := probe.Addr().String()
	probe.Close()
	handler := &upstreamDevice{}
	server, err := upstream.NewServer(&upstream.ServerConfiguration{URL: "tcp://" + address, Timeout: time.Minute, MaxClients: 5, Logger: quiet}, handler)
	if err != nil {
		t.Fatal(err)
	}
	if err := server.Start(); err != nil {
		t.Fatal(err)
	}
	defer server.Stop()

	var points []string
	for i := range 125 {
		points = append(points, fmt.Sprintf("holding = %d", 300+i), fmt.Sprintf("input = %d", 700+i))
	}
	points = append(points, "coil = 0", "coil = 1999", "discrete = 17", "discrete = 1234", "holding = 1999")
	var devices []drivers.Device
	for _, unit := range []int{0, 1, 11, 255, 66, 67} {
		devices = append(devices, device(t, fmt.Sprintf("address = %q\nunit = %d", address, unit), points...))
	}
	sources := open(t, devices...)
	for range 3 {
		for _, src := range sources[:4] {
			mustRead(t, src)
		}
	}
	contains(t, "read holding 300..424 (125 registers, 125 points) of unit 11", strings.Join(sources[2].Plan(), "\n"))
	contains(t, "read coil 0..1999 (2000 bits, 2 points) of unit 11", strings.Join(sources[2].Plan(), "\n"))
	if _, err := read(sources[4]); !errors.Is(err, drivers.ErrTimeout) {
		t.Errorf("exception 11: %v", err)
	}
	if _, err := read(sources[5]); !errors.Is(err, drivers.ErrDevice) {
		t.Errorf("exception 4: %v", err)
	}
	past := open(t, device(t, fmt.Sprintf("address = %q\nunit = 3", address), "holding = 1990", "holding = 1999", "holding = 2000"))[0]
	for range 4 {
		out, _ := read(past)
		lawful(t, past, out)
	}
	out, err := read(past)
	if err != nil || out[0].Quality != drivers.Good || out[1].Quality != drivers.Good || out[2].Quality != drivers.Bad {
		t.Errorf("%+v, error %v", out, err)
	}
	if handler.writes != 0 {
		t.Errorf("%d writes were seen", handler.writes)
	}
}
