package loops

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The area of half a sine, and the limit that follows from it. Source: worked arithmetic of Hägglund's detector (T.
// Hägglund, Control Engineering Practice 3 (1995) 1543): amplitude times period over pi.
func TestOscillationAreas(t *testing.T) {
	for _, c := range []struct{ amplitude, period, area float64 }{
		{1, 60, 19.0986}, {1, 300, 95.4930}, {5, 120, 190.9859}, {10, 60, 190.9859},
	} {
		var o oscillation
		for at := 0.0; at <= 4*c.period; at += 0.1 {
			o.follow(c.amplitude*math.Sin(2*math.Pi*at/c.period), 0.1, 0.1, 10)
		}
		if o.n < 4 {
			t.Fatalf("only %d half periods of %g s", o.n, c.period)
		}
		h := o.back(1)
		if math.Abs(h.area-c.area) > 0.002*c.area || math.Abs(h.seconds-c.period/2) > 0.01 {
			t.Errorf("%g %% at %g s: a half period of %.2f s has an area of %.4f, want %.4f", c.amplitude, c.period, h.seconds, h.area, c.area)
		}
		if math.Abs(o.amplitude()-c.amplitude) > 0.005*c.amplitude || math.Abs(o.period()-c.period) > 0.02 || o.regularity() < 0.999 {
			t.Errorf("%g %% at %g s is seen as %.3f %% at %.2f s, regularity %.3f", c.amplitude, c.period, o.amplitude(), o.period(), o.regularity())
		}
	}
	for integral, limit := range map[float64]float64{10: 3.1831, 30: 9.5493, 60: 19.0986, 120: 38.1972} {
		if got := areaLimit(oscillationLevel, integral); math.Abs(got-limit) > 1e-4 {
			t.Errorf("an integral time of %g s has the limit %.4f, want %.4f", integral, got, limit)
		}
		if supervised := oscillationSupervised * integral; supervised != 50*integral {
			t.Errorf("supervised for %g s, want %g", supervised, 50*integral)
		}
	}
}

// How soon a lasting oscillation is seen, and how far the count goes. Source: worked arithmetic of the same detector:
// integral time 60 s, a reading a second, two half periods that count a period. A half period is known to have ended one
// reading after it has.
func TestOscillationCounts(t *testing.T) {
	for _, c := range []struct {
		period  float64
		counts  int     // of which the last passes the limit; 0: never
		seconds float64 // from the first crossing
		x       float64 // in the end
	}{
		{60, 11, 330, 100.48}, {120, 12, 720, 50.49}, {300, 14, 2100, 20.50},
		{400, 16, 3200, 15.50}, {600, 31, 9300, 10.51}, {660, 0, 0, 9.60},
	} {
		var o oscillation
		counts, seenCounts, top := 0, 0, 0.0
		var seen float64
		for at := 0.0; at < 60_000; at++ {
			if o.follow(50*math.Sin(2*math.Pi*at/c.period), 1, oscillationLevel, 60) {
				counts++
				if seen == 0 && o.oscillates() {
					seen, seenCounts = at, counts
				}
			}
			if at > 50_000 {
				top = max(top, o.x)
			}
		}
		if seenCounts != c.counts || c.counts > 0 && math.Abs(seen-c.seconds) > 1 {
			t.Errorf("period %g s: seen at count %d after %g s, want %d after %g s", c.period, seenCounts, seen, c.counts, c.seconds)
		}
		if math.Abs(top-c.x) > 0.011 {
			t.Errorf("period %g s: the count goes to %.3f, want %.2f", c.period, top, c.x)
		}
	}
}

