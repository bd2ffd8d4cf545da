package loops

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The parts that weigh evidence reproduce what is published of them. Simulations have fixed seeds; their tolerance is four
// standard errors of the simulation itself.

// simulated is what many runs gave.
type simulated struct{ n, sum, squares float64 }

func (s *simulated) add(x float64) { s.n++; s.sum += x; s.squares += x * x }

func (s *simulated) mean() float64 { return s.sum / s.n }

// deviation is the standard error of the mean.
func (s *simulated) deviation() float64 {
	return math.Sqrt((s.squares/s.n - s.mean()*s.mean()) / s.n)
}

// run lengths of a CUSUM over independent normal readings with k = 0.5, by shift in standard deviations.
// Source: roots of Page's integral equation by Gauss-Legendre quadrature with 120 nodes; the two-sided columns for h = 4 and
// 5 are those of D. C. Montgomery, Introduction to Statistical Quality Control (168 and 465 without a shift, 8.38 and 10.4
// at one). Siegmund: the approximation of D. Siegmund, Sequential Analysis (1985), two-sided.
var runLengths = []struct {
	shift                  float64
	two4, one4, two5, one5 float64
	siegmund4, siegmund5   float64
}{
	{0, 167.7, 335.4, 465.4, 930.9, 169.0, 469.1},
	{0.25, 74.22, 77.08, 139.5, 141.7, 74.43, 139.8},
	{0.50, 26.63, 26.68, 38.00, 38.01, 26.64, 38.01},
	{0.75, 13.29, 13.29, 17.05, 17.05, 13.27, 17.03},
	{1.00, 8.383, 8.383, 10.38, 10.38, 8.343, 10.34},
	{1.50, 4.747, 4.747, 5.747, 5.747, 4.666, 5.666},
	{2.00, 3.343, 3.343, 4.009, 4.009, 3.222, 3.888},
	{2.50, 2.620, 2.620, 3.114, 3.114, 2.458, 2.958},
	{3.00, 2.194, 2.194, 2.573, 2.573, 1.986, 2.386},
	{4.00, 1.708, 1.708, 2.013, 2.013, 1.435, 1.721},
}

// The CUSUM has the run lengths of the tables: how long until a false alarm, and how soon a shift is found.
func TestCusumRunLengths(t *testing.T) {
	for _, row := range runLengths {
		for _, c := range []struct {
			h        float64
			one, two float64
		}{{4, row.one4, row.two4}, {5, row.one5, row.two5}} {
			r := rand.New(rand.NewPCG(54, uint64(100*row.shift)))
			var one, two simulated
			runs := 100_000
			if row.shift < 0.5 {
				runs = 20_000
			}
			for range runs {
				var up, down cusum
				both := 0.0
				for n := 1.0; ; n++ {
					x := row.shift + r.NormFloat64()
					up.add(x-0.5, 0)
					down.add(-x-0.5, 0)
					if both == 0 && (up.total > c.h || down.total > c.h) {
						both = n
						two.add(n)
					}
					if up.total > c.h {
						one.add(n)
						break
					}
				}
			}
			for _, s := range []struct {
				name string
				got  simulated
				want float64
			}{{"one-sided", one, c.one}, {"two-sided", two, c.two}} {
				// The tables give four digits.
				if math.Abs(s.got.mean()-s.want) > 4*s.got.deviation()+0.0005*s.want {
					t.Errorf("shift %g, h = %g, %s: %.3f ± %.3f samples, want %.3f", row.shift, c.h, s.name, s.got.mean(), s.got.deviation(), s.want)
				}
			}
		}
	}
}

// siegmund is his approximation of the one-sided run length: drift is the mean of a step of standard deviation 1.
func siegmund(h, drift float64) float64 {
	b := h + 1.166
	if drift == 0 {
		return b * b
	}
	return (math.Exp(-2*drift*b) + 2*drift*b - 1) / (2 * drift * drift)
}

// brookEvans is the one-sided run length without a shift of a chain of t states. Source: D. Brook and D. A. Evans,
// Biometrika 59 (1972): state 0 is everything up to half a width above zero.
func brookEvans(h, k float64, states int) float64 {
	width := 2 * h / float64(2*states-1)
	// Mean times to the alarm solve (I - P) m = 1.
	a := make([][]float64, states)
	for i := range a {
		a[i] = make([]float64, states+1)
		for j := range states {
			upper := normal((float64(j-i)+0.5)*width + k)
			lower := normal((float64(j-i)-0.5)*width + k)
			if j == 0 {
				lower = 0
			}
			a[i][j] = lower - upper
		}
		a[i][i]++
		a[i][states] = 1
	}
	for i := range states {
		for j := i + 1; j < states; j++ {
			f := a[j][i] / a[i][i]
			for k := i; k <= states; k++ {
				a[j][k] -= f * a[i][k]
			}
		}
	}
	m := make([]float64, states)
	for i := states - 1; i >= 0; i-- {
		m[i] = a[i][states]
		for j := i + 1; j < states; j++ {
			m[i] -= a[i][j] * m[j]
		}
		m[i] /= a[i][i]
	}
	return m[0]
}

