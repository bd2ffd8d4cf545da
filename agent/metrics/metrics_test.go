package metrics_test

import (
	"bytes"
	"errors"
	"flag"
	"io"
	"net/http/httptest"
	"os"
	"strings"
	"testing"
	"time"

	"dimwatch/agent/config"
	"dimwatch/agent/judge"
	"dimwatch/agent/metrics"
	"dimwatch/agent/poll"
	"dimwatch/drivers"
	"dimwatch/loops"

	"github.com/google/go-cmp/cmp"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil/promlint"
	"github.com/prometheus/common/expfmt"
)

var update = flag.Bool("update", false, "write the golden file")

var start = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)

// site has two zones on one device: the first has every kind of point, the second only what a zone must have. A second
// device carries a point that is none of theirs.
func site() *config.Site {
	s := &config.Site{
		Name: "harbor-12", Title: "Harbor Street Market 12", Location: time.UTC,
		Devices: []config.Device{{Name: "north", Cycle: 10 * time.Second}, {Name: "south", Cycle: 10 * time.Second, Points: []*config.Point{{}}}},
		Zones: []config.Zone{
			{Name: "aisles-1-4", RatedPower: 1000},
			{Name: "bakery"},
		},
	}
	level := func(role config.Role) *config.Point {
		return &config.Point{Role: role, Quantity: config.Level, Scale: config.Unity}
	}
	loop := &config.Point{Role: config.Feedback, Quantity: config.Volts, HasLoop: true, Loop: config.Unity,
		Scale: config.Through([2]float64{4, 20}, [2]float64{0, 10})}
	s.Zones[0].Points = [config.Roles]*config.Point{
		config.Setpoint: level(config.Setpoint), config.Command: level(config.Command), config.Feedback: loop,
		config.Lit:      {Role: config.Lit, Quantity: config.State},
		config.Power:    {Role: config.Power, Quantity: config.Watts, Scale: config.Unity},
		config.Daylight: {Role: config.Daylight, Quantity: config.Lux, Scale: config.Unity},
	}
	s.Zones[1].Points = [config.Roles]*config.Point{
		config.Setpoint: level(config.Setpoint), config.Command: level(config.Command), config.Feedback: level(config.Feedback),
	}
	for i := range s.Zones {
		s.Zones[i].Judge = config.Judge{Tolerance: 10, Settle: time.Minute, FalseFindings: 0.001}
		for _, p := range s.Zones[i].Points {
			if p != nil {
				p.Zone, p.Index = i, len(s.Devices[0].Points)
				s.Devices[0].Points = append(s.Devices[0].Points, p)
			}
		}
	}
	return s
}

// good are readings in the order of the points of site: setpoint, command, feedback (mA), lit, power, daylight of the first
// zone; setpoint, command, feedback of the second.
func good(at time.Time, values ...float64) []drivers.Reading {
	out := make([]drivers.Reading, len(values))
	for i, v := range values {
		out[i] = drivers.Reading{At: at, Value: v, Quality: drivers.Good}
	}
	return out
}

// exposition gives what a scrape of the collector shows. The registry is pedantic: what is collected has to be described.
func exposition(t *testing.T, c prometheus.Collector) string {
	t.Helper()
	registry := prometheus.NewPedanticRegistry()
	if err := registry.Register(c); err != nil {
		t.Fatal(err)
	}
	families, err := registry.Gather()
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	for _, f := range families {
		if _, err := expfmt.MetricFamilyToText(&b, f); err != nil {
			t.Fatal(err)
		}
	}
	return b.String()
}

