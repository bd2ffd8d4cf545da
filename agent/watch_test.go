package main

import (
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"io"
	"log"
	"math"
	"math/rand/v2"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"dimwatch/agent/config"
	"dimwatch/drivers"
	"dimwatch/drivers/all"
	"dimwatch/loops"

	"github.com/prometheus/exporter-toolkit/web"
	bus "github.com/simonvetter/modbus"
	"go.uber.org/goleak"
)

// panel is a Modbus device with one dimmed zone, on a server library that shares nothing with our driver. Its controller
// trims the command; the pair can be shorted while it runs. Registers of the zone: holding 100 setpoint and 101 command
// in per mille, input 40 feedback in counts (0..4095 is 0..20 mA), input 60 power in watts, coil 3 the order.
type panel struct {
	address string

	mu      sync.Mutex
	at      time.Time
	command float64 // percent
	shorted bool
	stuck   bool // the interface holds the pair at its floor
	begun   time.Time
}

// startPanel serves a panel until the test ends.
func startPanel(t testing.TB) *panel {
	t.Helper()
	p := &panel{address: unusedAddress(t), at: time.Now(), begun: time.Now(), command: 50}
	server, err := bus.NewServer(&bus.ServerConfiguration{URL: "tcp://" + p.address, MaxClients: 20, Logger: log.New(io.Discard, "", 0)}, p)
	if err != nil {
		t.Fatal(err)
	}
	if err := server.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { server.Stop() })
	return p
}

// unusedAddress gives an address that nobody listens at, from below the range that systems give connections and listeners without
// a port of their own: another test cannot come to it by chance before it is used.
func unusedAddress(t testing.TB) string {
	t.Helper()
	var err error
	for range 100 {
		address := net.JoinHostPort("127.0.0.1", strconv.Itoa(20000+rand.IntN(10000)))
		var l net.Listener
		if l, err = net.Listen("tcp", address); err == nil {
			l.Close()
			return address
		}
	}
	t.Fatal(err)
	return ""
}

func (p *panel) short(on bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.shorted = on
}

func (p *panel) stick(on bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.stuck = on
}

// now takes the zone to the time of the clock, and gives it: levels in percent.
func (p *panel) now() (setpoint, command, pair, light float64) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for now := time.Now(); p.at.Before(now); p.at = p.at.Add(20 * time.Millisecond) {
		setpoint, pair, _ := p.levels()
		p.command = math.Min(100, math.Max(0, p.command+1.2*0.02*(setpoint-pair)))
	}
	setpoint, pair, light = p.levels()
	return setpoint, p.command, pair, light
}

func (p *panel) levels() (setpoint, pair, light float64) {
	age := p.at.Sub(p.begun).Seconds()
	setpoint = 50 + 25*math.Sin(age/4)
	pair, light = math.Max(5, p.command), math.Max(10, p.command)
	if p.shorted {
		pair, light = 0.5, 10
	}
	if p.stuck {
		pair, light = 9, 10
	}
	return setpoint, pair + 0.2*math.Sin(37*age), light
}

func (p *panel) words(addr, quantity uint16, values map[uint16]float64) ([]uint16, error) {
	out := make([]uint16, quantity)
	for a, v := range values {
		if a >= addr && a-addr < quantity {
			out[a-addr] = uint16(math.Round(math.Max(0, v)))
		}
	}
	return out, nil
}

func (p *panel) HandleCoils(r *bus.CoilsRequest) ([]bool, error) {
	if r.IsWrite {
		return nil, bus.ErrIllegalFunction
	}
	bits := make([]bool, r.Quantity)
	for i := range bits {
		bits[i] = true
	}
	return bits, nil
}

func (p *panel) HandleDiscreteInputs(r *bus.DiscreteInputsRequest) ([]bool, error) {
	return make([]bool, r.Quantity), nil
}

