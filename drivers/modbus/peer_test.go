package modbus

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"dimwatch/drivers"
)

// requirePeers is the environment variable that turns a missing peer program into a failure.
const requirePeers = "DIMWATCH_REQUIRE_PEERS"

// noPeer skips a test, or fails it where peers are required.
func noPeer(t testing.TB, format string, args ...any) {
	t.Helper()
	why := fmt.Sprintf(format, args...)
	if os.Getenv(requirePeers) != "" {
		t.Fatalf("%s is set and a peer is missing: %s", requirePeers, why)
	}
	t.Skipf("skipped, a peer is missing: %s", why)
}

// TestPeerLibmodbus reads a device on libmodbus (Debian: libmodbus-dev, a C compiler and pkg-config).
func TestPeerLibmodbus(t *testing.T) {
	address := startLibmodbus(t)
	src := openPeer(t, address, 7) // libmodbus answers for every unit
	checkPeer(t, src)
}

// TestPeerPymodbus reads a device on pymodbus (Debian: python3-pymodbus, python3-serial, python3-serial-asyncio).
func TestPeerPymodbus(t *testing.T) {
	const python = "/usr/bin/python3"
	if out, err := exec.Command(python, "-c", "import pymodbus.server").CombinedOutput(); err != nil {
		noPeer(t, "%s has no pymodbus.server: %s", python, bytes.TrimSpace(out))
	}
	address := startPeer(t, func(port string) *exec.Cmd {
		return exec.Command(python, filepath.Join("testdata", "peers", "pymodbus.py"), port)
	})
	src := openPeer(t, address, 1)
	checkPeer(t, src)

	// A unit that is not there is silence, and the one that is there stays.
	dead := device(t, fmt.Sprintf("address = %q\nunit = 9", address), "holding = 1")
	dead.Timeout = 100 * time.Millisecond
	gone := open(t, dead)[0]
	if _, err := read(gone); !errors.Is(err, drivers.ErrTimeout) {
		t.Errorf("unit 9: %v", err)
	}
	gone.Close()
	if out, err := read(src); err != nil {
		t.Errorf("unit 1 after it: %+v, %v", out, err)
	}
}

// startLibmodbus compiles and starts the peer on libmodbus.
func startLibmodbus(t testing.TB) string {
	flags, err := exec.Command("pkg-config", "--cflags", "--libs", "libmodbus").Output()
	if err != nil {
		noPeer(t, "pkg-config knows no libmodbus")
	}
	program := filepath.Join(t.TempDir(), "libmodbus")
	args := append([]string{"-O2", "-o", program, filepath.Join("testdata", "peers", "libmodbus.c")}, strings.Fields(string(flags))...)
	if out, err := exec.Command("cc", args...).CombinedOutput(); errors.Is(err, exec.ErrNotFound) {
		noPeer(t, "no C compiler")
	} else if err != nil {
		t.Fatalf("the peer does not compile: %s", out)
	}
	return startPeer(t, func(port string) *exec.Cmd { return exec.Command(program, port) })
}

// startPeer starts a program with a port and waits until it listens there.
func startPeer(t testing.TB, command func(port string) *exec.Cmd) string {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	address := l.Addr().String()
	l.Close()
	_, port, _ := net.SplitHostPort(address)
	cmd := command(port)
	var said bytes.Buffer
	cmd.Stdout, cmd.Stderr = &said, &said
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	ended := make(chan struct{})
	go func() { cmd.Wait(); close(ended) }()
	stop := sync.OnceFunc(func() { cmd.Process.Kill(); <-ended })
	t.Cleanup(stop)
	for end := time.Now().Add(20 * time.Second); ; time.Sleep(20 * time.Millisecond) {
		c, err := net.Dial("tcp", address)
		if err == nil {
			c.Close()
			return address
		}
		select {
		case <-ended:
			t.Fatalf("the peer has ended: %s", said.String())
		default:
		}
		if time.Now().After(end) {
			stop()
			t.Fatalf("the peer does not listen: %s", said.String())
		}
	}
}

// The values of the peers: bits by their address, registers from a base, and from address 300 on every type in every
// order, 20 registers an order.
const (
	peerTyped    = 300
	peerPerOrder = 20
)

var peerTypes = []struct {
	kind   string
	offset int
	want   float64
}{
	{"float32", 0, float64(float32(123.456))}, {"int32", 2, -1234567}, {"uint32", 4, 4000000000}, {"int64", 6, -1234567890123},
	{"uint64", 10, 1234567890123}, {"float64", 14, 123.456}, {"int16", 18, -12345}, {"uint16", 19, 54321},
}

// peerPoints are points on a peer and the values that it has.
func peerPoints() (points []string, want []float64) {
	for i := range 125 {
		points = append(points, fmt.Sprintf("holding = %d", 20+i), fmt.Sprintf("input = %d", 300+i))
		want = append(want, float64(20020+i), float64(10300+i))
	}
	for _, i := range []int{0, 3, 4, 77, 300, 499} {
		bit := map[bool]float64{true: 1}
		points = append(points, fmt.Sprintf("coil = %d", i), fmt.Sprintf("discrete = %d", i))
		want = append(want, bit[i%3 == 0], bit[i%5 == 0])
	}
	for o, order := range orderNames {
		for _, k := range peerTypes {
			points = append(points, fmt.Sprintf("holding = %d, type = %q, order = %q", peerTyped+peerPerOrder*o+k.offset, k.kind, order))
			want = append(want, k.want)
		}
	}
	for bit := range 16 {
		points = append(points, fmt.Sprintf("input = 17, bit = %d", bit))
		want = append(want, float64(int(10017)>>bit&1))
	}
	points = append(points, "holding = 499", "holding = 500")
	return points, append(want, 20499, math.NaN()) // 500 is past the end of the device
}

func openPeer(t testing.TB, address string, unit int) *source {
	points, _ := peerPoints()
	d := device(t, fmt.Sprintf("address = %q\nunit = %d", address, unit), points...)
	d.Timeout = 2 * time.Second
	return open(t, d)[0]
}

// checkPeer reads a peer until what it lacks is isolated, and wants every value right.
func checkPeer(t *testing.T, src *source) {
	t.Helper()
	contains(t, "(125 registers, 125 points)", strings.Join(src.Plan(), "\n"))
	_, want := peerPoints()
	for cycle := 0; ; cycle++ {
		out, err := read(src)
		if err != nil {
			t.Fatal(err)
		}
		missing := 0
		for i, r := range out {
			switch {
			case r.Quality != drivers.Good:
				missing++
				contains(t, "exception 2", r.Reason)
			case r.Value != want[i]:
				t.Errorf("%v: %v, want %v", &src.places[i], r.Value, want[i])
			}
		}
		if missing == 1 && out[len(out)-1].Quality == drivers.Bad {
			break
		}
		if cycle > 8 {
			t.Fatalf("%d points are missing after %d cycles", missing, cycle)
		}
	}
	c := src.Counts()
	if c.Exception == 0 || c.Timeout+c.Protocol+c.Closed > 0 {
		t.Errorf("counts: %+v", c)
	}
}