// shorted gives a site whose first zone has a shorted pair, whose second is sound, and whose device south is lost.
func shorted() metrics.View {
	cfg := site()
	supported := func(ids ...loops.ID) (set [loops.IDs]bool) {
		for _, id := range append(ids, loops.DeviceLost) {
			set[id] = true
		}
		return set
	}
	now := start.Add(8 * 24 * time.Hour)
	tested := [loops.IDs]int64{
		loops.PairShort: now.Add(-time.Hour).UnixNano(),
		loops.StuckMid:  start.UnixNano(), // too long ago to count
	}
	return metrics.View{
		Site: judge.Snapshot{
			Site: cfg, From: start, To: now,
			Zones: []judge.Zone{
				{
					Config: &cfg.Zones[0],
					Sample: loops.Sample{
						Has:      loops.Setpoint | loops.Command | loops.Feedback | loops.FeedbackLoop | loops.Power | loops.Order | loops.Daylight,
						Setpoint: 62.5, Command: 100, Feedback: 1.25, FeedbackMilliamps: 4.25, Power: 300, Daylight: 450, Order: true,
					},
					State: loops.ZoneState{
						Asked: true, AskedKnown: true, Lit: true, LitKnown: true, Judged: true, Tested: tested,
						Supported: supported(loops.PairShort, loops.PairOpen, loops.StuckMid, loops.StuckDim),
					},
					Energy: judge.Energy{
						UsedJoules: 1.5e6, UsedKnown: true, ExcessJoules: 1000, AvoidedJoules: 5e5, LevelsKnown: true,
						LightOwed: 50, LightKnown: true, MissedJoules: 2e5, MissedLow: 1e5, MissedHigh: 3e5, MissedKnown: true,
					},
				},
				{
					Config: &cfg.Zones[1],
					Sample: loops.Sample{Has: loops.Setpoint | loops.Command | loops.Feedback, Setpoint: 50, Command: 51, Feedback: 49},
					State:  loops.ZoneState{Supported: supported(loops.PairShort)},
				},
			},
			Findings: []loops.Finding{
				{Seq: 1, ID: loops.DeviceLost, Device: 1},
				{Seq: 2, ID: loops.PairShort, Device: -1, Zones: []int{0}},
			},
			Raised: map[loops.ID]uint64{loops.DeviceLost: 3, loops.PairShort: 1},
		},
		Kept: metrics.Kept{Asked: true, Failures: 2, At: now.Add(-time.Minute)},
		Polls: []poll.Stats{
			{Polled: true, Up: true, Reads: 240, Skipped: 3, Seconds: 12.5, Counts: drivers.Counts{OK: 700, Timeout: 2, Exception: 1},
				Within: [len(poll.Buckets)]uint64{0, 10, 238, 240, 240, 240, 240, 240}},
			{Polled: true, Up: false, Reads: 240, Seconds: 240, Counts: drivers.Counts{Closed: 240}, Within: [len(poll.Buckets)]uint64{4: 240, 5: 240, 6: 240, 7: 240}},
		},
	}
}

// always makes a collector of one view.
func always(v metrics.View, reload metrics.Reload) *metrics.Collector {
	return metrics.New(func() metrics.View { return v }, func() metrics.Reload { return reload })
}

// The whole exposition of a site with findings, as it was read over and found right.
func TestExposition(t *testing.T) {
	got := exposition(t, always(shorted(), metrics.Reload{OK: true, At: start}))
	const golden = "testdata/exposition.golden"
	if *update {
		if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), got); diff != "" {
		t.Errorf("the exposition has changed (-update writes it):\n%s", diff)
	}
}

// Names, units, types and help texts are as the ecosystem's own linter wants them.
func TestLint(t *testing.T) {
	text := exposition(t, always(shorted(), metrics.Reload{OK: true, At: start}))
	problems, err := promlint.New(strings.NewReader(text)).Lint()
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range problems {
		t.Errorf("%s: %s", p.Metric, p.Text)
	}
}

// A finding is shown as long as it stands, with its labels, and gone afterwards; the count of those raised stays.
func TestFindingActive(t *testing.T) {
	v := shorted()
	c := metrics.New(func() metrics.View { return v }, func() metrics.Reload { return metrics.Reload{} })
	short := `dimming_finding_active{device="north",finding="pair-short",part="pair",severity="urgent",zone="aisles-1-4"} 1`
	lost := `dimming_finding_active{device="south",finding="device-lost",part="network",severity="high",zone=""} 1`
	raised := `dimming_findings_raised_total{finding="pair-short",part="pair"} 1`
	text := exposition(t, c)
	for _, want := range []string{short, lost, raised} {
		if !strings.Contains(text, want) {
			t.Errorf("the exposition lacks %s", want)
		}
	}
	v.Site.Findings = nil
	text = exposition(t, c)
	if strings.Contains(text, "dimming_finding_active") {
		t.Error("a finding is shown that has ended")
	}
	if !strings.Contains(text, raised) {
		t.Error("the count of findings raised is gone")
	}
}

