package judge_test

import (
	"errors"
	"math"
	"slices"
	"sync"
	"testing"
	"time"

	"dimwatch/agent/config"
	"dimwatch/agent/judge"
	"dimwatch/drivers"
	"dimwatch/loops"

	"github.com/google/go-cmp/cmp"
)

// start is the time of the first poll of these tests: a Monday at noon.
var start = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)

// The readings of device north are setpoint (0..1000 per mille), feedback (0..4095 counts of 0..20 mA) and power (watts);
// those of device south are command (0..10 V) and lit (inverted order).
func site() *config.Site {
	s := &config.Site{
		Name: "harbor-12", Location: time.UTC,
		Devices: []config.Device{
			{Name: "north", Cycle: 10 * time.Second, Points: make([]*config.Point, 3)},
			{Name: "south", Cycle: 4 * time.Second, Points: make([]*config.Point, 2)},
		},
		Zones: []config.Zone{{
			Name: "aisles-1-4", Device: 0, RatedPower: 1000,
			Judge: config.Judge{Tolerance: 10, Settle: time.Minute, FalseFindings: 0.001},
			Points: [config.Roles]*config.Point{
				config.Setpoint: {Role: config.Setpoint, Device: 0, Index: 0, Quantity: config.Level, Scale: config.Line{Gain: 0.1}},
				config.Feedback: {Role: config.Feedback, Device: 0, Index: 1, Quantity: config.Volts, HasLoop: true,
					Loop: config.Through([2]float64{0, 4095}, [2]float64{0, 20}), Scale: config.Through([2]float64{4, 20}, [2]float64{0, 10})},
				config.Power:   {Role: config.Power, Device: 0, Index: 2, Quantity: config.Watts, Scale: config.Unity},
				config.Command: {Role: config.Command, Device: 1, Index: 0, Quantity: config.Volts, Scale: config.Unity},
				config.Lit:     {Role: config.Lit, Device: 1, Index: 1, Quantity: config.State, Invert: true},
			},
		}},
	}
	for _, p := range s.Zones[0].Points {
		if p != nil {
			s.Devices[p.Device].Points[p.Index] = p
		}
	}
	return s
}

// good makes readings of good quality at a time.
func good(at time.Time, values ...float64) []drivers.Reading {
	out := make([]drivers.Reading, len(values))
	for i, v := range values {
		out[i] = drivers.Reading{At: at, Value: v, Quality: drivers.Good}
	}
	return out
}

const counts8mA = 8 * 4095 / 20 // 2.5 V

func after(seconds float64) time.Time {
	return start.Add(time.Duration(seconds * float64(time.Second)))
}

func north(s *judge.Site, at time.Time, values ...float64) {
	s.Take(at, []judge.Poll{{Device: 0, Readings: good(at, values...)}})
}

func south(s *judge.Site, at time.Time, values ...float64) {
	s.Take(at, []judge.Poll{{Device: 1, Readings: good(at, values...)}})
}

func sample(s *judge.Site) loops.Sample { return s.Snapshot().Zones[0].Sample }

// A zone is weighed when its feedback comes, with its points scaled, wherever they come from.
func TestSample(t *testing.T) {
	s := judge.New(site())
	south(s, after(0), 2.6, 0)
	if got := sample(s); got.At != 0 {
		t.Errorf("weighed without its feedback: %+v", got)
	}
	north(s, after(1), 250, counts8mA, 480)
	want := loops.Sample{
		At:       after(1).UnixNano(),
		Has:      loops.Setpoint | loops.Command | loops.Feedback | loops.FeedbackLoop | loops.Power | loops.Order,
		Setpoint: 25, Command: 26, Feedback: 25, FeedbackMilliamps: 8, Power: 480, Order: true,
	}
	if diff := cmp.Diff(want, sample(s), cmp.Comparer(func(a, b float64) bool { return math.Abs(a-b) < 0.01 })); diff != "" {
		t.Error(diff)
	}
}

