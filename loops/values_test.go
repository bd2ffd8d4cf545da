package loops

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

// fit is the logarithm of Student's t with 4 degrees of freedom, less its value at 0.
// Source: values computed from the density for x = 0, 1, 2, 3 with unit scale: negative log-likelihoods 0.980829,
// 1.538688, 2.713697, 3.927467; the largest ratio for a shift of 3 is 5 ln 2.
func TestFitIsStudentsT(t *testing.T) {
	at0 := 0.980829
	for x, nll := range map[float64]float64{1: 1.538688, 2: 2.713697, 3: 3.927467, 5: 5.933333} {
		if got, want := fit(x, 1), at0-nll; math.Abs(got-want) > 1e-5 {
			t.Errorf("fit(%g) = %.6f, want %.6f", x, got, want)
		}
	}
	// Bounded evidence: a shift of 3 is worth most at x = 4, 3.465736 nats, and less for wilder readings.
	ratio := func(x float64) float64 { return fit(x-3, 1) - fit(x, 1) }
	if got := ratio(4); math.Abs(got-5*math.Ln2) > 1e-9 {
		t.Errorf("largest ratio %.6f, want %.6f", got, 5*math.Ln2)
	}
	if ratio(6) >= ratio(4) || math.Abs(ratio(6)-2.8098) > 1e-3 {
		t.Errorf("ratio at 6 is %.4f, want 2.8098", ratio(6))
	}
	if fit(1e6, 1) != worst {
		t.Errorf("a wild reading counts %g, want %g", fit(1e6, 1), worst)
	}
}

// Current loops after NAMUR NE 43 (limits secondary): at or below 3.6 and at or above 21.0 mA is failure, when it lasts
// 4 s and two samples.
func TestCurrentLoopLimits(t *testing.T) {
	for _, c := range []struct {
		milliamps float64
		low, high bool
	}{
		{3.5, true, false}, {3.59, true, false}, {3.60, true, false}, {3.61, false, false}, {3.8, false, false},
		{4, false, false}, {20.5, false, false}, {20.99, false, false}, {21.0, false, true}, {22, false, true}, {0, true, false},
	} {
		want := CurrentValid
		switch {
		case c.low || c.high:
			want = CurrentFailed
		case c.milliamps < 3.8 || c.milliamps > 20.5:
			want = CurrentUncertain
		}
		if got := RangeOf(c.milliamps); got != want {
			t.Errorf("%.2f mA is in range %d, want %d", c.milliamps, got, want)
		}
		m := memory{set: &ZoneSettings{}, has: Feedback | FeedbackLoop, milliamps: c.milliamps}
		if m.loopFailsLow() != c.low || m.loopFailsHigh() != c.high {
			t.Errorf("%.2f mA: low %v high %v, want %v %v", c.milliamps, m.loopFailsLow(), m.loopFailsHigh(), c.low, c.high)
		}
	}
	// A dip of 3 s is none, one of 5 s is; a single sample never is, however far apart samples lie.
	for _, c := range []struct {
		samples int
		dt      float64
		failed  bool
	}{{4, 1, false}, {6, 1, true}, {1, 60, false}, {2, 60, true}, {2, 2, false}, {3, 2, true}} {
		m := memory{set: &ZoneSettings{}, has: Feedback | FeedbackLoop, milliamps: 3.5, dt: c.dt}
		for range c.samples {
			m.loop()
		}
		if m.loopFailed() != c.failed {
			t.Errorf("%d samples of 3.5 mA at %g s: failed %v, want %v", c.samples, c.dt, m.loopFailed(), c.failed)
		}
		m.milliamps = 4
		m.loop()
		if m.loopFailed() {
			t.Error("a good current does not end the failure")
		}
	}
}

// The threshold is the logarithm of how often all explanations are tried in the time in which one false finding is
// tolerated; a thousand times fewer false findings cost ln 1000 nats.
func TestThreshold(t *testing.T) {
	year := 365.25 * 86400 / 30.0
	want := math.Log(float64(len(explanations)) * year / 0.001)
	if got := threshold(0.001, 30); math.Abs(got-want) > 1e-9 {
		t.Errorf("threshold %.3f, want %.3f", got, want)
	}
	if got := threshold(0.001, 30) - threshold(1, 30); math.Abs(got-math.Log(1000)) > 1e-9 {
		t.Errorf("difference %.3f", got)
	}
	// At 15 s sampling no fault is certain before threshold/mostNats correlation times: the hard ones stay under 3 minutes.
	if s := threshold(0.001, 30) / mostNats * 30; s > 180 {
		t.Errorf("the least time to a finding is %.0f s", s)
	}
}

