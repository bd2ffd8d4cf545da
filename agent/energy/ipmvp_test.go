package energy

import (
	"math"
	"testing"
)

// near demands a figure as it was printed.
func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > within {
		t.Errorf("%s: %.6g, want %.6g", what, got, want)
	}
}

// Two indices of Guideline 14, by hand: m = 100 120 130 90 110 150 and p = 105 115 140 85 112 140 give a sum of differences of 3,
// 279 of their squares and a mean of 116.6667.
// Source: the definitions, RMSE = √(Σ(m-p)²/(n-p)), CV = RMSE/mean, NMBE = Σ(m-p)/((n-p)·mean).
func TestFitSixPoints(t *testing.T) {
	var f Fit
	for i, m := range []float64{100, 120, 130, 90, 110, 150} {
		f.add(m, []float64{105, 115, 140, 85, 112, 140}[i])
	}
	for _, c := range []struct{ parameters, nmbe, cv float64 }{{0, 0.0042857, 0.0584494}, {1, 0.0051429, 0.0640281}} {
		cv, ok := f.CV(c.parameters)
		nmbe, ok2 := f.NMBE(c.parameters)
		if !ok || !ok2 {
			t.Fatal("not known")
		}
		near(t, "CV", cv, c.cv, 5e-8)
		near(t, "NMBE", nmbe, c.nmbe, 5e-8)
	}
	if _, ok := f.CV(6); ok {
		t.Error("six pairs tell nothing of a model with six parameters")
	}
	if _, ok := new(Fit).NMBE(0); ok {
		t.Error("no pairs tell nothing")
	}
}

// A savings case with a year of baseline, monthly energy over the hours in the dark with the store open, and three months reported.
// Source: the arithmetic of IPMVP option C and of Guideline 14's simple uncertainty, worked by least squares on invented data:
// kWh = 582.2653 + 6.759087·x, RMSE 11.600 with n-2, CV 0.832 %; adjusted baseline 4511.262, measured 2845, avoided 1666.262 kWh =
// 36.94 %, uncertain by 3.21 % of itself at 90 % (t = 1.8125 with 10 degrees of freedom).
func TestWorkedSavings(t *testing.T) {
	model := func(x float64) float64 { return 582.2653 + 6.759087*x }
	x := []float64{155, 128.8, 127.1, 105, 96.1, 87, 93, 102.3, 111, 133.3, 144, 158.1}
	kWh := []float64{1630, 1420, 1445, 1290, 1235, 1170, 1220, 1275, 1330, 1490, 1560, 1660}
	var f Fit
	for i := range x {
		f.add(kWh[i], model(x[i]))
	}
	cv, _ := f.CV(2)
	near(t, "CV(RMSE)", cv, 0.00832, 5e-6)
	near(t, "SSE", f.Squares, 1345.58, 0.01)
	nmbe, _ := f.NMBE(2)
	near(t, "NMBE of in-sample least squares", nmbe, 0, 1e-6)

	// What was missed is measured less baseline, so what was avoided is the same sum with a minus. Each month stands for one
	// day of the sum: its error is the model's share of its baseline.
	var e Estimate
	adjusted, squares := 0.0, 0.0
	for i, month := range []float64{150, 128, 131} {
		measured := []float64{1010, 905, 930}[i]
		adjusted += model(month)
		e.add(int32(i+1), hourly{joules: measured - model(month), sigma: cv * model(month), days: 12})
	}
	near(t, "adjusted baseline", adjusted, 4511.262, 0.005)
	near(t, "avoided", -e.Joules, 1666.262, 0.005)
	near(t, "avoided share", -e.Joules/adjusted, 0.3694, 5e-5)
	squares = 3 * math.Pow(cv*adjusted/3, 2)
	near(t, "uncertainty of the saving", halfWidth(1.8125, 12, squares, 0)/1666.262, 0.0321, 5e-5)
	near(t, "uncertainty of the saving at 68 %", halfWidth(1.0464, 12, squares, 0)/1666.262, 0.0185, 5e-5)

	// The estimate itself takes the errors month by month, and 11 degrees of freedom for a mean of 12.
	e.Joules = -e.Joules
	low, high := e.Interval()
	near(t, "half of the interval", (high-low)/2/1666.262, 0.0321*1.7959/1.8125, 2e-4)
	near(t, "middle of the interval", (high+low)/2, 1666.262, 0.005)
}

// Over many more days than were learned from, the error of the learned mean does not average out: the variance of the sum is
// that of m days and m² of the mean's, m + m²/n, and no longer 1.26²·m(1+2/n).
func TestLongIntervals(t *testing.T) {
	const n, m, sigma = 12.0, 120.0, 5.0
	near(t, "120 days on 12", halfWidth(1, n, m*sigma*sigma, m*sigma/math.Sqrt(n)), sigma*math.Sqrt(m+m*m/n), 1e-9)
	near(t, "3 days on 12", halfWidth(1, n, 3*sigma*sigma, 3*sigma/math.Sqrt(n)), 1.26*sigma*math.Sqrt(3*(1+2/n)), 1e-9)
}

// Source: any table of Student's t, two-sided 90 %.
func TestQuantile(t *testing.T) {
	for _, c := range []struct{ f, t float64 }{{0.5, 6.314}, {1, 6.314}, {2, 2.920}, {3, 2.3534}, {4, 2.1318}, {5, 2.0150}, {10, 1.8125}, {11, 1.7959}, {20, 1.7247}, {29, 1.6991}, {1e6, 1.6449}} {
		near(t, "t", quantile(c.f), c.t, 0.005*c.t)
	}
}

// Source: the half-normal distribution, whose mean is σ√(2/π): a rectified normal of mean 0 has half of that, 0.398942, and the
// standard deviation √(1/2 - 1/2π) = 0.583819. Far above zero nothing is rectified, far below nothing is left.
func TestBeyond(t *testing.T) {
	m, sd := beyond(0, 1)
	near(t, "mean at 0", m, 0.398942, 1e-6)
	near(t, "deviation at 0", sd, 0.583819, 1e-6)
	m, sd = beyond(40, 2)
	near(t, "far above", m, 40, 1e-9)
	near(t, "deviation far above", sd, 2, 1e-6)
	m, _ = beyond(-40, 2)
	near(t, "far below", m, 0, 1e-9)
	m, sd = beyond(-3, 0)
	near(t, "certain and below", m+sd, 0, 0)
}

// Source: the continuous daylighting control of EnergyPlus with least power 0.3 at least light 0.2: 0.3875 at 0.3 and so on to 1;
// a zone of 24 gear of 36 W at full where 40 % are asked for wastes 4.536 kWh in ten hours.
func TestDefaultPowerCurve(t *testing.T) {
	var s Settings
	for level, want := range map[float64]float64{0: 0.3, 10: 0.3, 20: 0.3, 30: 0.3875, 40: 0.475, 50: 0.5625, 60: 0.65, 70: 0.7375, 80: 0.825, 90: 0.9125, 100: 1, 120: 1} {
		near(t, "share", s.Shape(level), want, 1e-12)
	}
	s.PowerCurve = [][2]float64{{10, 20}, {50, 60}, {100, 100}}
	for level, want := range map[float64]float64{0: 0.2, 10: 0.2, 30: 0.4, 75: 0.8, 100: 1} {
		near(t, "configured share", s.Shape(level), want, 1e-12)
	}
}