// What is not of good quality, or older than 2.5 cycles of its own device, is not in the sample; the feedback has to be
// of the poll itself.
func TestOnlyGoodAndFresh(t *testing.T) {
	all := loops.Setpoint | loops.Command | loops.Feedback | loops.FeedbackLoop | loops.Power | loops.Order
	fromSouth := loops.Command | loops.Order
	for _, c := range []struct {
		name string
		at   float64 // of north's poll; south was read at 0 s and has a cycle of 4 s
		with func(r []drivers.Reading)
		want loops.Channels
	}{
		{"all good", 1, func([]drivers.Reading) {}, all},
		{"south just fresh", 10, func([]drivers.Reading) {}, all},
		{"south stale", 10.1, func([]drivers.Reading) {}, all &^ fromSouth},
		{"bad feedback", 1, func(r []drivers.Reading) { r[1].Quality = drivers.Bad }, all &^ (loops.Feedback | loops.FeedbackLoop)},
		{"stale feedback", 1, func(r []drivers.Reading) { r[1].Quality = drivers.Stale }, all &^ (loops.Feedback | loops.FeedbackLoop)},
		{"uncertain feedback", 1, func(r []drivers.Reading) { r[1].Quality = drivers.Uncertain }, all &^ (loops.Feedback | loops.FeedbackLoop)},
		{"uncertain power", 1, func(r []drivers.Reading) { r[2].Quality = drivers.Uncertain }, all &^ loops.Power},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := judge.New(site())
			south(s, after(0), 5, 0)
			readings := good(after(c.at), 500, 2457, 700)
			c.with(readings)
			s.Take(after(c.at), []judge.Poll{{Device: 0, Readings: readings}})
			if got := sample(s).Has; got != c.want {
				t.Errorf("has %b, want %b", got, c.want)
			}
		})
	}
}

// A device that gave nothing leaves a sample without a feedback: a value that is shown again would look like one that stands
// still. The time goes by all the same, so that coverage tells what was not judged.
func TestNoAnswerIsNoSample(t *testing.T) {
	s := judge.New(site())
	south(s, after(0), 5, 0)
	north(s, after(0), 500, 2457, 700)
	none := errors.New("timeout")
	s.Take(after(10), []judge.Poll{{Device: 0, Readings: good(after(10), 0, 0, 0), Err: none}})
	snap := s.Snapshot()
	z := snap.Zones[0]
	if z.Sample.At != after(10).UnixNano() || z.Sample.Has.Has(loops.Feedback) || z.State.Judged || !z.Stale || z.State.CalledSeconds != 10 || z.State.JudgedSeconds != 0 {
		t.Errorf("zone after a poll without an answer: %+v", snap.Zones[0])
	}
	for _, r := range snap.Devices[0].Readings {
		if r.Quality != drivers.Bad || r.Reason == "" {
			t.Errorf("a reading of a device that did not answer is shown as %+v", r)
		}
	}
	if !errors.Is(snap.Devices[0].Err, none) {
		t.Errorf("error %v", snap.Devices[0].Err)
	}
}

// Without a lit point the site's hours say whether light is asked for.
func TestHours(t *testing.T) {
	cfg := site()
	cfg.Hours.Given = true
	for day := range cfg.Hours.Days {
		cfg.Hours.Days[day] = []config.Span{{From: 12 * 60, To: 12*60 + 1}}
	}
	s := judge.New(cfg)
	north(s, after(0), 500, 2457, 700)
	if got := sample(s); !got.Has.Has(loops.Hours) || !got.Open {
		t.Errorf("at noon: %+v", got)
	}
	north(s, after(60), 500, 2457, 700)
	if got := sample(s); !got.Has.Has(loops.Hours) || got.Open {
		t.Errorf("a minute after noon: %+v", got)
	}
}

// short runs a zone whose pair is joined between two times, and gives what changed.
func short(s *judge.Site, from, to, until float64) (changes []loops.Finding) {
	command := 50.0
	for at := 0.0; at < until; at += 10 {
		setpoint := 50 + 20*math.Sin(at/300)
		pair := math.Max(5, command)
		if at >= from && at < to {
			pair = 0.5
		}
		command = math.Min(100, math.Max(0, command+0.3*(setpoint-pair)))
		wiggle := 0.2 * math.Sin(at*7.7)
		south(s, after(at), command/10, 0)
		north(s, after(at), 10*setpoint, (4+0.16*(pair+wiggle))*4095/20, 300+7*pair)
		s.Changes(func(f loops.Finding) { changes = append(changes, f) })
	}
	return changes
}

