package loops

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"unsafe"
)

// A sensor's current after NAMUR NE 43 (limits secondary): at or below 3.6 and at or above 21.0 mA is failure, when it lasts
// 4 s and two samples, by night as by day; a dip of 3 s is none.
func TestSensorLoopLimits(t *testing.T) {
	for _, c := range []struct {
		milliamps float64
		samples   int
		dt        float64
		failed    bool
	}{
		{3.59, 6, 1, true}, {3.60, 6, 1, true}, {3.61, 600, 1, false}, {3.80, 600, 1, false}, {20.50, 600, 1, false},
		{20.99, 600, 1, false}, {21.00, 6, 1, true}, {0, 2, 60, true}, {3.5, 4, 1, false}, {3.5, 1, 300, false}, {22, 2, 300, true},
	} {
		var f failure
		for range c.samples {
			f.follow(c.milliamps, c.dt)
		}
		if f.failed() != c.failed {
			t.Errorf("%d samples of %.2f mA at %g s: failed %v, want %v", c.samples, c.milliamps, c.dt, f.failed(), c.failed)
		}
		f.follow(12, c.dt)
		if f.failed() {
			t.Error("a good current does not end the failure")
		}
	}
}

// Hard evidence is quick: a sensor's loop is named within three minutes at 15 s, whatever the hour, and clears with the
// current.
func TestSensorLoopIsQuick(t *testing.T) {
	for _, hour := range []float64{0, 6, 12, 18} {
		for _, milliamps := range []float64{3.2, 0, 22} {
			s := newDaySite(9, 47, 5, 15, 3)
			s.zones[1].has |= DaylightLoop
			s.settle()
			j := New(s.set)
			got := s.live(j, 0.2+hour/24, nil)
			onset := s.start + int64(s.at*1e9)
			s.zones[1].loop = milliamps
			if milliamps == 0 {
				s.zones[1].loop = 1e-9
			}
			got = s.live(j, 0.02, got)
			want := SensorLoopLow
			if milliamps > 12 {
				want = SensorLoopHigh
			}
			if len(got) != 1 || got[0].ID != want || !slices.Equal(got[0].Zones, []int{1}) {
				t.Fatalf("%g mA: %+v", milliamps, got)
			}
			if d := (got[0].Raised - onset) / 1e9; d < 0 || d > 180 {
				t.Errorf("raised after %d s", d)
			}
			if d := math.Abs(float64(got[0].Onset-onset)) / 1e9; d > 30 {
				t.Errorf("onset off by %g s", d)
			}
			s.zones[1].loop = 0
			if got = s.live(j, 0.05, got); got[0].Cleared == 0 {
				t.Error("not cleared by a good current")
			}
		}
	}
}

// One cause is shown once: sensors on one supply fail together and make one record with all their zones, and a sensor that
// serves several zones makes one.
func TestSensorsFailTogether(t *testing.T) {
	for name, put := range map[string]func(z *dayZone){
		"supply lost": func(z *dayZone) { z.loop = 1 },
		"held":        func(z *dayZone) { z.deadband = 1e9 },
	} {
		s := newDaySite(21, 47, 6, 60, 4)
		for _, z := range s.zones {
			z.has |= DaylightLoop
			z.step, z.noise = 0.1, 3
		}
		s.settle()
		s.set.Sensors = []SensorSettings{{Zones: []int{0, 1}}, {Zones: []int{2}}, {Zones: []int{3}}}
		j := New(s.set)
		got := s.live(j, 4.7, nil)
		for _, z := range s.zones[:3] {
			put(z)
		}
		got = s.live(j, 2, got)
		standing := slices.DeleteFunc(slices.Clone(got), func(f Finding) bool { return f.Cleared != 0 })
		if len(standing) != 1 || !slices.Equal(standing[0].Zones, []int{0, 1, 2}) {
			t.Errorf("%s: %v", name, summaries(standing))
		}
		for _, f := range got {
			if f.Cause != got[0].Cause || f.Cleared != 0 && !f.Revised {
				t.Errorf("%s: %v", name, summaries(got))
			}
		}
		// One of them is repaired: the record goes on with the others.
		s.zones[2].loop, s.zones[2].deadband = 0, 0
		got = s.live(j, 1, got)
		standing = slices.DeleteFunc(slices.Clone(got), func(f Finding) bool { return f.Cleared != 0 })
		if len(standing) != 1 || !slices.Equal(standing[0].Zones, []int{0, 1}) {
			t.Errorf("%s, one repaired: %v", name, summaries(standing))
		}
		for _, z := range s.zones {
			z.loop, z.deadband = 0, 0
		}
		got = s.live(j, 1, got)
		for _, f := range got {
			if f.Cleared == 0 {
				t.Errorf("%s, repaired: %v", name, summaries(got))
			}
		}
	}
}

