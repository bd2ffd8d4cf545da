package loops

import (
	"fmt"
	"math"
	"os"
	"slices"
	"testing"
)

// healthyDays are ways in which sound stores differ from the one that is judged best.
var healthyDays = map[string]func(s *daySite){
	"as it comes": func(*daySite) {},
	"weeks of overcast": func(s *daySite) {
		s.grey = func(day int) float64 {
			if day > 3 && day < 14 {
				return 1
			}
			return 0.3
		}
	},
	"snow on all rooflights": func(s *daySite) {
		s.cover = func(day int) float64 {
			if day > 5 && day < 12 {
				return 0.05
			}
			return 1
		}
	},
	"snow on the only rooflight": func(s *daySite) {
		for _, z := range s.zones[1:] {
			z.has &^= Daylight
		}
		s.cover = func(day int) float64 {
			if day > 5 && day < 12 {
				return 0.12
			}
			return 1
		}
	},
	"clocks put forward": func(s *daySite) {
		s.shift = func(day int) float64 {
			if day > 6 {
				return -1
			}
			return 0
		}
	},
	"closed days": func(s *daySite) {
		s.closed = func(day int) bool { return day%7 == 6 || day == 8 || day == 9 }
	},
	"longer hours from the second week": func(s *daySite) {
		s.shift = func(day int) float64 {
			if day > 7 {
				return -2
			}
			return 0
		}
		for i, z := range s.zones {
			z.lamps = 100 * float64(i)
		}
	},
	"sensors that see the lamps": func(s *daySite) {
		for _, z := range s.zones {
			z.lamps = 0.4 * z.factor
		}
	},
	"no windows": func(s *daySite) {
		for _, z := range s.zones {
			z.lamps, z.factor, z.constant = 400, 0, true
		}
	},
	"one sensor without a window": func(s *daySite) { s.zones[0].lamps, s.zones[0].factor = 300, 0 },
	"coarse sensors": func(s *daySite) {
		for _, z := range s.zones {
			z.step, z.noise = 40, 3
		}
	},
	"sensors that report changes only": func(s *daySite) {
		for _, z := range s.zones {
			z.deadband, z.noise = 0.06*z.factor, 1
		}
	},
	"sensors clipped by a bright day": func(s *daySite) {
		for _, z := range s.zones {
			z.top = 0.25 * z.factor
		}
	},
	"constant zones": func(s *daySite) {
		for i, z := range s.zones {
			z.constant = i%2 == 0
		}
	},
	"no daylight points": func(s *daySite) {
		for _, z := range s.zones {
			z.has &^= Daylight
		}
	},
	"a demand limit each afternoon, a level of the first hour": func(s *daySite) {
		for _, z := range s.zones {
			z.night = 45
			z.limit = func(at float64) (float64, bool) { return 40, math.Mod(at, 86400) < 2*dayHour && at > 4*86400 }
		}
	},
	"one day at full by hand": func(s *daySite) {
		z := s.zones[1]
		s.zones[1].limit = func(at float64) (float64, bool) {
			z.constant = at > 8*86400 && at < 9*86400
			return 0, false
		}
	},
	"a dull start": func(s *daySite) {
		s.grey = func(day int) float64 {
			if day < 3 {
				return 1
			}
			return 0.1
		}
	},
	"place not known": func(s *daySite) {
		for _, z := range s.zones {
			z.has &^= Sun
		}
	},
}

// places are latitudes and months: both hemispheres, the tropics, polar night and midnight sun.
var places = []struct {
	latitude float64
	month    int
}{{47, 3}, {52, 12}, {-37, 1}, {-45, 6}, {1, 9}, {65, 12}, {69, 6}, {61, 10}, {33, 7}}

// long is how many times as much is tried with DIMWATCH_LONG set.
func long() int {
	if os.Getenv("DIMWATCH_LONG") != "" {
		return 10
	}
	return 1
}

// Sound stores raise nothing, whatever their weather, sensors and programs: 720 zone-days of each kind.
func TestHealthyDaysAreQuiet(t *testing.T) {
	for name, bend := range healthyDays {
		t.Run(name, func(t *testing.T) {
			for seed := range len(places) * long() {
				place := places[seed%len(places)]
				s := newDaySite(uint64(seed+1000*len(name)), place.latitude, place.month, []float64{300, 60, 300, 120}[seed/len(places)%4], 5)
				bend(s)
				s.settle()
				if name == "place not known" {
					s.set.Placed = false
				}
				if got := s.live(New(s.set), 16, nil); len(got) > 0 {
					f := got[0]
					t.Errorf("latitude %g, month %d: %s of zone %d on day %.1f: %s (%v)", place.latitude, place.month, f.ID, f.Zones[0],
						float64(f.Raised-s.start)/86400e9, f.Summary, f.Evidence)
				}
			}
		})
	}
}

