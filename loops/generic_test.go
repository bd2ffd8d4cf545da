package loops

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The judgement beside the alert that any building system offers: setpoint and feedback of a lit zone more than 10 % apart
// for 10 minutes. Agent has the same over recordings.

// generic is that alert over one zone. It knows no part and no fault: only that the two are apart.
type generic struct {
	apart  bool
	since  int64
	active bool
}

const (
	genericPercent = 10.0
	genericSeconds = 600.0
)

// see takes a sample, and says whether the alert goes off with it.
func (g *generic) see(s *Sample) bool {
	if !s.Has.Has(Setpoint | Feedback) {
		return false
	}
	was := g.apart
	g.apart = genericLit(s) && math.Abs(s.Setpoint-s.Feedback) > genericPercent
	switch {
	case !g.apart:
		g.active = false
	case !was:
		g.since = s.At
	case !g.active && float64(s.At-g.since)/1e9 >= genericSeconds:
		g.active = true
		return true
	}
	return false
}

// genericLit is what such an alert takes for lit: the best that the zone's points tell, one sample at a time.
func genericLit(s *Sample) bool {
	switch {
	case s.Has.Has(Contact):
		return s.Contact
	case s.Has.Has(Power):
		return s.Power > 20
	case s.Has.Has(Order):
		return s.Order
	}
	return !s.Has.Has(Hours) || s.Open
}

// beside is what both made of the same zones.
type beside struct {
	zones                     int
	found, foundGeneric       int // of the faults
	named                     int // with the right name first
	delay, delayGeneric       simulated
	days                      float64 // of healthy zones
	findings, findingsGeneric int     // in them
}

// live lets a zone live for some healthy hours and then with a fault, and notes when each has raised.
func (b *beside) live(z *sim, id ID, healthy, faulty float64) {
	l := newLesson(z, nil)
	var g generic
	before, after := 0, 0.0
	for end := z.at + (healthy+faulty)*3600; z.at < end; {
		if id != None && z.at >= healthy*3600 {
			z.fault = simFaults[id]
		}
		l.live(z.cycle/3600, func(s *Sample) {
			at := float64(s.At) / 1e9
			if !g.see(s) {
				return
			}
			if at < healthy*3600 || id == None {
				before++
			} else if after == 0 {
				after = at - healthy*3600
			}
		})
	}
	b.zones++
	b.days += healthy / 24
	b.findingsGeneric += before
	if after > 0 {
		b.foundGeneric++
		b.delayGeneric.add(after)
	}
	found := false
	for _, f := range l.said {
		if f.Cleared != 0 {
			continue
		}
		if at := float64(f.Raised) / 1e9; at < healthy*3600 || id == None {
			b.findings++
		} else if !found {
			found = true
			b.found++
			b.delay.add(at - healthy*3600)
			if f.ID == id {
				b.named++
			}
		}
	}
}

// tried has someone try a zone by hand about four times a day, for six minutes in the mean and no more than a quarter of an hour.
func tried(seed uint64) func(*sim, *simState) {
	r := rand.New(rand.NewPCG(seed, 6))
	left, level := 0.0, 0.0
	return func(z *sim, s *simState) {
		if left <= 0 && r.Float64() < 4*z.cycle/86400 {
			left, level = math.Min(900, 360*r.ExpFloat64()), 100*r.Float64()
		}
		if left > 0 {
			left -= z.cycle
			s.held, z.command = true, level
		}
	}
}

// Faults are found more often, sooner and by name, and healthy zones that people try by hand are left in peace.
func TestBesideAGenericAlert(t *testing.T) {
	t.Log("fault                zones  found  named  after     generic: found  after     (names no part)")
	var all beside
	for id := None + 1; id < IDs; id++ {
		if ok, _ := Support(id, allPoints); simFaults[id] == nil || !ok {
			continue
		}
		var b beside
		for _, cycle := range []float64{5, 15, 60} {
			for seed := range uint64(5) {
				b.live(newSim(6000+seed, cycle, allPoints), id, 5, 3)
			}
		}
		t.Logf("%-20s %5d %6d %6d %6.0f s %15d %6.0f s", id, b.zones, b.found, b.named, b.delay.sum/max(1, b.delay.n), b.foundGeneric, b.delayGeneric.sum/max(1, b.delayGeneric.n))
		if b.found < b.foundGeneric {
			t.Errorf("%s: found %d times, the generic alert %d times", id, b.found, b.foundGeneric)
		}
		if atOnce[id] && b.foundGeneric > 0 && b.delay.mean() >= b.delayGeneric.mean() {
			t.Errorf("%s: found after %.0f s, the generic alert after %.0f s", id, b.delay.mean(), b.delayGeneric.mean())
		}
		all.zones += b.zones
		all.found += b.found
		all.foundGeneric += b.foundGeneric
		all.named += b.named
	}
	t.Logf("%-20s %5d %6d %6d %24d", "all", all.zones, all.found, all.named, all.foundGeneric)
	if all.zones < 100 || all.found*100 < 98*all.zones || all.named*100 < 95*all.found || all.foundGeneric >= all.found {
		t.Errorf("of %d faults %d found, %d named; the generic alert found %d", all.zones, all.found, all.named, all.foundGeneric)
	}

	var quiet beside
	for seed := range uint64(40) {
		z := newSim(6500+seed, []float64{15, 60}[seed%2], allPoints)
		z.fault = tried(seed)
		quiet.live(z, None, 48, 0)
	}
	t.Logf("healthy: %d findings in %g zone-days, %d of the generic alert", quiet.findings, quiet.days, quiet.findingsGeneric)
	if quiet.findings > 0 || quiet.findingsGeneric < 10 {
		t.Errorf("%d findings in healthy zones (want none), %d of the generic alert (want some, else the zones show nothing)", quiet.findings, quiet.findingsGeneric)
	}
}