// normal is the standard normal distribution.
func normal(x float64) float64 { return math.Erfc(-x/math.Sqrt2) / 2 }

// The formulas that the delay of the judgement is held against are the published ones. Source: as above; for the finite form
// of the delay, Lorden (1971) and Siegmund (1985).
func TestRunLengthFormulas(t *testing.T) {
	for _, row := range runLengths {
		for h, want := range map[float64]float64{4: row.siegmund4, 5: row.siegmund5} {
			got := 1 / (1/siegmund(h, row.shift-0.5) + 1/siegmund(h, -row.shift-0.5))
			if math.Abs(got-want) > 0.0006*want {
				t.Errorf("Siegmund, shift %g, h = %g: %.4f, want %g", row.shift, h, got, want)
			}
		}
	}
	for states, want := range map[int]float64{5: 297.6, 10: 326.0, 25: 333.9, 50: 335.0, 100: 335.3} {
		if got := brookEvans(4, 0.5, states); math.Abs(got-want) > 0.06 {
			t.Errorf("chain of %d states: %.2f, want %.1f", states, got, want)
		}
	}
	for _, c := range []struct{ interval, first, finite, delay float64 }{
		{335.4, 11.631, 8.244, 8.383}, {930.9, 13.672, 10.286, 10.38}, {18_970, 19.701, 16.315, 16.37}, {140_300, 23.703, 20.317, 20.37},
	} {
		if got := math.Log(c.interval) / 0.5; math.Abs(got-c.first) > 0.001 {
			t.Errorf("first order at %g: %.3f, want %.3f", c.interval, got, c.first)
		}
		if got := delayOf(c.interval, 0.5); math.Abs(got-c.finite) > 0.001 {
			t.Errorf("finite form at %g: %.3f, want %.3f", c.interval, got, c.finite)
		}
		// The finite form is what the delay really is, within 2 %; the first order is not.
		if got := delayOf(c.interval, 0.5); math.Abs(got-c.delay) > 0.02*c.delay {
			t.Errorf("finite form at %g: %.3f, the delay is %.3f", c.interval, got, c.delay)
		}
	}
}

// delayOf is the mean delay of a CUSUM in samples for a mean interval between false alarms, in samples, and information in
// nats a sample: the finite form that follows from Siegmund's formulas.
func delayOf(interval, information float64) float64 {
	return (math.Log(interval*information) - 1) / information
}

// At a change the sum says when it began: the last time that it left zero. And it never goes below zero.
func TestCusumSince(t *testing.T) {
	var c cusum
	for i, x := range []float64{-1, 2, -1, -3, 0.5, 1, 1} {
		c.add(x, int64(i))
	}
	if c.total != 2.5 || c.since != 4 {
		t.Errorf("%+v, want 2.5 since 4", c)
	}
}

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

// The idle index. Source: worked example of Hägglund's index (Control Engineering Practice 7 (1999)): six steps with, two
// against, two of neither.
func TestIdleIndex(t *testing.T) {
	command := []float64{-1, -1, -1, -1, -1, 0, -1, 1, 1, 0}
	value := []float64{1, 1, -1, -1, -1, -1, -1, 1, 1, 1}
	var all, fading idle
	recursive, steps := 0.0, 0
	const keep = 0.8
	for i := range command {
		all.add(command[i], value[i], 1)
		fading.add(command[i], value[i], keep)
		if s := sign(command[i] * value[i]); s != 0 { // the recursive form: I = keep·I + (1-keep)·s, from 0
			recursive = keep*recursive + (1-keep)*s
			steps++
		}
	}
	if all.with != 6 || all.against != 2 || all.index() != 0.5 {
		t.Errorf("%+v, index %g, want 6 with, 2 against, 0.5", all, all.index())
	}
	// The fading index is the recursive one without its start at 0.
	if want := recursive / (1 - math.Pow(keep, float64(steps))); math.Abs(fading.index()-want) > 1e-12 {
		t.Errorf("fading index %.6f, want %.6f", fading.index(), want)
	}
	if (&idle{}).index() != 0 {
		t.Error("an index of nothing")
	}
}

// A loop that creeps to its setpoint has an index near 1, a quick one near 0 or below. A first-order process of 60 s under
// PI control, ten minutes after a load step.
func TestIdleIndexTellsSluggish(t *testing.T) {
	after := func(gain, integral float64) float64 {
		var i idle
		y, sum, was, wasY := 0.0, 0.0, 0.0, 0.0
		for at := 0.0; at < 600; at += 5 {
			e := 0 - y
			sum += e * 5 / integral
			u := gain * (e + sum)
			y = approach(y, u+10, 5, 60)
			if at > 0 {
				i.add(u-was, y-wasY, 1)
			}
			was, wasY = u, y
		}
		return i.index()
	}
	sluggish, quick := after(0.5, 60), after(3, 15)
	t.Logf("sluggish %.2f, quick %.2f", sluggish, quick)
	if sluggish < 0.6 || quick > 0.3 {
		t.Errorf("sluggish %.2f, quick %.2f", sluggish, quick)
	}
}