func (p *panel) HandleHoldingRegisters(r *bus.HoldingRegistersRequest) ([]uint16, error) {
	if r.IsWrite {
		return nil, bus.ErrIllegalFunction
	}
	setpoint, command, _, _ := p.now()
	return p.words(r.Addr, r.Quantity, map[uint16]float64{100: 10 * setpoint, 101: 10 * command})
}

func (p *panel) HandleInputRegisters(r *bus.InputRegistersRequest) ([]uint16, error) {
	_, _, pair, light := p.now()
	return p.words(r.Addr, r.Quantity, map[uint16]float64{40: (4 + 0.16*pair) * 4095 / 20, 60: 1000 * (0.3 + 0.7*math.Max(0, light-20)/80)})
}

// zoneText is the configuration of a panel's zone under any name.
func zoneText(name string) string {
	return fmt.Sprintf(`
zone %q {
  device   = "panel"
  setpoint = { holding = 100, raw = [0, 1000], level = [0, 100] }
  command  = { holding = 101, raw = [0, 1000], level = [0, 100] }
  feedback = { input = 40, raw = [0, 4095], milliamps = [0, 20], volts = [0, 10] }
  lit      = { coil = 3 }
  power    = { input = 60, watts = true }
  rated_power = 1000
}
`, name)
}

// siteText is the configuration of a panel; controllers here are fast, so seconds are enough.
func siteText(address string, zones ...string) string {
	text := fmt.Sprintf(`site "corner-market" {
  judge {
    settle = "1s"
  }
}
device "panel" {
  driver  = "modbus-tcp"
  address = %q
  cycle   = "200ms"
  timeout = "150ms"
  gap     = "1ms"
}
`, address)
	for _, z := range zones {
		text += zoneText(z)
	}
	return text
}

// safeBuffer is a buffer for a log that is read while it is written.
type safeBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (s *safeBuffer) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(p)
}

func (s *safeBuffer) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String()
}

// watching is a daemon in this process.
type watching struct {
	t    *testing.T
	url  string
	log  *safeBuffer
	hup  chan os.Signal
	file string
	stop func() // ends it and waits
}

