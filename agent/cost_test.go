package main

import (
	"fmt"
	"io"
	"log"
	"math"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	bus "github.com/simonvetter/modbus"
)

// hall is a Modbus server with eight units of eight zones each. Zone i of a unit has holding 100+2i setpoint and 101+2i
// command in per mille, input 40+i feedback in counts of 0..20 mA, input 60+i power in watts and coil i.
type hall struct{ begun time.Time }

func (h *hall) level(unit uint8, zone int) float64 {
	return 50 + 30*math.Sin(time.Since(h.begun).Seconds()/60+float64(unit)+float64(zone))
}

func (h *hall) HandleCoils(r *bus.CoilsRequest) ([]bool, error) {
	bits := make([]bool, r.Quantity)
	for i := range bits {
		bits[i] = true
	}
	return bits, nil
}

func (h *hall) HandleDiscreteInputs(*bus.DiscreteInputsRequest) ([]bool, error) {
	return nil, bus.ErrIllegalDataAddress
}

func (h *hall) HandleHoldingRegisters(r *bus.HoldingRegistersRequest) ([]uint16, error) {
	words := make([]uint16, r.Quantity)
	for i := range words {
		words[i] = uint16(10 * h.level(r.UnitId, (int(r.Addr)+i-100)/2))
	}
	return words, nil
}

func (h *hall) HandleInputRegisters(r *bus.InputRegistersRequest) ([]uint16, error) {
	words := make([]uint16, r.Quantity)
	for i := range words {
		at := int(r.Addr) + i
		if at < 60 {
			words[i] = uint16((4+0.16*h.level(r.UnitId, at-40))*4095/20 + 2*math.Sin(float64(time.Now().UnixNano()%1e6)))
		} else {
			words[i] = uint16(300 + 7*h.level(r.UnitId, at-60))
		}
	}
	return words, nil
}

// hallText is the configuration of a hall: 64 zones, each polled every 5 s.
func hallText(address string) string {
	var b strings.Builder
	fmt.Fprint(&b, "site \"hall\" {}\n")
	for u := 1; u <= 8; u++ {
		fmt.Fprintf(&b, "device \"unit-%d\" {\n  driver = \"modbus-tcp\"\n  address = %q\n  unit = %d\n  cycle = \"5s\"\n}\n", u, address, u)
		for z := range 8 {
			fmt.Fprintf(&b, `zone "zone-%d-%d" {
  device      = "unit-%d"
  setpoint    = { holding = %d, raw = [0, 1000], level = [0, 100] }
  command     = { holding = %d, raw = [0, 1000], level = [0, 100] }
  feedback    = { input = %d, raw = [0, 4095], milliamps = [0, 20], volts = [0, 10] }
  power       = { input = %d, watts = true }
  lit         = { coil = %d }
  rated_power = 1000
}
`, u, z, u, 100+2*z, 101+2*z, 40+z, 60+z, z)
		}
	}
	return b.String()
}

// BenchmarkWatch64 runs the built program on 64 zones at 5 s, scraped every 5 s, and prints what it takes: resident
// memory (limit 32 MiB) and the share of a core (limit 1 %). The server is in the process of the benchmark.
func BenchmarkWatch64(b *testing.B) {
	if runtime.GOOS != "linux" {
		b.Skip("skipped: reads /proc, which is Linux's")
	}
	binary := filepath.Join(b.TempDir(), "dimwatch")
	if out, err := exec.Command("go", "build", "-trimpath", "-ldflags=-s -w", "-o", binary, ".").CombinedOutput(); err != nil {
		b.Fatalf("go build: %v\n%s", err, out)
	}
	address, web := unusedAddress(b), unusedAddress(b)
	server, err := bus.NewServer(&bus.ServerConfiguration{URL: "tcp://" + address, MaxClients: 20, Logger: log.New(io.Discard, "", 0)}, &hall{time.Now()})
	if err != nil {
		b.Fatal(err)
	}
	if err := server.Start(); err != nil {
		b.Fatal(err)
	}
	defer server.Stop()
	file := filepath.Join(b.TempDir(), "site.hcl")
	if err := os.WriteFile(file, []byte(hallText(address)), 0o644); err != nil {
		b.Fatal(err)
	}
	watch := exec.Command(binary, "watch", "-config", file, "--web.listen-address", web)
	if err := watch.Start(); err != nil {
		b.Fatal(err)
	}
	defer func() {
		_ = watch.Process.Signal(os.Interrupt)
		_ = watch.Wait()
	}()
	scrape := func() string {
		r, err := http.Get("http://" + web + "/metrics")
		if err != nil {
			return ""
		}
		defer r.Body.Close()
		body, _ := io.ReadAll(r.Body)
		return string(body)
	}
	for deadline := time.Now().Add(30 * time.Second); strings.Count(scrape(), "dimming_zone_feedback_ratio{") < 64; time.Sleep(time.Second) {
		if time.Now().After(deadline) {
			b.Fatal("the zones are not polled")
		}
	}
	var memory, share float64
	for b.Loop() {
		before, begun := cpuSeconds(b, watch.Process.Pid), time.Now()
		for time.Since(begun) < 30*time.Second {
			time.Sleep(5 * time.Second)
			scrape()
		}
		share = 100 * (cpuSeconds(b, watch.Process.Pid) - before) / time.Since(begun).Seconds()
		memory = residentMiB(b, watch.Process.Pid)
	}
	if text := scrape(); strings.Contains(text, "dimming_finding_active{") {
		b.Error("a sound hall has a finding")
	}
	b.ReportMetric(memory, "MiB")
	b.ReportMetric(32, "limit-MiB")
	b.ReportMetric(share, "%core")
	b.ReportMetric(1, "limit-%core")
	b.ReportMetric(0, "ns/op")
}

// cpuSeconds is the processor time of a process so far: fields 14 and 15 of its stat, in ticks of 10 ms (proc(5)).
func cpuSeconds(b *testing.B, pid int) float64 {
	b.Helper()
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		b.Fatal(err)
	}
	fields := strings.Fields(string(text[strings.LastIndexByte(string(text), ')')+1:]))
	ticks := 0.0
	for _, f := range fields[11:13] {
		n, err := strconv.ParseFloat(f, 64)
		if err != nil {
			b.Fatal(err)
		}
		ticks += n
	}
	return ticks / 100
}

// residentMiB is the resident memory of a process.
func residentMiB(b *testing.B, pid int) float64 {
	b.Helper()
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		b.Fatal(err)
	}
	for _, line := range strings.Split(string(text), "\n") {
		if f := strings.Fields(line); len(f) == 3 && f[0] == "VmRSS:" {
			kib, err := strconv.ParseFloat(f[1], 64)
			if err != nil {
				b.Fatal(err)
			}
			return kib / 1024
		}
	}
	b.Fatal("no VmRSS")
	return 0
}