// A finding is given when it is raised and when it ends, stands in the snapshot in between, and is counted once.
func TestFindingComesAndGoes(t *testing.T) {
	s := judge.New(site())
	changes := short(s, 3000, 4500, 4400)
	if len(changes) == 0 || changes[0].ID != loops.PairShort || changes[0].Cleared != 0 {
		t.Fatalf("changes %+v, want a pair-short", changes)
	}
	if raised := time.Unix(0, changes[0].Raised); raised.Before(after(3000)) || raised.After(after(3300)) {
		t.Errorf("raised at %v, the fault began at %v", raised, after(3000))
	}
	snap := s.Snapshot()
	if len(snap.Findings) != 1 || snap.Findings[0].ID != loops.PairShort {
		t.Fatalf("findings that stand: %+v", snap.Findings)
	}
	if snap.Raised[loops.PairShort] != 1 {
		t.Errorf("raised %v", snap.Raised)
	}

	s = judge.New(site())
	changes = short(s, 3000, 4500, 4500+3600+300) // a pair's repair is proved by an hour in which it worked
	last := changes[len(changes)-1]
	if last.Seq != changes[0].Seq || last.Cleared == 0 || last.Revised {
		t.Errorf("after the repair the last change is %+v", last)
	}
	if snap := s.Snapshot(); len(snap.Findings) != 0 || snap.Raised[loops.PairShort] != 1 {
		t.Errorf("after the repair: %+v, raised %v", snap.Findings, snap.Raised)
	}
}

// A snapshot is the caller's: it does not change with the site, nor the site with it.
func TestSnapshotIsACopy(t *testing.T) {
	s := judge.New(site())
	south(s, after(0), 5, 0)
	north(s, after(0), 500, 2457, 700)
	snap := s.Snapshot()
	was := snap.Devices[0].Readings[0].Value
	north(s, after(10), 900, 2457, 700)
	if got := snap.Devices[0].Readings[0].Value; got != was {
		t.Errorf("a later poll changed an earlier snapshot from %g to %g", was, got)
	}
	snap = s.Snapshot()
	snap.Devices[0].Readings[0].Value = -1
	snap.Raised[loops.PairShort] = 99
	if again := s.Snapshot(); again.Devices[0].Readings[0].Value != 900 || again.Raised[loops.PairShort] != 0 {
		t.Error("a change to a snapshot changed the site")
	}
}

// Polls, scrapes and the log come from goroutines of their own; this is for the race detector.
func TestConcurrentUse(t *testing.T) {
	s := judge.New(site())
	var all sync.WaitGroup
	all.Go(func() {
		for i := range 300 {
			north(s, after(float64(10*i)), 500, 2457, 700)
		}
	})
	all.Go(func() {
		for i := range 300 {
			south(s, after(float64(4*i)), 5, 0)
		}
	})
	all.Go(func() {
		for range 300 {
			if n := len(s.Snapshot().Zones); n != 1 {
				t.Errorf("%d zones", n)
			}
			s.Changes(func(loops.Finding) {})
		}
	})
	all.Wait()
}

// Taking a poll costs no memory.
func TestTakeAllocatesNothing(t *testing.T) {
	s := judge.New(site())
	polls := []judge.Poll{{Device: 0, Readings: good(start, 500, 2457, 700)}, {Device: 1, Readings: good(start, 5, 0)}}
	at := start
	n := testing.AllocsPerRun(500, func() {
		at = at.Add(10 * time.Second)
		for _, p := range polls {
			for i := range p.Readings {
				p.Readings[i].At = at
			}
		}
		s.Take(at, polls)
		s.Changes(func(loops.Finding) {})
	})
	if n != 0 {
		t.Errorf("%g allocations a poll", n)
	}
}

