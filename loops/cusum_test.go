package loops

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The sums that weigh evidence have the run lengths that are published of them. Simulations have fixed seeds; their tolerance is
// four standard errors of the simulation itself.

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