// One wild reading, under every explanation at once, can not raise a finding.
func TestOneWildReadingRaisesNothing(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	for _, cycle := range []float64{5, 15, 60, 300} {
		z := newSim(21, cycle, allPoints)
		j := New(Settings{Devices: []string{"north"}, Zones: []ZoneSettings{z.settings()}})
		for i := range 3000 {
			s := z.next()
			if i%40 == 17 {
				s.Feedback = r.Float64()*160 - 30
				s.FeedbackMilliamps = 4 + 0.16*s.Feedback
				s.Power *= 3 * r.Float64()
			}
			j.Observe(0, &s)
			j.EndRound(s.At)
		}
		if len(j.changes) > 0 {
			t.Errorf("cycle %g s: %s", cycle, j.changes[0].ID)
		}
	}
}

// Rules for what a technician reads.
func TestWording(t *testing.T) {
	forbidden := []string{"safe", "de-energised", "de-energized", "no voltage", "deenergized"}
	placeholders := []string{"{volts}", "{milliamps}", "{command}", "{setpoint}", "{level}", "{apart}", "{signal}", "{kind}", "{withpower}", "{loop}", "{device}", "{zones}", "{minimum}", "{full}", "{exchanged}", "{opened}", "{kept}", "{beyond}", "{ormore}", "{opens}",
		"{asked}", "{rested}", "{lux}", "{elevation}", "{still}", "{usual}", "{many}", "{spells}", "{times}", "{expected}", "{jitter}", "{noisetimes}", "{amplitude}", "{period}", "{together}", "{at}", "{watts}", "{gear}"}
	for id := None + 1; id < IDs; id++ {
		row := Catalogue[id]
		if row.Name == "" || row.Part == "" || row.Title == "" || row.Says == "" || len(row.Checks) == 0 {
			t.Fatalf("row %d is not complete: %+v", id, row)
		}
		if !slices.Contains([]string{"urgent", "high", "medium", "low"}, row.Severity) {
			t.Errorf("%s: severity %q", row.Name, row.Severity)
		}
		var work Work
		texts := []string{row.Says}
		for _, c := range row.Checks {
			texts = append(texts, c.Text)
			work |= c.Work
			lower := strings.ToLower(c.Text)
			if strings.Contains(lower, "unplug the pair") && c.Work&Unplug == 0 {
				t.Errorf("%s: unplugging without its caution: %s", row.Name, c.Text)
			}
			if strings.Contains(lower, "lift the loop") && c.Work&ByHand == 0 || strings.Contains(lower, "pair unplugged:") && c.Work&(Unplug|Dead) == 0 {
				t.Errorf("%s: the light changes without its caution: %s", row.Name, c.Text)
			}
			if strings.Contains(lower, "lift the control leads") && c.Work&Dead == 0 {
				t.Errorf("%s: work in live fixtures: %s", row.Name, c.Text)
			}
			if strings.Contains(lower, "ohms ") && !strings.Contains(lower, "some ohms") && c.Work&Dead == 0 {
				t.Errorf("%s: ohms on live wiring: %s", row.Name, c.Text)
			}
			if c.Work&Lit != 0 && c.Work&Dead != 0 {
				t.Errorf("%s: lit and dead in one check: %s", row.Name, c.Text)
			}
		}
		for _, text := range append(texts, cautions(work, row.Severity)...) {
			for _, f := range forbidden {
				if strings.Contains(strings.ToLower(text), f) {
					t.Errorf("%s: %q in %q", row.Name, f, text)
				}
			}
			rest := text
			for _, p := range placeholders {
				rest = strings.ReplaceAll(rest, p, "")
			}
			if strings.ContainsAny(rest, "{}") {
				t.Errorf("%s: unknown figure in %q", row.Name, text)
			}
		}
		c := strings.Join(cautions(work, row.Severity), "\n")
		for _, rule := range []struct {
			when bool
			text string
		}{
			{work&Lit != 0, "CAT III"}, {work&Dead != 0, "lock out"}, {work&Unplug != 0, "full light"},
			{work&(Lit|Dead|Unplug|Panel) != 0, "Line voltage"}, {work&(Lit|Dead|Panel|ByHand|Unplug) != 0, "Local code"},
			{work&Foreign != 0, "do not touch"}, {row.Severity == "urgent", "tell the store"},
		} {
			if rule.when != strings.Contains(c, rule.text) {
				t.Errorf("%s: caution %q: %v", row.Name, rule.text, !rule.when)
			}
		}
	}
}