// What is sampled as gateways do it, slowly, unevenly and with noise, is seen alike while there are some readings in half
// a period.
func TestOscillationSampled(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	for _, c := range []struct{ dt, period float64 }{{5, 60}, {5, 240}, {15, 180}, {15, 600}, {60, 600}, {300, 3600}} {
		integral := max(60, c.period/4)
		var o oscillation
		at, e := 0.0, 0.0
		for at < 40*c.period {
			dt := c.dt * (0.7 + 0.6*r.Float64())
			at += dt
			e = 6*math.Sin(2*math.Pi*at/c.period) + 0.5*r.NormFloat64()
			o.follow(e, dt, 2, integral)
		}
		if !o.oscillates() {
			t.Errorf("%g s read every %g s: the count is %.1f", c.period, c.dt, o.x)
		}
		if math.Abs(o.period()-c.period) > 0.06*c.period || math.Abs(o.amplitude()-6) > 1 || o.regularity() < 0.85 {
			t.Errorf("6 %% at %g s read every %g s is seen as %.2f %% at %.1f s, regularity %.2f", c.period, c.dt, o.amplitude(), o.period(), o.regularity())
		}
	}
}

// Noise of a third of the least amplitude, steps of the setpoint and clouds are no oscillation.
func TestOscillationIsNotNoise(t *testing.T) {
	for _, dt := range []float64{5, 15, 60, 300} {
		for _, noise := range []float64{0.3, 1, 3} {
			r := rand.New(rand.NewPCG(2, uint64(dt)))
			var o oscillation
			top, regular := 0.0, 0.0
			for range 50_000 {
				o.follow(noise*r.NormFloat64(), dt, max(oscillationLevel, 3*noise), 60)
				top, regular = max(top, o.x), max(regular, o.regularity())
			}
			t.Logf("noise of %g %% every %g s: count up to %.1f, regularity up to %.2f", noise, dt, top, regular)
			if top > oscillationCounts {
				t.Errorf("noise of %g %% read every %g s counts up to %.1f", noise, dt, top)
			}
		}
		// A step every half hour, and every ten minutes a cloud that the loop follows within some minutes.
		var o oscillation
		top := 0.0
		for at := 0.0; at < 200*3600; at += dt {
			e := 20*math.Exp(-math.Mod(at, 1800)/60) - 8*math.Exp(-math.Mod(at+300, 600)/40)
			o.follow(e, dt, oscillationLevel, 60)
			top = max(top, o.x)
		}
		if top > oscillationCounts {
			t.Errorf("steps and clouds read every %g s count up to %.1f", dt, top)
		}
	}
}

// A loop that sticks swings unequally, but steadily; one that is driven by chance does not. And a gap begins anew.
func TestOscillationRegularity(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	square := func(above, below func() float64) *oscillation {
		var o oscillation
		for range 30 {
			for n := above(); n > 0; n-- {
				o.follow(5, 1, 1, 60)
			}
			for n := below(); n > 0; n-- {
				o.follow(-3, 1, 1, 60)
			}
		}
		return &o
	}
	fixed := func(n float64) func() float64 { return func() float64 { return n } }
	random := func() float64 { return 20 + 200*r.Float64() }
	steady, chance := square(fixed(100), fixed(40)), square(random, random)
	if steady.regularity() < 0.99 || math.Abs(steady.period()-140) > 0.1 {
		t.Errorf("unequal but steady: regularity %.3f, period %.1f s", steady.regularity(), steady.period())
	}
	if chance.regularity() > 0.8 {
		t.Errorf("by chance: regularity %.3f", chance.regularity())
	}
	x := steady.x
	steady.interrupt()
	if steady.period() != 0 || steady.regularity() != 0 || steady.amplitude() != 0 || steady.x != x {
		t.Error("a gap does not begin anew, or forgets the count")
	}
}

// A reading costs no allocation, whatever it is.
func TestOscillationAllocatesNothing(t *testing.T) {
	var o oscillation
	i := 0.0
	if n := testing.AllocsPerRun(100, func() { i++; o.follow(10*math.Sin(i), 5, 1, 60); o.regularity(); o.period() }); n != 0 {
		t.Errorf("%v allocations", n)
	}
}