// The channels of a zone are those of its points and of the site's hours.
func TestChannels(t *testing.T) {
	cfg := site()
	z := &cfg.Zones[0]
	want := loops.Setpoint | loops.Command | loops.Feedback | loops.FeedbackLoop | loops.Power | loops.Order
	if got := judge.Channels(cfg, z); got != want {
		t.Errorf("channels %b, want %b", got, want)
	}
	z.Points[config.Lit].Contact = true
	z.Points[config.Power] = nil
	z.Points[config.Feedback].HasLoop = false
	cfg.Hours.Given = true
	want = loops.Setpoint | loops.Command | loops.Feedback | loops.Contact | loops.Hours
	if got := judge.Channels(cfg, z); got != want {
		t.Errorf("channels %b, want %b", got, want)
	}
}

// Zones that read their daylight from one point have one sensor, and one finding of it.
func TestSharedSensor(t *testing.T) {
	cfg := site()
	other := cfg.Zones[0]
	other.Name = "aisles-5-8"
	cfg.Zones = append(cfg.Zones, other)
	for i, index := range []int{3, 4} { // the same register, read for each of the two zones
		p := &config.Point{
			Zone: i, Role: config.Daylight, Index: index, Quantity: config.Lux, HasLoop: true, Loop: config.Unity,
			Scale: config.Through([2]float64{4, 20}, [2]float64{0, 5000}), Where: "input 44",
		}
		cfg.Zones[i].Points[config.Daylight] = p
		cfg.Devices[0].Points = append(cfg.Devices[0].Points, p)
	}
	s := judge.New(cfg)
	for i := range 20 {
		at := after(float64(10 * i))
		south(s, at, 2.6, 0)
		north(s, at, 250, counts8mA, 480, 3.2, 3.2)
	}
	found := s.Snapshot().Findings
	if len(found) != 1 || found[0].ID != loops.SensorLoopLow || len(found[0].Zones) != 2 {
		t.Errorf("found %+v", found)
	}
}

// Energy is power held for the time between samples; what was not watched is not counted.
func TestEnergy(t *testing.T) {
	level := func(percent float64) float64 { return (4 + 0.16*percent) * 4095 / 20 }
	run := func(setpoint, feedback, power float64, at ...float64) judge.Energy {
		s := judge.New(site())
		for _, t := range at {
			south(s, after(t), 5, 0)
			north(s, after(t), 10*setpoint, level(feedback), power)
		}
		return s.Snapshot().Zones[0].Energy
	}
	minutes := func(from, to int) (at []float64) {
		for m := from; m <= to; m++ {
			at = append(at, float64(60*m))
		}
		return at
	}
	near := func(name string, got, want float64) {
		t.Helper()
		if math.Abs(got-want) > 0.001*math.Abs(want)+0.01 {
			t.Errorf("%s: %g, want %g", name, got, want)
		}
	}

	// An hour at 60 %, as asked, of 1000 W: the default curve says 0.3 + 0.7*(60-20)/80 = 0.65 of full power.
	e := run(60, 60, 650, minutes(0, 60)...)
	near("used", e.UsedJoules, 650*3600)
	near("excess", e.ExcessJoules, 0)
	near("avoided", e.AvoidedJoules, 350*3600)
	near("light owed", e.LightOwed, 0)

	// Full light for an hour where 60 % were asked for.
	e = run(60, 100, 1000, minutes(0, 60)...)
	near("excess of full light", e.ExcessJoules, 350*3600)

	// Minimum light for an hour where 60 % were asked for: 50 percent-hours short.
	e = run(60, 10, 300, minutes(0, 60)...)
	near("light owed by a dim zone", e.LightOwed, 50)
	near("excess of a dim zone", e.ExcessJoules, 0)

	// An hour of a shorted pair: the feedback is near 0 V and the gear at minimum.
	e = run(60, 0.5, 300, minutes(0, 60)...)
	near("light owed by a shorted pair", e.LightOwed, 59.5)

	// An hour of an open pair: the feedback is near 0 V and the gear at full.
	e = run(60, 0.5, 1000, minutes(0, 60)...)
	near("light owed by an open pair", e.LightOwed, 0)
	near("excess of an open pair", e.ExcessJoules, 350*3600)

	// A gap of two hours between two watched hours.
	e = run(60, 60, 650, slices.Concat(minutes(0, 60), minutes(180, 240))...)
	near("used around a gap", e.UsedJoules, 2*650*3600)
}

