package modbus

import (
	"context"
	"fmt"
	"io"
	"log"
	"os"
	"os/exec"
	"slices"
	"testing"
	"time"

	"dimwatch/drivers"

	"github.com/goburrow/modbus"
	upstream "github.com/simonvetter/modbus"
)

// quiet swallows what the server library says.
var quiet = log.New(io.Discard, "", 0)

// benchServerVariable turns the test program into a device for the benchmarks, at the port that it names.
const benchServerVariable = "DIMWATCH_MODBUS_BENCH_SERVER"

// benchServer serves until it is killed.
func benchServer() {
	server, err := upstream.NewServer(&upstream.ServerConfiguration{URL: "tcp://127.0.0.1:" + os.Getenv(benchServerVariable), Timeout: time.Hour, Logger: quiet}, &upstreamDevice{})
	if err == nil {
		err = server.Start()
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	select {}
}

// startBenchServer starts a device in a process of its own: on libmodbus in C where that is there, else on a Go library
// whose author never saw ours.
func startBenchServer(b *testing.B) (address, what string) {
	if exec.Command("pkg-config", "--exists", "libmodbus").Run() == nil {
		return startLibmodbus(b), "libmodbus"
	}
	return startPeer(b, func(port string) *exec.Cmd {
		cmd := exec.Command(os.Args[0])
		cmd.Env = append(os.Environ(), benchServerVariable+"="+port)
		return cmd
	}), "Go server library"
}

// store is 60 zones: setpoint and command side by side, feedback and power, and a coil. 360 points in 300 registers and
// 60 coils.
func store(b *testing.B, address string) drivers.Device {
	var points []string
	for z := range 60 {
		points = append(points,
			fmt.Sprintf("holding = %d", 4*z), fmt.Sprintf("holding = %d", 4*z+1),
			fmt.Sprintf("input = %d", 6*z), fmt.Sprintf(`input = %d, type = "float32"`, 6*z+2),
			fmt.Sprintf("coil = %d", z))
	}
	return device(b, fmt.Sprintf("address = %q", address), points...)
}

const storeRegisters = 60 * 5 // that are wanted, without the coils

func median(x []float64) float64 {
	slices.Sort(x)
	return x[len(x)/2]
}

// BenchmarkStoreAgainstStock reads the store by our driver and, in the same blocks, by the library's own TCP client, by
// turns, each from a device of its own, all on one core. "requests" is like for like: the bytes of the blocks are
// there; limit: ours takes no longer. "read" is a whole Read of ours, which decodes every point and gives it a time and
// a quality, against the bare bytes of the stock client.
func BenchmarkStoreAgainstStock(b *testing.B) {
	for _, name := range []string{"requests", "read"} {
		b.Run(name, func(b *testing.B) { againstStock(b, name == "read") })
	}
}

func againstStock(b *testing.B, whole bool) {
	pin(b)
	address, what := startBenchServer(b)
	src := open(b, store(b, address))[0]
	out := make([]drivers.Reading, len(src.places))
	stockAddress, _ := startBenchServer(b)
	handler := modbus.NewTCPClientHandler(stockAddress)
	handler.SlaveId = 1
	defer handler.Close()
	stock := modbus.NewClient(handler)

	sides := []func() error{
		func() error {
			if whole {
				return src.Read(context.Background(), out)
			}
			for _, a := range src.areas {
				for _, r := range a.runs {
					if _, _, err := src.unit.link.read(context.Background(), src.unit, a.table, r.read.Start, r.read.Count, src.data[:]); err != nil {
						return err
					}
				}
			}
			return nil
		},
		func() error {
			for _, a := range src.areas {
				for _, r := range a.runs {
					if _, err := stockRead(stock, a.table, uint16(r.read.Start), uint16(r.read.Count)); err != nil {
						return err
					}
				}
			}
			return nil
		},
	}
	var ratios []float64
	var took [2]time.Duration
	for b.Loop() {
		var pair [2]time.Duration
		for i := range 2 {
			which := (i + len(ratios)) % 2 // who is first takes turns
			began := time.Now()
			if err := sides[which](); err != nil {
				b.Fatal(err)
			}
			pair[which] = time.Since(began)
		}
		took[0] += pair[0]
		took[1] += pair[1]
		ratios = append(ratios, float64(pair[0])/float64(pair[1]))
	}
	rate := func(d time.Duration) float64 { return storeRegisters * float64(len(ratios)) / d.Seconds() }
	ratio := median(ratios)
	b.ReportMetric(0, "ns/op") // of both together: says nothing
	b.ReportMetric(rate(took[0]), "registers/s")
	b.ReportMetric(rate(took[1]), "stock-registers/s")
	b.ReportMetric(ratio, "time/stock")
	b.Logf("60 zones in %d requests on %s: %.0f registers/s, stock client %.0f; time of ours / stock %.3f (median of %d pairs), limit 1.0",
		len(src.Plan()), what, rate(took[0]), rate(took[1]), ratio, len(ratios))
}

func stockRead(c modbus.Client, t table, at, n uint16) ([]byte, error) {
	switch t {
	case coil:
		return c.ReadCoils(at, n)
	case discrete:
		return c.ReadDiscreteInputs(at, n)
	case input:
		return c.ReadInputRegisters(at, n)
	}
	return c.ReadHoldingRegisters(at, n)
}

// BenchmarkStoreAgainstSingles reads the store in blocks and then point by point. Figure: how many times longer that takes.
func BenchmarkStoreAgainstSingles(b *testing.B) {
	pin(b)
	address, what := startBenchServer(b)
	src := open(b, store(b, address))[0]
	out := make([]drivers.Reading, len(src.places))
	var factors []float64
	for b.Loop() {
		began := time.Now()
		if err := src.Read(context.Background(), out); err != nil {
			b.Fatal(err)
		}
		blocks := time.Since(began)
		began = time.Now()
		for i := range src.places {
			p := &src.places[i]
			if _, _, err := src.unit.link.read(context.Background(), src.unit, p.table, p.address, p.width(), src.data[:]); err != nil {
				b.Fatal(err)
			}
		}
		factors = append(factors, float64(time.Since(began))/float64(blocks))
	}
	b.ReportMetric(0, "ns/op")
	b.ReportMetric(median(factors), "times-faster")
	b.Logf("60 zones on %s: %d requests instead of %d are %.1f times faster, limit 10", what, len(src.Plan()), len(src.places), median(factors))
}

// BenchmarkTransaction is one request for 1 or 125 registers. Limit: two allocations.
func BenchmarkTransaction(b *testing.B) {
	for _, n := range []int{1, 12, 60, 125} {
		b.Run(fmt.Sprintf("%d-registers", n), func(b *testing.B) {
			pin(b)
			address, what := startBenchServer(b)
			src := open(b, device(b, fmt.Sprintf("address = %q", address), "holding = 0"))[0]
			once := func() {
				if _, _, err := src.unit.link.read(context.Background(), src.unit, holding, 0, n, src.data[:]); err != nil {
					b.Fatal(err)
				}
			}
			once()
			allocs := testing.AllocsPerRun(100, once)
			for b.Loop() {
				once()
			}
			b.ReportMetric(allocs, "allocs/request")
			b.Logf("%d registers on %s: %v allocations a request, limit 2", n, what, allocs)
		})
	}
}

// BenchmarkDecode is the decoding of the store's points from answers that are there.
func BenchmarkDecode(b *testing.B) {
	data := make([]byte, 250)
	p := place{table: input, address: 60, kind: float32Kind, order: wordSwap}
	b.ReportAllocs()
	for b.Loop() {
		p.decode(data, 0)
	}
}
