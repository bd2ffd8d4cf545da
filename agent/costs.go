package main

import (
	"fmt"
	"io"
	"math"
	"strings"
	"text/tabwriter"

	"dimwatch/agent/energy"
	"dimwatch/agent/judge"
	"dimwatch/loops"
)

// What zones used and what findings cost, as JSON and in words. What is not known is null or left out, never zero.

// energyJSON is what is known of a zone's energy.
type energyJSON struct {
	Zone       string        `json:"zone"`
	Used       *float64      `json:"used_joules"` // null where unknown: it takes power or rated power
	Excess     *float64      `json:"excess_joules"`
	Avoided    *float64      `json:"avoided_joules"`
	Missed     *float64      `json:"missed_joules"` // null where it is not known what the daylight should have asked for
	MissedLow  *float64      `json:"missed_joules_low"`
	MissedHigh *float64      `json:"missed_joules_high"`
	LightOwed  *float64      `json:"light_owed_percent_hours"`
	Money      *float64      `json:"money"` // of excess and missed, in the currency of the tariff; null without one
	Baseline   *baselineJSON `json:"baseline"`
}

// baselineJSON is how well the zone's own daylight curve is known: how well it foretold hours before it learned from them.
type baselineJSON struct {
	Days       int      `json:"days"`
	CV         *float64 `json:"cv_rmse_percent"`
	NMBE       *float64 `json:"nmbe_percent"`
	Confidence float64  `json:"interval_confidence"`
}

// costJSON is what a finding has cost since its onset.
type costJSON struct {
	Excess        *float64 `json:"excess_joules"`
	Missed        *float64 `json:"missed_joules"`
	MissedLow     *float64 `json:"missed_joules_low"`
	MissedHigh    *float64 `json:"missed_joules_high"`
	LightOwed     *float64 `json:"light_owed_percent_hours"`
	KilowattHours *float64 `json:"kilowatt_hours"` // excess and missed together
	Money         *float64 `json:"money"`
}

const joulesKilowattHour = 3.6e6

// known is a figure rounded to 1/scale, nil where it is not known.
func known(x, scale float64, ok bool) *float64 {
	if !ok {
		return nil
	}
	x = math.Round(x*scale) / scale
	return &x
}

func (r *recording) energyOf(z judge.Zone) energyJSON {
	e := &z.Energy
	wasted, ok := wasted(e)
	out := energyJSON{
		Zone: z.Config.Name, Used: known(e.UsedJoules, 1, e.UsedKnown),
		Excess: known(e.ExcessJoules, 1, e.LevelsKnown), Avoided: known(e.AvoidedJoules, 1, e.LevelsKnown),
		Missed: known(e.MissedJoules, 1, e.MissedKnown), MissedLow: known(e.MissedLow, 1, e.MissedKnown), MissedHigh: known(e.MissedHigh, 1, e.MissedKnown),
		LightOwed: known(e.LightOwed, 10, e.LightKnown), Money: r.money(wasted, ok),
	}
	if b := z.Baseline; b != nil {
		out.Baseline = &baselineJSON{Days: b.Days, CV: known(100*b.CV, 10, b.Judged), NMBE: known(100*b.NMBE, 10, b.Judged), Confidence: energy.Confidence}
	}
	return out
}

// wasted is what a zone used for nothing.
func wasted(e *judge.Energy) (joules float64, ok bool) {
	return e.ExcessJoules + e.MissedJoules, e.LevelsKnown || e.MissedKnown
}

// money is what joules cost, nil without a tariff.
func (r *recording) money(joules float64, ok bool) *float64 {
	return known(joules/joulesKilowattHour*r.site.Tariff, 100, ok && r.site.Tariff > 0)
}

// cost is what a finding has cost, as it stood when it ended.
func (r *recording) cost(f loops.Finding) energy.Cost {
	if c, ok := r.costs[f.Seq]; ok {
		return c
	}
	return r.judge.Cost(f)
}

// price notes what the findings that have just ended have cost: the account is kept for some time only.
func (r *recording) price() {
	if r.costs == nil {
		r.costs = map[int]energy.Cost{}
	}
	for _, f := range r.ended {
		r.costs[f.Seq] = r.judge.Cost(f)
	}
	r.ended = r.ended[:0]
}

func (r *recording) costOf(f loops.Finding) costJSON {
	c := r.cost(f)
	joules, ok := c.Joules()
	return costJSON{
		Excess: known(c.ExcessJoules, 1, c.ExcessKnown),
		Missed: known(c.MissedJoules, 1, c.MissedKnown), MissedLow: known(c.MissedLow, 1, c.MissedKnown), MissedHigh: known(c.MissedHigh, 1, c.MissedKnown),
		LightOwed: known(c.LightOwed, 10, c.LightKnown), KilowattHours: known(joules/joulesKilowattHour, 1000, ok), Money: r.money(joules, ok),
	}
}

