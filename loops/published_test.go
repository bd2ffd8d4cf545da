package loops

import (
	"math"
	"testing"
)

// What is published of bounded evidence, of smoothing, and of samples that follow each other closely.

// The evidence of one reading is bounded. Source: the likelihood ratio of Student's t with 4 degrees of freedom for a shift:
// where it is largest, how much that is, and what a wild reading of 6 says; its mean under the shift (Kullback and Leibler),
// by numeric integration.
func TestEvidenceOfOneReadingIsBounded(t *testing.T) {
	for _, c := range []struct{ shift, at, most, at6, mean float64 }{
		{1, 2.56155, 1.237332, 0.8040, 0.339299},
		{2, 3.23607, 2.406059, 1.7329, 1.184990},
		{3, 4, 5 * math.Ln2, 2.8098, 2.220869},
	} {
		ratio := func(x float64) float64 { return fit(x-c.shift, 1) - fit(x, 1) }
		top, at, mean, whole := 0.0, 0.0, 0.0, 0.0
		const step = 1e-3
		for x := -200.0; x < 200; x += step {
			v := ratio(x)
			if v > top {
				top, at = v, x
			}
			if v < -c.most-1e-6 {
				t.Fatalf("shift %g: %g says %.6f", c.shift, x, v)
			}
			// The density itself, not fit: that is held at its worst far out.
			p := math.Exp(-2.5 * math.Log1p((x-c.shift)*(x-c.shift)/4))
			mean += p * v * step
			whole += p * step
		}
		if math.Abs(top-c.most) > 1e-6 || math.Abs(at-c.at) > 2*step || math.Abs(ratio(6)-c.at6) > 1e-4 {
			t.Errorf("shift %g: at most %.6f at %.4f, %.4f at 6; want %.6f at %.5f, %.4f", c.shift, top, at, ratio(6), c.most, c.at, c.at6)
		}
		if got := mean / whole; math.Abs(got-c.mean) > 0.001*c.mean {
			t.Errorf("shift %g: a reading says %.6f in the mean, want %.6f", c.shift, got, c.mean)
		}
	}
	// So for a shift of 1, odds of 95 to 1 take four readings, whatever these are. Source: worked in the same place.
	var c cusum
	n := 0
	for ; c.total < math.Log(95); n++ {
		c.add(fit(2.56155-1, 1)-fit(2.56155, 1), 0)
	}
	if n != 4 {
		t.Errorf("%d readings make odds of 95 to 1", n)
	}
}

// The smoothing that the memory uses is the EWMA of the textbooks. Source: its variance over independent readings,
// lambda/(2-lambda)·[1-(1-lambda)^2t], and over readings that follow each other with a correlation phi, the factor
// (1+phi(1-lambda))/(1-phi(1-lambda)). Here from the weights that approach gives to each reading.
func TestSmoothingIsAnEWMA(t *testing.T) {
	weights := func(lambda float64, n int) []float64 {
		tau := -1 / math.Log(1-lambda) // so that a step of 1 s moves by lambda
		list := make([]float64, n)
		for i := range list { // a single reading of 1, i steps ago
			list[i] = approach(0, 1, 1, tau)
			for range i {
				list[i] = approach(list[i], 0, 1, tau)
			}
		}
		return list
	}
	variance := func(w []float64, phi float64) (sum float64) {
		for i := range w {
			for k := range w {
				sum += w[i] * w[k] * math.Pow(phi, math.Abs(float64(i-k)))
			}
		}
		return sum
	}
	for _, c := range []struct {
		lambda, variance float64
		deviation        [5]float64 // after 1, 2, 3, 5, 10 readings
	}{
		{0.10, 0.052632, [5]float64{0.10000, 0.13454, 0.15704, 0.18515, 0.21502}},
		{0.20, 0.111111, [5]float64{0.20000, 0.25612, 0.28633, 0.31493, 0.33141}},
		{0.25, 0.142857, [5]float64{0.25000, 0.31250, 0.34268, 0.36717, 0.37736}},
		{0.40, 0.250000, [5]float64{0.40000, 0.46648, 0.48820, 0.49849, 0.49999}},
	} {
		if got := variance(weights(c.lambda, 120), 0); math.Abs(got-c.variance) > 1e-6 {
			t.Errorf("lambda %g: variance %.6f, want %.6f", c.lambda, got, c.variance)
		}
		for i, n := range []int{1, 2, 3, 5, 10} {
			if got := math.Sqrt(variance(weights(c.lambda, n), 0)); math.Abs(got-c.deviation[i]) > 6e-6 {
				t.Errorf("lambda %g after %d: %.5f, want %.5f", c.lambda, n, got, c.deviation[i])
			}
		}
	}
	for _, c := range []struct{ lambda, phi, variance float64 }{{0.2, 0, 0.111111}, {0.2, 0.5, 0.259259}, {0.2, 0.9, 0.682540}, {0.1, 0.8, 0.323308}} {
		if got := variance(weights(c.lambda, 240), c.phi); math.Abs(got-c.variance) > 2e-6 {
			t.Errorf("lambda %g, phi %g: variance %.6f, want %.6f", c.lambda, c.phi, got, c.variance)
		}
	}
}

// effective is how many independent samples a mean of n samples is worth whose neighbours have a correlation of rho.
func effective(n int, rho float64) (approximate, exact float64) {
	sum := 1.0
	for k := 1; k < n; k++ {
		sum += 2 * (1 - float64(k)/float64(n)) * math.Pow(rho, float64(k))
	}
	return float64(n) * (1 - rho) / (1 + rho), float64(n) / sum
}

// Samples that follow each other closely count as the independent ones that they are worth. Source: effective size of a
// sample with first-order correlation, approximate and exact.
func TestEvidenceGoesByIndependentSamples(t *testing.T) {
	for _, c := range []struct {
		n                  int
		rho                float64
		approximate, exact float64
	}{
		{60, 0.90, 3.158, 3.749}, {100, 0.50, 33.333, 33.784}, {288, 0.95, 7.385, 7.921}, {1440, 0.99, 7.236, 7.773},
	} {
		if a, e := effective(c.n, c.rho); math.Abs(a-c.approximate) > 0.0006 || math.Abs(e-c.exact) > 0.0006 {
			t.Errorf("%d samples of correlation %g are worth %.3f (%.3f), want %.3f (%.3f)", c.n, c.rho, a, e, c.approximate, c.exact)
		}
	}
	// What the judgement counts: an hour of polling is worth the same however fast it is, and as much as an hour of samples
	// whose correlation has gone to 1/e after half the correlation time.
	const tau = 30.0
	for _, dt := range []float64{0.5, 1, 2, 5, 10} {
		m := memory{tau: tau, dt: dt}
		n := int(3600 / dt)
		share, _ := m.share()
		counted := share * float64(n)
		if math.Abs(counted-3600/tau) > 1e-9 {
			t.Errorf("an hour of polls every %g s counts as %.1f", dt, counted)
		}
		if _, worth := effective(n, math.Exp(-dt/(tau/2))); math.Abs(counted-worth) > 0.05*worth {
			t.Errorf("an hour of polls every %g s counts as %.1f and is worth %.1f", dt, counted, worth)
		}
	}
	for _, dt := range []float64{30, 60, 300} { // slower than that, each sample stands for itself and no more
		m := memory{tau: tau, dt: dt}
		if share, _ := m.share(); share != 1 {
			t.Errorf("a sample after %g s counts as %g", dt, share)
		}
	}
}
