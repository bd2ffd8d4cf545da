package loops

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The test's thresholds, and what follows from them without overshoot. Source: A. Wald, Sequential Analysis (1947), the
// thresholds, the expected numbers of samples and the operating characteristic, for a mean of 0 against delta.
func TestSPRTThresholds(t *testing.T) {
	for _, c := range []struct{ alpha, beta, high, low, delta, e0, e1, midway float64 }{
		{0.05, 0.05, 2.9444, -2.9444, 1, 5.300, 5.300, 8.670},
		{0.05, 0.05, 2.9444, -2.9444, 0.5, 21.200, 21.200, 34.679},
		{0.01, 0.05, 4.5539, -2.9857, 1, 5.821, 8.354, 13.596},
		{0.01, 0.01, 4.5951, -4.5951, 1, 9.006, 9.006, 21.115},
		{0.001, 0.05, 6.8565, -2.9947, 1, 5.970, 12.728, 20.533},
		{0.05, 0.10, 2.8904, -2.2513, 1, 3.988, 4.752, 6.507},
	} {
		s := newSPRT(c.alpha, c.beta)
		step := c.delta * c.delta / 2
		for _, v := range []struct {
			name      string
			got, want float64
		}{
			{"high", s.high, c.high}, {"low", s.low, c.low},
			{"E0", -((1-c.alpha)*s.low + c.alpha*s.high) / step, c.e0},
			{"E1", (c.beta*s.low + (1-c.beta)*s.high) / step, c.e1},
			{"midway", -s.low * s.high / (c.delta * c.delta), c.midway},
		} {
			if math.Abs(v.got-v.want) > 0.0006 {
				t.Errorf("alpha %g, beta %g, delta %g: %s is %.4f, want %.4f", c.alpha, c.beta, c.delta, v.name, v.got, v.want)
			}
		}
	}
	s := newSPRT(0.05, 0.05)
	for theta, want := range map[float64]float64{-0.25: 0.98807, 0: 0.95, 0.25: 0.81339, 0.5: 0.5, 0.75: 0.18661, 1: 0.05, 1.25: 0.01193} {
		h := 1 - 2*theta
		got := s.high / (s.high - s.low)
		if h != 0 {
			got = (math.Exp(s.high*h) - 1) / (math.Exp(s.high*h) - math.Exp(s.low*h))
		}
		if math.Abs(got-want) > 1e-5 {
			t.Errorf("at %g it says \"same\" with %.5f, want %.5f", theta, got, want)
		}
	}
}

// What the test really gives, with the overshoot that the formulas leave out. Source: a simulation of 400 000 runs with
// independent normal readings; ±1 % of the number of samples, and of the chance as far as its digits and this simulation
// allow. Wald's bounds on what is decided wrong hold in any case.
func TestSPRTDecides(t *testing.T) {
	for i, c := range []struct{ alpha, beta, delta, theta, chance, n float64 }{
		{0.05, 0.05, 1, 0, 0.0288, 6.93},
		{0.05, 0.05, 1, 0.5, 0.499, 12.67},
		{0.05, 0.05, 1, 1, 0.971, 6.93},
		{0.05, 0.05, 0.5, 0, 0.0378, 24.18},
		{0.01, 0.05, 1, 0, 0.0059, 7.30},
		{0.01, 0.05, 1, 1, 0.972, 10.05},
	} {
		r := rand.New(rand.NewPCG(55, uint64(i)))
		s := newSPRT(c.alpha, c.beta)
		const runs = 400_000
		samples, changes := 0, 0
		for range runs {
			s.begin()
			for says := undecided; says == undecided; samples++ {
				if says = s.add(c.delta*(c.theta+r.NormFloat64()) - c.delta*c.delta/2); says == changed {
					changes++
				}
			}
		}
		n, chance := float64(samples)/runs, float64(changes)/runs
		if math.Abs(n-c.n) > 0.01*c.n {
			t.Errorf("alpha %g, beta %g, delta %g at %g: %.3f samples, want %.2f", c.alpha, c.beta, c.delta, c.theta, n, c.n)
		}
		digits := 0.0005
		if c.chance < 0.1 {
			digits = 0.00005
		}
		if off := math.Abs(chance - c.chance); off > digits+4*math.Sqrt(2*chance*(1-chance)/runs) {
			t.Errorf("alpha %g, beta %g, delta %g at %g: says \"changed\" with %.4f, want %.4f", c.alpha, c.beta, c.delta, c.theta, chance, c.chance)
		}
		if c.theta == 0 && chance > c.alpha/(1-c.beta) || c.theta == c.delta && 1-chance > c.beta/(1-c.alpha) {
			t.Errorf("alpha %g, beta %g at %g: wrong more often than Wald's bound: %.4f", c.alpha, c.beta, c.theta, chance)
		}
	}
}

// A decided test stays decided until it is begun anew.
func TestSPRTStaysDecided(t *testing.T) {
	s := newSPRT(0.05, 0.05)
	if got := s.add(-3); got != same {
		t.Fatalf("says %d", got)
	}
	if got := s.add(100); got != same {
		t.Errorf("it changed its mind: %d", got)
	}
	if s.begin(); s.says() != undecided || s.add(3) != changed {
		t.Error("it is not begun anew")
	}
}