// cost prints in one line what an incident has cost, and nothing where nothing of it is known. The account is that of the
// finding that it is called by now; where that began later than the incident, it says so.
func (p *report) cost(w io.Writer, i *incident) {
	c := p.recording.cost(*i.now())
	lead := "Cost: "
	if i.now().Onset > i.onset() {
		lead = "Cost since " + p.at(i.now().Onset) + ": "
	}
	joules, ok := c.Joules()
	parts := p.wasteText(c, ok && joules > 0)
	switch {
	case len(parts) > 0:
		fold(w, "  ", lead+strings.Join(parts, ", "))
	case ok || c.LightKnown:
		fold(w, "  ", lead+"nothing that can be measured")
	}
}

// wasteText is what was wasted and owed in words; parts that are not known or round to nothing are left out.
func (r *recording) wasteText(c energy.Cost, priced bool) (parts []string) {
	if c.ExcessKnown && c.ExcessJoules >= leastJoules {
		parts = append(parts, kilowattHours(c.ExcessJoules)+" in excess of the setpoint")
	}
	if c.MissedKnown && c.MissedHigh >= leastJoules {
		parts = append(parts, fmt.Sprintf("%s missed (%.1f to %.1f with %.0f %% confidence)", kilowattHours(c.MissedJoules),
			c.MissedLow/joulesKilowattHour, c.MissedHigh/joulesKilowattHour, 100*energy.Confidence))
	}
	if c.LightKnown && c.LightOwed >= 0.5 {
		parts = append(parts, fmt.Sprintf("%.0f percent-hours of light owed", c.LightOwed))
	}
	joules, ok := c.Joules()
	if m := r.money(joules, ok); priced && m != nil && *m > 0 {
		parts = append(parts, fmt.Sprintf("%.2f by the tariff", *m))
	}
	return parts
}

// energy prints what the zones have used and what was wasted, and the same of the site, in kWh. What is not known is a dash.
func (p *report) energy(w io.Writer) {
	var rows [][]string
	var site judge.Energy
	known := false
	for i := range p.snap.Zones {
		if p.leftOut(i) {
			continue
		}
		z := &p.snap.Zones[i]
		rows = append(rows, append([]string{z.Config.Name}, p.energyCells(&z.Energy)...))
		site.Add(&z.Energy)
		known = known || z.Energy.UsedKnown || z.Energy.LightKnown
	}
	if !known {
		fmt.Fprintln(w, "\nEnergy is not known: it takes power points or rated_power")
		return
	}
	if len(rows) > 1 {
		rows = append(rows, append([]string{"all that is known"}, p.energyCells(&site)...))
	}
	fmt.Fprintf(w, "\nEnergy in kWh (missed: with the range that holds it with %.0f %% confidence), light owed in percent-hours\n", 100*energy.Confidence)
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	head := "  ZONE\tUSED\tAVOIDED\tIN EXCESS\tMISSED\tLIGHT OWED"
	if p.site.Tariff > 0 {
		head += "\tBY THE TARIFF"
	}
	fmt.Fprintln(t, head)
	for _, cells := range rows {
		fmt.Fprintf(t, "  %s\n", strings.Join(cells, "\t"))
	}
	_ = t.Flush()
}

func (p *report) energyCells(e *judge.Energy) []string {
	cell := func(ok bool, format string, args ...any) string {
		if !ok {
			return "-"
		}
		return fmt.Sprintf(format, args...)
	}
	const k = joulesKilowattHour
	missed := cell(e.MissedKnown, "%.1f", e.MissedJoules/k)
	if e.MissedKnown && e.MissedHigh >= leastJoules {
		missed += fmt.Sprintf(" (%.1f to %.1f)", e.MissedLow/k, e.MissedHigh/k)
	}
	cells := []string{
		cell(e.UsedKnown, "%.1f", e.UsedJoules/k), cell(e.LevelsKnown, "%.1f", e.AvoidedJoules/k),
		cell(e.LevelsKnown, "%.1f", e.ExcessJoules/k), missed, cell(e.LightKnown, "%.0f", e.LightOwed),
	}
	if p.site.Tariff > 0 {
		money := p.money(wasted(e))
		cells = append(cells, "-")
		if money != nil {
			cells[len(cells)-1] = fmt.Sprintf("%.2f", *money)
		}
	}
	return cells
}

// leastJoules is what is shown as 0.1 kWh at least.
const leastJoules = 0.05 * joulesKilowattHour

func kilowattHours(joules float64) string { return fmt.Sprintf("%.1f kWh", joules/joulesKilowattHour) }