// A finding is charged from its onset with the light that its zone owes, and a judge that goes on from what another remembered
// counts on.
func TestCostOfAFinding(t *testing.T) {
	s := judge.New(site())
	changes := short(s, 3000, 1e9, 6600)
	if len(changes) != 1 {
		t.Fatalf("changes %+v", changes)
	}
	f := changes[0]
	c := s.Cost(f)
	total := s.Snapshot().Zones[0].Energy
	// An hour at about 0 V where 50 % were asked for on average; by the power the gear is at minimum.
	if !c.LightKnown || c.LightOwed < 40 || c.LightOwed > 60 || c.LightOwed > total.LightOwed || c.MissedKnown {
		t.Errorf("cost %+v of %+v", c, total)
	}
	if j, ok := c.Joules(); !ok || j > total.ExcessJoules {
		t.Errorf("used for nothing: %g, %v", j, ok)
	}

	state, err := s.Save()
	if err != nil {
		t.Fatal(err)
	}
	again := judge.New(site())
	if err := again.Restore(state); err != nil {
		t.Fatal(err)
	}
	if got := again.Snapshot().Zones[0].Energy; got != total {
		t.Errorf("restored %+v, want %+v", got, total)
	}
	if got := again.Cost(f); got != c {
		t.Errorf("restored cost %+v, want %+v", got, c)
	}
}

// BenchmarkTake is what one poll of a zone costs from readings to evidence.
func BenchmarkTake(b *testing.B) {
	s := judge.New(site())
	polls := []judge.Poll{{Device: 0, Readings: good(start, 500, 2457, 700)}, {Device: 1, Readings: good(start, 5, 0)}}
	at := start
	b.ReportAllocs()
	for b.Loop() {
		at = at.Add(10 * time.Second)
		for _, p := range polls {
			for i := range p.Readings {
				p.Readings[i].At = at
			}
		}
		s.Take(at, polls)
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "zone-samples/s")
}

// A device that answers with the values of its last poll, to the last bit, is found; points that cannot be read do not
// count as moved.
func TestOldValuesAreFound(t *testing.T) {
	cfg := &config.Site{Name: "harbor-12", Location: time.UTC, Devices: []config.Device{{Name: "north", Cycle: 15 * time.Second}}}
	for i, name := range []string{"aisles-1-4", "bakery", "produce", "dairy"} {
		z := config.Zone{Name: name, Judge: config.Judge{Tolerance: 10, Settle: time.Minute, FalseFindings: 0.001}}
		for k, role := range []config.Role{config.Setpoint, config.Command, config.Feedback, config.Daylight} {
			p := &config.Point{Role: role, Index: 4*i + k, Quantity: config.Level, Scale: config.Unity}
			if role == config.Daylight {
				p.Quantity = config.Lux
			}
			z.Points[role] = p
			cfg.Devices[0].Points = append(cfg.Devices[0].Points, p)
		}
		cfg.Zones = append(cfg.Zones, z)
	}
	s := judge.New(cfg)
	level := func(i, k int) float64 { return 50 + 0.01*float64((i*(7+k))%97) }
	values := make([]float64, 16)
	poll := func(i int, frozen bool) {
		if !frozen {
			for k := range values {
				values[k] = level(i, k)
			}
		}
		r := good(after(15*float64(i)), values...)
		r[5].Quality, r[5].Value = drivers.Bad, float64(i)
		s.Take(r[0].At, []judge.Poll{{Device: 0, Readings: r}})
	}
	for i := range 480 {
		poll(i, false)
	}
	if list := s.Snapshot().Findings; len(list) != 0 {
		t.Fatalf("while values move: %+v", list)
	}
	for i := range 40 {
		poll(480+i, true)
	}
	list := s.Snapshot().Findings
	if len(list) != 1 || list[0].ID != loops.PointsStale || list[0].Device != 0 || len(list[0].Zones) != 4 {
		t.Fatalf("while values stand still: %+v", list)
	}
	if delay := list[0].Raised - after(15*479).UnixNano(); delay > int64(5*time.Minute) {
		t.Errorf("found after %v", time.Duration(delay))
	}
	poll(520, false)
	if list := s.Snapshot().Findings; len(list) != 0 {
		t.Errorf("after values moved: %+v", list)
	}
}