// startWatch watches a configuration until stop is called, or the test ends. More may change the daemon before it runs.
func startWatch(t *testing.T, text string, more ...func(*daemon)) *watching {
	t.Helper()
	file := filepath.Join(t.TempDir(), "site.hcl")
	write(t, file, text)
	site, _, diags := config.Load(file, all.Kinds)
	if diags.HasErrors() {
		t.Fatal(diags)
	}
	w := &watching{t: t, log: &safeBuffer{}, hup: make(chan os.Signal, 1), file: file}
	none, no, addresses := "", false, []string{"127.0.0.1:0"}
	d := &daemon{log: newLogger(w.log), path: file,
		web: &web.FlagConfig{WebListenAddresses: &addresses, WebSystemdSocket: &no, WebConfigFile: &none}}
	for _, f := range more {
		f(d)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended, listening := make(chan error, 1), make(chan string, 1)
	go func() { ended <- d.run(ctx, site, w.hup, func(a net.Addr) { listening <- "http://" + a.String() }) }()
	w.stop = sync.OnceFunc(func() {
		cancel()
		select {
		case err := <-ended:
			if err != nil {
				t.Error(err)
			}
		case <-time.After(10 * time.Second):
			t.Error("the daemon does not end")
		}
		http.DefaultClient.CloseIdleConnections()
	})
	t.Cleanup(w.stop)
	select {
	case w.url = <-listening:
	case err := <-ended:
		t.Fatal(err)
	}
	return w
}

func write(t *testing.T, file, text string) {
	t.Helper()
	if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

// get gives a page of the daemon and its status.
func (w *watching) get(path string) (status int, body string) {
	w.t.Helper()
	r, err := http.Get(w.url + path)
	if err != nil {
		w.t.Fatal(err)
	}
	defer r.Body.Close()
	b, err := io.ReadAll(r.Body)
	if err != nil {
		w.t.Fatal(err)
	}
	return r.StatusCode, string(b)
}

// await waits until the metrics have a line that matches, or have none where want is false.
func (w *watching) await(want bool, line string, most time.Duration) {
	w.t.Helper()
	match := regexp.MustCompile("(?m)^" + line)
	var body string
	for deadline := time.Now().Add(most); time.Now().Before(deadline); time.Sleep(100 * time.Millisecond) {
		if _, body = w.get("/metrics"); match.MatchString(body) == want {
			return
		}
	}
	ours := regexp.MustCompile(`(?m)^dimming_.*$`).FindAllString(body, -1)
	w.t.Fatalf("within %v: %q is %v, want %v; the metrics are\n%s\nthe log is\n%s", most, line, !want, want, strings.Join(ours, "\n"), w.log)
}

// noLeaks demands that nothing is left running once the test and all that it has started have ended.
func noLeaks(t *testing.T) {
	before := goleak.IgnoreCurrent()
	t.Cleanup(func() { goleak.VerifyNone(t, before) })
}

// A short on a live zone shows in the metrics with its labels and in the log with what to do, and does not go as soon as its
// symptom is absent: half a minute later the zone has shown that it follows again, and not yet that it goes on doing so.
func TestShortIsFound(t *testing.T) {
	noLeaks(t)
	if testing.Short() {
		t.Skip("skipped: takes a minute of real time")
	}
	p := startPanel(t)
	w := startWatch(t, siteText(p.address, "aisles-1-4"))
	w.await(true, `dimming_zone_judged\{zone="aisles-1-4"\} 1`, 20*time.Second)
	time.Sleep(5 * time.Second)
	if _, body := w.get("/metrics"); strings.Contains(body, "dimming_finding_active") {
		t.Fatalf("a sound zone has a finding:\n%s", w.log)
	}
	p.short(true)
	w.await(true, `dimming_finding_active\{device="panel",finding="pair-short",part="pair",severity="urgent",zone="aisles-1-4"\} 1`, time.Minute)
	log := w.log.String()
	for _, want := range []string{`"finding":"pair-short"`, `"zones":["aisles-1-4"]`, `"part":"pair"`, `"confidence":`, `"cautions":["`, `"checks":["`} {
		if !strings.Contains(log, want) {
			t.Errorf("the log lacks %s:\n%s", want, log)
		}
	}
	if strings.Index(log, `"cautions"`) > strings.Index(log, `"checks"`) {
		t.Error("the log says what to do before what to beware of")
	}
	p.short(false)
	w.await(true, `dimming_zone_error_ratio\{zone="aisles-1-4"\} -?0\.0[0-3]`, 20*time.Second)
	time.Sleep(10 * time.Second)
	w.await(true, `dimming_finding_active\{device="panel",finding="pair-short"`, time.Second)
	w.await(true, `dimming_findings_raised_total\{finding="pair-short",part="pair"\} 1`, time.Second)
	w.stop()
}

// What people read of a finding says how likely the others are in words, and fits a terminal.
func TestFindingForPeople(t *testing.T) {
	site := &config.Site{Location: time.UTC, Devices: []config.Device{{Name: "north"}}, Zones: []config.Zone{{Name: "aisles-1-4"}}}
	f := loops.Finding{ID: loops.PairShort, Zones: []int{0}, Device: -1, Confidence: 0.6, Summary: "The pair reads 0.1 V.",
		Also:     []loops.Alternative{{ID: loops.PairOpen, Fits: 1}, {ID: loops.PairIntermittent, Fits: 0.001}},
		Cautions: []string{strings.Repeat("Line voltage is beside the pair. ", 10)}, Checks: []string{strings.Repeat("Measure the pair. ", 10)}}
	text := plainFinding(site, f)
	if want := "as likely: the pair is open (pair-open); hardly: the pair comes and goes (pair-intermittent)"; !strings.Contains(strings.Join(strings.Fields(text), " "), want) || strings.Contains(text, "0 %)\n  It") {
		t.Errorf("the text lacks %q:\n%s", want, text)
	}
	for _, line := range strings.Split(text, "\n") {
		if len(line) > width {
			t.Errorf("%d columns: %s", len(line), line)
		}
	}
	log := &safeBuffer{}
	(&daemon{log: newLogger(log)}).tell(site, f)
	if want := `"also_possible":["pair-open (as likely)","pair-intermittent (hardly)"]`; !strings.Contains(log.String(), want) {
		t.Errorf("the log lacks %s:\n%s", want, log)
	}
}

// Units behind one address are lost together where their gateway is: each says so.
func TestLostTogether(t *testing.T) {
	site, _, diags := config.LoadBytes([]byte(`site "x" {
  hours = "06:00-22:00"
}
device "north" {
  driver  = "modbus-tcp"
  address = "10.0.0.5"
  unit    = 1
}
device "south" {
  driver  = "modbus-tcp"
  address = "10.0.0.5:502"
  unit    = 2
}
device "alone" {
  driver  = "modbus-tcp"
  address = "10.0.0.6"
}
`+strings.ReplaceAll(zoneText("a"), "panel", "north")+strings.ReplaceAll(zoneText("b"), "panel", "south")+strings.ReplaceAll(zoneText("c"), "panel", "alone")), "x.hcl", all.Kinds)
	if diags.HasErrors() {
		t.Fatal(diags)
	}
	defer closeSources(site)
	lost := func(device int) loops.Finding { return loops.Finding{ID: loops.DeviceLost, Device: device} }
	north, alone := lost(0), lost(2)
	for _, c := range []struct {
		f        *loops.Finding
		standing []loops.Finding
		want     string
	}{
		{&north, []loops.Finding{north}, "the address 10.0.0.5:502 with south: if nothing there answers, the gateway"},
		{&north, []loops.Finding{north, lost(1)}, "the address 10.0.0.5:502 with south, lost as well: the gateway at that address is the first suspect"},
		{&alone, []loops.Finding{north, alone}, ""},
	} {
		if got := sharing(site, c.f, c.standing); !strings.Contains(got, c.want) || c.want == "" && got != "" {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}

// The web side: ready once each device was polled, alive at once, a page that lists the others.
func TestWebSide(t *testing.T) {
	noLeaks(t)
	p := startPanel(t)
	w := startWatch(t, siteText(p.address, "aisles-1-4"))
	if status, body := w.get("/healthz"); status != 200 || body != "ok\n" {
		t.Errorf("/healthz: %d %q", status, body)
	}
	for deadline := time.Now().Add(10 * time.Second); ; time.Sleep(50 * time.Millisecond) {
		if status, _ := w.get("/readyz"); status == 200 {
			break
		} else if status != 503 || time.Now().After(deadline) {
			t.Fatalf("/readyz: %d", status)
		}
	}
	status, body := w.get("/")
	for _, want := range []string{"/metrics", "/healthz", "/readyz"} {
		if status != 200 || !strings.Contains(body, `href="`+want+`"`) {
			t.Errorf("the first page (%d) does not lead to %s", status, want)
		}
	}
	if want := "<h1>corner-market</h1><p>No findings stand now."; !strings.Contains(body, want) {
		t.Errorf("the first page lacks %q:\n%s", want, body)
	}
	if strings.Contains(body, "<script") {
		t.Error("the first page has a script")
	}
	if status, _ := w.get("/nothing"); status != 404 {
		t.Errorf("/nothing: %d", status)
	}
	w.await(true, `dimming_device_up\{device="panel"\} 1`, 10*time.Second)
	w.await(true, `dimming_build_info\{`, time.Second)
	w.stop()
}

// A reload takes a good configuration, and its zones' series with it; a bad one changes nothing, and is told.
func TestReload(t *testing.T) {
	noLeaks(t)
	p := startPanel(t)
	w := startWatch(t, siteText(p.address, "aisles-1-4", "bakery"))
	w.await(true, `dimming_zone_feedback_ratio\{zone="bakery"\}`, 10*time.Second)

	write(t, w.file, siteText(p.address, "aisles-1-4", "produce"))
	w.hup <- os.Interrupt // any value
	w.await(true, `dimming_zone_feedback_ratio\{zone="produce"\}`, 10*time.Second)
	if _, body := w.get("/metrics"); strings.Contains(body, `"bakery"`) {
		t.Error("the series of a zone that is gone are still there")
	}
	w.await(true, `dimming_config_last_reload_successful 1`, time.Second)

	write(t, w.file, siteText(p.address, "aisles-1-4", "produce")+"zone \"late\" {\n  colour = 1\n}\n")
	w.hup <- os.Interrupt
	w.await(true, `dimming_config_last_reload_successful 0`, 10*time.Second)
	w.await(true, `dimming_zone_feedback_ratio\{zone="produce"\}`, 10*time.Second)
	if log := w.log.String(); !strings.Contains(log, "colour") || !strings.Contains(log, "setpoint") {
		t.Errorf("the log does not say all that is wrong:\n%s", log)
	}

	// A recording among the devices is refused as at the start.
	write(t, w.file, strings.Replace(siteText(p.address, "aisles-1-4"), "zone ", "device \"log\" {\n  driver = \"trend\"\n  file = \"x.csv\"\n}\nzone ", 1))
	w.hup <- os.Interrupt
	for deadline := time.Now().Add(10 * time.Second); !strings.Contains(w.log.String(), "cannot be watched"); time.Sleep(50 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("a recording was not refused:\n%s", w.log)
		}
	}

	write(t, w.file, siteText(p.address, "bakery"))
	w.hup <- os.Interrupt
	w.await(true, `dimming_zone_feedback_ratio\{zone="bakery"\}`, 10*time.Second)
	w.await(true, `dimming_config_last_reload_successful 1`, time.Second)
	w.stop()
}

// A store whose devices cannot be reached is watched: ready once each was polled, and the metrics say that none answers.
func TestReadyWithoutAnswers(t *testing.T) {
	noLeaks(t)
	w := startWatch(t, siteText(unusedAddress(t), "aisles-1-4"))
	w.await(true, `dimming_device_up\{device="panel"\} 0`, 10*time.Second)
	if status, body := w.get("/readyz"); status != 200 {
		t.Errorf("/readyz: %d %q", status, body)
	}
}

// A device that goes away is logged once, is a finding of the network, and its coming back is logged with a count.
func TestDeviceGoesAway(t *testing.T) {
	noLeaks(t)
	p := startPanel(t)
	tap := startTap(t, p.address)
	w := startWatch(t, siteText(tap.address, "aisles-1-4"))
	w.await(true, `dimming_device_up\{device="panel"\} 1`, 10*time.Second)
	tap.cut(true)
	w.await(true, `dimming_device_up\{device="panel"\} 0`, 10*time.Second)
	w.await(true, `dimming_finding_active\{device="panel",finding="device-lost",part="network",severity="high",zone=""\} 1`, time.Minute)
	w.await(false, `dimming_zone_feedback_ratio`, time.Second)
	tap.cut(false)
	w.await(true, `dimming_device_up\{device="panel"\} 1`, 90*time.Second)
	w.await(false, `dimming_finding_active`, 10*time.Second)
	if log := w.log.String(); strings.Count(log, "does not answer") > 3 || !regexp.MustCompile(`answers again.*"failed_polls":[1-9]`).MatchString(log) {
		t.Errorf("the log is\n%s", log)
	}
	w.stop()
}

// A point that fails alone is logged once and its recovery with a count; one that flutters is one failure.
func TestPointLog(t *testing.T) {
	var out safeBuffer
	site := &config.Site{Zones: []config.Zone{{Name: "aisles-1-4"}}}
	dev := &config.Device{Name: "panel"}
	for i := range 8 {
		dev.Points = append(dev.Points, &config.Point{Role: config.Power, Where: fmt.Sprintf("input %d", i)})
	}
	l := newPointLog(newLogger(&out), site, dev)
	readings := make([]drivers.Reading, 8)
	poll := func(times int, bad ...int) {
		for range times {
			for i := range readings {
				readings[i] = drivers.Reading{Quality: drivers.Good}
			}
			for _, i := range bad {
				readings[i] = drivers.Reading{Quality: drivers.Bad, Reason: "exception 2: no such register"}
			}
			l.poll(readings)
		}
	}
	lines := func() []string {
		return strings.Split(strings.TrimSuffix(out.String(), "\n"), "\n")[:strings.Count(out.String(), "\n")]
	}
	poll(10)
	if len(lines()) != 0 {
		t.Errorf("good points are logged: %v", lines())
	}
	poll(10, 3)
	for range 5 { // it flutters
		poll(2)
		poll(1, 3)
	}
	if got := lines(); len(got) != 1 || !strings.Contains(got[0], `"points":["aisles-1-4 power (input 3): bad, exception 2: no such register"]`) {
		t.Errorf("a failing point: %v", got)
	}
	poll(10)
	if got := lines(); len(got) != 2 || !strings.Contains(got[1], `"points":["aisles-1-4 power (input 3)"],"failed_polls":15`) {
		t.Errorf("a point that is good again: %v", got)
	}
	poll(10, 0, 1, 2, 3, 4, 5, 6, 7)
	if got := lines(); len(got) != 3 || !strings.Contains(got[2], `"more":3`) {
		t.Errorf("eight failing points: %v", got)
	}
}

// tap stands between a client and a Modbus server, notes the function code of every request, and can cut the line.
type tap struct {
	address string

	mu    sync.Mutex
	codes map[byte]int
	conns []net.Conn
	off   bool
	mute  bool // requests are taken and go nowhere
}

// startTap begins to pass connections on to a server, until the test ends.
func startTap(t testing.TB, server string) *tap {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	x := &tap{address: l.Addr().String(), codes: map[byte]int{}}
	var passing sync.WaitGroup
	passing.Go(func() {
		for {
			client, err := l.Accept()
			if err != nil {
				return
			}
			behind, err := net.Dial("tcp", server)
			if err != nil || !x.add(client, behind) {
				client.Close()
				if err == nil {
					behind.Close()
				}
				continue
			}
			passing.Go(func() { x.requests(client, behind) })
			passing.Go(func() { io.Copy(client, behind); client.Close() })
		}
	})
	t.Cleanup(func() {
		l.Close()
		x.cut(true)
		passing.Wait()
	})
	return x
}

func (x *tap) add(conns ...net.Conn) bool {
	x.mu.Lock()
	defer x.mu.Unlock()
	if !x.off {
		x.conns = append(x.conns, conns...)
	}
	return !x.off
}

// cut breaks all connections and refuses new ones, or lets them through again.
func (x *tap) cut(off bool) {
	x.mu.Lock()
	defer x.mu.Unlock()
	x.off = off
	for _, c := range x.conns {
		c.Close()
	}
	x.conns = nil
}

// hold lets requests in and gives no answer.
func (x *tap) hold() {
	x.mu.Lock()
	defer x.mu.Unlock()
	x.mute = true
}

// requests passes on what the client sends, frame by frame: seven bytes of header, of which the fifth and sixth count what
// follows them, then the function code.
func (x *tap) requests(client, server net.Conn) {
	defer server.Close()
	head := make([]byte, 7)
	for {
		if _, err := io.ReadFull(client, head); err != nil {
			return
		}
		rest := make([]byte, max(1, int(binary.BigEndian.Uint16(head[4:]))-1))
		if _, err := io.ReadFull(client, rest); err != nil {
			return
		}
		x.mu.Lock()
		x.codes[rest[0]]++
		mute := x.mute
		x.mu.Unlock()
		if mute {
			continue
		}
		if _, err := server.Write(append(slices.Clone(head), rest...)); err != nil {
			return
		}
	}
}

func (x *tap) seen() map[byte]int {
	x.mu.Lock()
	defer x.mu.Unlock()
	seen := map[byte]int{}
	for c, n := range x.codes {
		seen[c] = n
	}
	return seen
}

// No command sends anything but the four functions that read, and check sends nothing at all.
func TestOnlyReads(t *testing.T) {
	p := startPanel(t)
	x := startTap(t, p.address)
	text := siteText(x.address, "aisles-1-4") + `
zone "bakery" {
  device   = "panel"
  setpoint = { holding = 100, raw = [0, 1000], level = [0, 100] }
  command  = { holding = 101, raw = [0, 1000], level = [0, 100] }
  feedback = { input = 40, raw = [0, 4095], milliamps = [0, 20], volts = [0, 10] }
  lit      = { discrete = 3, invert = true }
}
`
	w := startWatch(t, text)
	w.await(true, `dimming_device_requests_total\{device="panel",result="ok"\} [1-9]\d`, 20*time.Second)
	w.stop()
	watched := x.seen()
	for code, n := range watched {
		if code < 1 || code > 4 {
			t.Errorf("watch sent function %d, %d times", code, n)
		}
	}
	for code := byte(1); code <= 4; code++ {
		if watched[code] == 0 {
			t.Errorf("watch did not send function %d, so this test proves little", code)
		}
	}

	var out, errs bytes.Buffer
	if code := run([]string{"check", "-config", w.file}, &out, &errs); code != done {
		t.Errorf("check: %d\n%s", code, &errs)
	}
	if got := x.seen(); fmt.Sprint(got) != fmt.Sprint(watched) {
		t.Errorf("check has sent something: %v, before %v", got, watched)
	}
	if code := run([]string{"read", "-config", w.file, "--once"}, &out, &errs); code != done {
		t.Errorf("read: %d\n%s", code, &errs)
	}
	got := x.seen()
	for code := range got {
		if code < 1 || code > 4 {
			t.Errorf("read sent function %d", code)
		}
	}
	if got[3] != watched[3]+1 {
		t.Errorf("read --once sent function 3 %d times, want once", got[3]-watched[3])
	}
}

// demo ends by itself with 0 in its time, and would not if one write request had reached its store.
func TestDemoEndsByItself(t *testing.T) {
	noLeaks(t)
	t.Setenv("DIMWATCH_DEMO_ADDRESS", "")
	taken, err := net.Listen("tcp", "127.0.0.1:9847") // the usual address is in use: a free port is taken
	if err == nil {
		defer taken.Close()
	}
	var out, errs safeBuffer
	start := time.Now()
	if code := run([]string{"demo", "--for", "3s"}, &out, &errs); code != done {
		t.Errorf("demo: %d\n%s", code, &errs)
	}
	if took := time.Since(start); took < 3*time.Second || took > 20*time.Second {
		t.Errorf("--for 3s took %v", took)
	}
	if text := out.String(); !regexp.MustCompile(`Metrics: http://127\.0\.0\.1:\d+/metrics`).MatchString(text) || strings.Contains(text, ":9847/") {
		t.Errorf("demo printed\n%s", text)
	}
	address := regexp.MustCompile(`is simulated at (127\.0\.0\.1:\d+);`).FindStringSubmatch(out.String())
	for _, want := range []string{"read -config configs/demo.hcl --once\n", "watch -config configs/demo.hcl --state demo-state --web.listen-address 127.0.0.1:9848\n"} {
		if address == nil || !strings.Contains(out.String(), "\n        DIMWATCH_DEMO_ADDRESS="+address[1]+" dimwatch "+want) {
			t.Errorf("demo does not print how to %s\n%s", want, out.String())
		}
	}
}
