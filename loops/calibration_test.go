package loops

import (
	"math"
	"testing"
)

// Is a stated confidence worth what it says?

// forecast is one statement with its confidence, and whether it was right.
type forecast struct {
	p     float64
	right bool
}

// brier is the mean square of what a forecast was off by.
func brier(list []forecast) (sum float64) {
	for _, f := range list {
		sum += (f.p - outcome(f)) * (f.p - outcome(f)) / float64(len(list))
	}
	return sum
}

func outcome(f forecast) float64 {
	if f.right {
		return 1
	}
	return 0
}

// bin is what the forecasts of a fifth of the range stated in the mean, and how often they were right.
type bin struct{ n, stated, right float64 }

// bins puts forecasts into fifths of the range, the ends into the upper one, and gives the expected calibration error: the
// mean distance of stated and right.
func bins(list []forecast) (b [5]bin, wide float64) {
	for _, f := range list {
		k := min(4, int(5*f.p))
		b[k].n++
		b[k].stated += f.p
		b[k].right += outcome(f)
	}
	for i := range b {
		wide += math.Abs(b[i].stated-b[i].right) / float64(len(list))
		if b[i].n > 0 {
			b[i].stated /= b[i].n
			b[i].right /= b[i].n
		}
	}
	return b, wide
}

// Source: worked example of ten forecasts: Brier score 0.165, skill against the base rate 0.34, Murphy's parts 0.115 - 0.200 +
// 0.250 by distinct forecasts (A. H. Murphy 1973), expected calibration error in five bins 0.190.
func TestCalibrationArithmetic(t *testing.T) {
	var list []forecast
	for i, p := range []float64{0.9, 0.9, 0.8, 0.8, 0.7, 0.6, 0.4, 0.3, 0.2, 0.1} {
		list = append(list, forecast{p, i < 3 || i == 4 || i == 6})
	}
	if got := brier(list); math.Abs(got-0.165) > 1e-12 {
		t.Errorf("Brier score %.6f, want 0.165", got)
	}
	if got := 1 - brier(list)/0.25; math.Abs(got-0.34) > 1e-12 {
		t.Errorf("skill %.6f, want 0.34", got)
	}
	b, wide := bins(list)
	if math.Abs(wide-0.19) > 1e-12 {
		t.Errorf("expected calibration error %.6f, want 0.190", wide)
	}
	for i, want := range []bin{{1, 0.1, 0}, {2, 0.25, 0}, {1, 0.4, 1}, {2, 0.65, 0.5}, {4, 0.85, 0.75}} {
		if math.Abs(b[i].n-want.n)+math.Abs(b[i].stated-want.stated)+math.Abs(b[i].right-want.right) > 1e-9 {
			t.Errorf("bin %d: %+v, want %+v", i, b[i], want)
		}
	}
}

// The confidence of a first finding is the share of such findings whose name is right, or one that the points can not tell
// from it, over many zones with all their points or only some. What is one picture is said by how well the others fit: see
// TestShortAndOpenAreBothSaid.
func TestConfidenceIsWorthWhatItSays(t *testing.T) {
	var list []forecast
	for _, points := range pointSets {
		for id := None + 1; id < IDs; id++ {
			if ok, _ := Support(id, points.has); simFaults[id] == nil || !ok || id == CommandHeld {
				continue
			}
			for _, cycle := range []float64{5, 15, 60} {
				for seed := range uint64(6) {
					if got := run(newSim(1500+seed, cycle, points.has), 5, 3, simFaults[id]); len(got) > 0 {
						list = append(list, forecast{got[0].Confidence, alike(got[0].ID, id, points.has)})
					}
				}
			}
		}
	}
	b, wide := bins(list)
	for i, x := range b {
		if x.n == 0 {
			continue
		}
		t.Logf("stated %.1f..%.1f: %4.0f findings, %.3f in the mean, %.3f right", float64(i)/5, float64(i+1)/5, x.n, x.stated, x.right)
		// These zones are plainer than real ones: they may be named right more often than is said, and not less.
		if low := x.stated - math.Max(0.05, 2*math.Sqrt(x.stated*(1-x.stated)/x.n)); x.n >= 10 && x.right < low {
			t.Errorf("stated %.1f..%.1f: %.3f in the mean and %.3f right: too sure", float64(i)/5, float64(i+1)/5, x.stated, x.right)
		}
	}
	t.Logf("%d findings: Brier score %.3f, expected calibration error %.3f", len(list), brier(list), wide)
	if len(list) < 500 || wide > 0.1 {
		t.Errorf("%d findings, calibration error %.3f", len(list), wide)
	}
}
