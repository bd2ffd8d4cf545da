package main

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"
)

// A finding says what it has cost since its onset, in joules, light and money, and the zones and the site what they have used; what
// is not known is null.
func TestReviewCosts(t *testing.T) {
	const rows, from, tariff = 1200, 600, "0.25"
	for _, opened := range []bool{true, false} {
		s := &shop{shorted: map[int]int{1: from}, opened: opened}
		file := s.put(t, rows, 3, 1)
		b, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		write(t, file, strings.Replace(string(b), "hours ", "tariff = "+tariff+"\n  hours ", 1))
		r, text := reviewJSON(t, file)
		if len(r.Findings) != 1 {
			t.Fatalf("%d findings:\n%s", len(r.Findings), text)
		}
		// What the zone should have drawn and given from the fault on, by the shop's own numbers.
		excess, owed := 0.0, 0.0
		for k := from; k < rows-1; k++ {
			setpoint := 55 + 25*math.Sin(float64(k)/90+1)
			excess += 15 * (1000 - 10*(30+0.7*math.Max(0, setpoint-20)/0.8))
			owed += (setpoint - 0.4) * 15 / 3600
		}
		c := r.Findings[0].Cost
		if opened {
			owed = 0
		} else {
			excess = 0
		}
		if c.Excess == nil || math.Abs(*c.Excess-excess) > 0.02*excess+1 {
			t.Errorf("opened %v: excess %v, want %.0f J", opened, text, excess)
		}
		if c.LightOwed == nil || math.Abs(*c.LightOwed-owed) > 0.02*owed+0.3 {
			t.Errorf("opened %v: light owed %v, want %.1f percent-hours", opened, text, owed)
		}
		if c.KilowattHours == nil || c.Money == nil || math.Abs(*c.KilowattHours-*c.Excess/3.6e6) > 0.001 || math.Abs(*c.Money-0.25**c.KilowattHours) > 0.006 {
			t.Errorf("opened %v: money %v of %v kWh", opened, c.Money, c.KilowattHours)
		}
		if c.Missed != nil || c.MissedLow != nil || c.MissedHigh != nil || r.Energy[0].Missed != nil || r.Energy[0].Baseline != nil {
			t.Errorf("what was missed is shown without a baseline:\n%s", text)
		}
		if e := r.Energy[1]; e.Money == nil || math.Abs(*e.Money-*c.Money) > 0.01 {
			t.Errorf("opened %v: the zone's money is %v, the finding's %v", opened, e.Money, *c.Money)
		}

		var out, errs bytes.Buffer
		if code := run([]string{"review", "-config", file}, &out, &errs); code != done {
			t.Fatalf("%d: %s", code, &errs)
		}
		line := fmt.Sprintf("\n  Cost: %.0f percent-hours of light owed\n", *c.LightOwed)
		if opened {
			line = fmt.Sprintf("\n  Cost: %.1f kWh in excess of the setpoint, %.2f by the tariff\n", *c.KilowattHours, *c.Money)
		}
		for _, want := range []string{line, "\nEnergy in kWh", "\n  all that is known  "} {
			if !strings.Contains(out.String(), want) {
				t.Errorf("the report lacks %q:\n%s", want, &out)
			}
		}
	}
}