func summaries(list []Finding) (out []string) {
	for _, f := range list {
		out = append(out, fmt.Sprint(f.ID, f.Zones, f.Cause, f.Cleared != 0, f.Revised, f.Onset/1e9, f.Raised/1e9))
	}
	return out
}

// All points of a device that stand still, with a wild reading now and then, say nothing about a sensor or a setpoint.
func TestStaleDeviceIsNoSensor(t *testing.T) {
	for seed := range uint64(4) {
		s := newDaySite(30+seed, 47, 6, 60, 4)
		s.settle()
		j := New(s.set)
		s.live(j, 4.2+0.25*float64(seed), nil)
		held := make([]Sample, len(s.zones))
		n := 0
		for end := s.at + 2*86400; s.at < end; {
			at := s.next(func(i int, sample *Sample) {
				if held[i].At == 0 {
					held[i] = *sample
				}
				x := held[i]
				x.At = sample.At
				if n++; n%500 == 0 {
					x.Feedback, x.Daylight = 17, 900
				}
				j.Observe(i, &x)
			})
			j.EndRound(at)
		}
		j.Changes(func(f Finding) {
			if f.ID == SensorFrozen || f.ID == SetpointFrozen || f.ID == SensorImplausible || f.ID == DaylightUnused {
				t.Errorf("%s of a device that stands still: %s", f.ID, f.Summary)
			}
		})
		s.live(j, 2, nil)
		for _, f := range j.open {
			t.Errorf("%s after it: %s", f.ID, f.Summary)
		}
	}
}

// A judge that takes over knows the sensors and what stands, and goes on as if nothing had happened.
func TestSensorsAreResumed(t *testing.T) {
	said := func(cut bool) []string {
		s := newDaySite(55, 47, 6, 60, 4)
		for _, z := range s.zones {
			z.has |= DaylightLoop
		}
		s.settle()
		j := New(s.set)
		got := s.live(j, 5, nil)
		s.zones[0].loop, s.zones[1].unused = 1, true
		got = s.live(j, 1.2, got)
		if cut {
			old := j
			j = New(s.set)
			j.Resume(old)
		}
		got = s.live(j, 3, got)
		s.zones[0].loop, s.zones[1].unused = 0, false
		got = s.live(j, 2, got)
		return append(summaries(got), fmt.Sprint(got[0].Cleared, got[0].Raised, j.State(0).Tested, j.State(1).Tested))
	}
	whole, cut := said(false), said(true)
	if len(whole) < 3 {
		t.Fatalf("the test shows nothing: %v", whole)
	}
	if !slices.Equal(whole, cut) {
		t.Errorf("differs:\n%v\n%v", whole, cut)
	}
}

// Healthy sensors and setpoints are put to the test within days; a zone that never follows is not.
func TestDaysAreTested(t *testing.T) {
	s := newDaySite(70, 47, 5, 300, 4)
	s.zones[1].constant = true
	s.zones[0].has |= DaylightLoop
	s.settle()
	j := New(s.set)
	s.live(j, 8, nil)
	now := s.start + int64(s.at*1e9)
	for _, id := range []ID{SensorLoopLow, SensorLoopHigh, SensorFrozen, SensorImplausible, SetpointFrozen, DaylightUnused} {
		st := j.State(0)
		if !st.Supported[id] || now-st.Tested[id] > 2*86400e9 {
			t.Errorf("%s: supported %v, tested %.1f days ago", id, st.Supported[id], float64(now-st.Tested[id])/86400e9)
		}
	}
	for _, id := range []ID{SetpointFrozen, DaylightUnused} {
		if j.State(1).Tested[id] != 0 {
			t.Errorf("%s is tested in a zone that never follows", id)
		}
	}
}

// What is remembered has a fixed size, and observing it allocates nothing while a finding stands.
func TestDaysCostLittle(t *testing.T) {
	if n := unsafe.Sizeof(days{}); n > 1200 {
		t.Errorf("a zone's days take %d bytes, want at most 1200", n)
	}
	if n := unsafe.Sizeof(sensor{}); n > 1200 {
		t.Errorf("a sensor takes %d bytes, want at most 1200", n)
	}
	s := newDaySite(80, 47, 5, 60, 3)
	s.zones[0].has |= DaylightLoop
	s.settle()
	j := New(s.set)
	s.live(j, 4, nil)
	s.zones[0].loop, s.zones[1].unused = 1, true
	s.live(j, 3, nil)
	if len(j.open) < 2 {
		t.Fatalf("%d findings stand: the test shows nothing", len(j.open))
	}
	var samples []Sample
	for range 700 {
		s.next(func(_ int, x *Sample) { samples = append(samples, *x) })
	}
	step := func() {
		for i := range s.zones {
			x := &samples[i]
			j.Observe(i, x)
		}
		j.EndRound(samples[0].At)
		samples = samples[len(s.zones):]
	}
	if n := testing.AllocsPerRun(600, step); n != 0 {
		t.Errorf("%g allocations a round", n)
	}
}