// What is not known is absent: nothing is shown of a zone before its first poll, of points that it has not, or of a
// device that does not answer.
func TestUnknownIsAbsent(t *testing.T) {
	s := judge.New(site())
	c := metrics.New(func() metrics.View { return metrics.View{Site: s.Snapshot(), Polls: make([]poll.Stats, 2)} },
		func() metrics.Reload { return metrics.Reload{} })
	absent := func(when string, names ...string) {
		t.Helper()
		text := exposition(t, c)
		for _, name := range names {
			if strings.Contains(text, "\n"+name) {
				t.Errorf("%s: %s is shown", when, name)
			}
		}
	}
	all := []string{"dimming_zone_setpoint_ratio", "dimming_zone_command_ratio", "dimming_zone_feedback_ratio", "dimming_zone_error_ratio",
		"dimming_zone_pair_volts", "dimming_zone_feedback_amperes", "dimming_zone_power_watts", "dimming_zone_asked", "dimming_zone_lit"}
	absent("before the first poll", append(all, "dimming_device_up", "dimming_device_requests_total", "dimming_device_cycle_seconds")...)

	s.Take(start, []judge.Poll{{Device: 0, Readings: good(start, 50, 50, 12, 1, 650, 400, 60, 60, 60)}})
	absent("zone without them", `dimming_zone_power_watts{zone="bakery"}`, `dimming_zone_feedback_amperes{zone="bakery"}`)
	absent("energy before a time has gone by, and what was missed before the zone's daylight curve is known",
		"dimming_zone_energy_joules_total", "dimming_zone_excess_joules_total", "dimming_zone_missed_joules_total")
	if text := exposition(t, c); !strings.Contains(text, `dimming_zone_feedback_amperes{zone="aisles-1-4"} 0.012`) ||
		!strings.Contains(text, `dimming_zone_pair_volts{zone="bakery"} 6`) {
		t.Errorf("known figures are not shown:\n%s", text)
	}

	readings := good(start.Add(10*time.Second), 50, 50, 12, 1, 650, 400, 60, 60, 60)
	readings[2] = drivers.Reading{At: start, Reason: "exception 4: the device has failed"}
	s.Take(start.Add(10*time.Second), []judge.Poll{{Device: 0, Readings: readings}})
	absent("bad feedback", `dimming_zone_feedback_ratio{zone="aisles-1-4"}`, `dimming_zone_pair_volts{zone="aisles-1-4"}`,
		`dimming_zone_error_ratio{zone="aisles-1-4"}`, `dimming_zone_feedback_amperes{zone="aisles-1-4"}`)

	s.Take(start.Add(20*time.Second), []judge.Poll{{Device: 0, Readings: readings, Err: errors.New("no answer in time")}})
	absent("device that does not answer", all...)
}

// A zone that a reload has removed takes its series with it.
func TestRemovedZone(t *testing.T) {
	both := judge.New(site())
	both.Take(start, []judge.Poll{{Device: 0, Readings: good(start, 50, 50, 12, 1, 650, 400, 60, 60, 60)}})
	now := both
	c := metrics.New(func() metrics.View { return metrics.View{Site: now.Snapshot()} }, func() metrics.Reload { return metrics.Reload{} })
	if text := exposition(t, c); !strings.Contains(text, `zone="bakery"`) {
		t.Fatal("bakery is not shown")
	}
	less := site()
	less.Zones = less.Zones[:1]
	now = judge.New(less)
	now.Take(start, []judge.Poll{{Device: 0, Readings: good(start, 50, 50, 12, 1, 650, 400, 60, 60, 60)}})
	if text := exposition(t, c); strings.Contains(text, `zone="bakery"`) || !strings.Contains(text, `zone="aisles-1-4"`) {
		t.Error("after the reload the series are not those of the new configuration")
	}
}

// A healthy zone with every point has under 30 series.
func TestSeriesOfAZone(t *testing.T) {
	text := exposition(t, always(shorted(), metrics.Reload{}))
	if n := strings.Count(text, `zone="aisles-1-4"`); n < 12 || n >= 30 {
		t.Errorf("%d series of a zone", n)
	}
}

// The reload's state, and what the program was built with, are there.
func TestHandler(t *testing.T) {
	loaded := start.Add(90 * time.Minute)
	h := metrics.Handler(always(shorted(), metrics.Reload{OK: false, At: loaded}))
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest("GET", "/metrics", nil))
	body, err := io.ReadAll(w.Result().Body)
	if err != nil || w.Code != 200 {
		t.Fatalf("%d: %v", w.Code, err)
	}
	for _, want := range []string{
		"\ndimming_config_last_reload_successful 0\n", "\ndimming_config_last_reload_success_timestamp_seconds 1.772", "\ndimming_build_info{",
		"\ndimming_site_info{name=\"Harbor Street Market 12\",site=\"harbor-12\"} 1\n", "\ngo_goroutines ",
	} {
		if !strings.Contains(string(body), want) {
			t.Errorf("the page lacks %q", want)
		}
	}
}

// BenchmarkScrape is what one scrape of two zones costs.
func BenchmarkScrape(b *testing.B) {
	registry := prometheus.NewRegistry()
	registry.MustRegister(always(shorted(), metrics.Reload{}))
	for b.Loop() {
		if _, err := registry.Gather(); err != nil {
			b.Fatal(err)
		}
	}
}