// dayFaults are the faults, put on the first zone.
var dayFaults = map[string]struct {
	id    ID
	alike ID // what may be named as well, None for nothing
	put   func(s *daySite, z *dayZone)
	days  float64 // in which it has to be found
}{
	"loop open":    {SensorLoopLow, None, func(_ *daySite, z *dayZone) { z.loop = 3.2 }, 0.1},
	"loop shorted": {SensorLoopHigh, None, func(_ *daySite, z *dayZone) { z.loop = 22 }, 0.1},
	"reading held": {SensorFrozen, None, func(_ *daySite, z *dayZone) {
		z.deadband = 1e9
	}, 2},
	"covered": {SensorImplausible, None, func(_ *daySite, z *dayZone) {
		z.sensor = func(_ *dayZone, lux, _, _ float64) float64 { return 0.05 * lux }
	}, 5},
	"sees the lamps": {SensorImplausible, None, func(_ *daySite, z *dayZone) {
		z.sensor = func(z *dayZone, lux, _, lit float64) float64 { return 0.1*lux + 0.6*z.factor*lit }
	}, 6.5},
	"turned round": {SensorImplausible, None, func(_ *daySite, z *dayZone) {
		z.sensor = func(z *dayZone, lux, _, _ float64) float64 { return 0.7*z.factor - lux }
	}, 4},
	"setpoint stopped by night": {SetpointFrozen, DaylightUnused, func(_ *daySite, z *dayZone) { z.stop = true }, 5},
	"setpoint stopped by day":   {SetpointFrozen, None, func(_ *daySite, z *dayZone) { z.stop = true }, 5},
	"daylight not used":         {DaylightUnused, SetpointFrozen, func(_ *daySite, z *dayZone) { z.unused = true }, 5},
}

// Faults are named within days, with their onset; a repair is acknowledged; and nothing else is said of the store.
func TestDayFaultsAreNamed(t *testing.T) {
	const before, during, after = 5, 7, 3.0
	missed, wrong, n := 0, 0, 0
	for name, fault := range dayFaults {
		faulty := []struct {
			latitude float64
			month    int
		}{{47, 4}, {-37, 10}, {52, 9}, {10, 2}, {58, 8}, {-20, 6}}
		for seed := range len(faulty) * long() {
			place := faulty[seed%len(faulty)]
			n++
			what := fmt.Sprintf("%s, latitude %g, month %d", name, place.latitude, place.month)
			s := newDaySite(uint64(500+seed), place.latitude, place.month, []float64{60, 300}[seed%2], 5)
			z := s.zones[0]
			z.has |= DaylightLoop
			if z.bright > 0.5*z.factor {
				z.bright = 0.5 * z.factor
			}
			if name == "sees the lamps" {
				s.shut = 23 // it shows in the lit hours of the night
			}
			s.settle()
			j := New(s.set)
			at := float64(before)
			if name == "setpoint stopped by day" || name == "reading held" {
				at += 0.5 // the start is at midnight UTC: some time of the day or night
			}
			got := s.live(j, at, nil)
			if len(got) > 0 {
				t.Errorf("%s: %s before the fault", what, got[0].ID)
				continue
			}
			old := *z
			onset := s.start + int64(s.at*1e9)
			fault.put(s, z)
			got = s.live(j, during, got)
			z.sensor, z.loop, z.stop, z.unused, z.deadband = old.sensor, old.loop, old.stop, old.unused, old.deadband
			repaired := s.start + int64(s.at*1e9)
			if len(got) == 0 {
				missed++
				t.Logf("%s: missed", what)
				continue
			}
			f := got[0]
			if f.ID != fault.id && f.ID != fault.alike && !(old.setpoint > z.high-topBand && f.ID == DaylightUnused) {
				wrong++
				t.Logf("%s: named %s, also %v: %s", what, f.ID, f.Also, f.Summary)
			}
			if !slices.Equal(f.Zones, []int{0}) {
				t.Errorf("%s: named for zones %v", what, f.Zones)
			}
			if d := float64(f.Raised-onset) / 86400e9; d > fault.days || d < 0 {
				t.Errorf("%s: raised after %.1f days, want at most %g", what, d, fault.days)
			}
			if d := float64(f.Onset-onset) / 86400e9; d < -1 || d > 2 {
				t.Errorf("%s: onset off by %.1f days", what, d)
			}
			if f.Cleared != 0 && !f.Revised {
				t.Errorf("%s: cleared while the fault stands", what)
			}
			got = s.live(j, after, got)
			for _, f := range got {
				if f.Cleared == 0 {
					t.Errorf("%s: %s still stands %g days after the repair", what, f.ID, after)
				}
				if f.Raised > repaired {
					t.Errorf("%s: %s raised after the repair: %v", what, f.ID, summaries(got))
				}
			}
			if len(got) > 1 && !got[0].Revised {
				t.Errorf("%s: %d findings: %s, %s", what, len(got), got[0].ID, got[1].ID)
			}
		}
	}
	t.Logf("%d faults, %d missed, %d named wrong", n, missed, wrong)
	if missed*20 > n || wrong*20 > n {
		t.Errorf("of %d faults %d were missed and %d named wrong, want at most 5 %% each", n, missed, wrong)
	}
}
