package loops

import (
	"math"
	"strconv"
	"strings"
)

// Cautions. They come before any check that they belong to. Source: 29 CFR 1910.333 (lock-out, test before touch), NFPA 101
// 7.9.2.1 (egress lighting), IEC 61010-2-033 (CAT III), all secondary; the rest is common practice.
const (
	cautionLaw       = "Local code, the site's rules and licensed practice come before this text. This program reads control points: it can not tell whether anything is isolated."
	cautionStore     = "A zone that stays dim where people are is a hazard before it is a repair: tell the store first."
	cautionLine      = "Line voltage is beside the control pair in every luminaire and may be on the pair by fault: only a qualified person opens it, and treats the pair as live until tested, the first reading on a high AC range."
	cautionLit       = "Measuring on lit gear (the gear is the source, so it has to be fed): protective equipment, and a meter and leads of CAT III rated for the supply, 600 V on 277 V and 347 V systems."
	cautionDead      = "Tests on dead wiring (ohms, lifting conductors): switch the circuit off, lock out and tag out, test before touch, and prove the tester before and after. An off command is never isolation."
	cautionForeign   = "A voltage from elsewhere may be on the pair: do not touch it before it is tested."
	cautionUnplug    = "Unplugging the pair gives full light: warn the people below."
	cautionHand      = "Commanding by hand or bridging conductors changes the light: warn the people below, and bridge only a pair proven free of line voltage."
	cautionEmergency = "Do not dim, switch off or unplug emergency and egress lighting without the site's consent."
	cautionLift      = "Ladders and lifts only by trained people; keep conductive ladders away from electrical work."
)

// describe fills in what a technician reads. A zone's finding takes its figures from the zone's memory; m is nil for a
// device.
func (j *Judge) describe(f *Finding, m *memory) {
	row := &Catalogue[f.ID]
	fill := j.filler(f, m)
	f.Summary = fill.Replace(row.Says)
	f.Checks = make([]string, len(row.Checks))
	var work Work
	for i, c := range row.Checks {
		f.Checks[i] = fill.Replace(c.Text)
		work |= c.Work
	}
	f.Cautions = cautions(work, row.Severity)
	if m != nil {
		f.Evidence = m.measures()
	}
}

// cautions gives those that belong to the kinds of work.
func cautions(work Work, severity string) []string {
	onSite := work&(Lit|Dead|Unplug|Panel) != 0
	table := []struct {
		when bool
		text string
	}{
		{onSite || work&ByHand != 0, cautionLaw},
		{severity == "urgent", cautionStore},
		{onSite, cautionLine},
		{work&Foreign != 0, cautionForeign},
		{work&Lit != 0, cautionLit},
		{work&Dead != 0, cautionDead},
		{work&Unplug != 0, cautionUnplug},
		{work&ByHand != 0, cautionHand},
		{work&(Unplug|ByHand|Dead|Lit) != 0, cautionEmergency},
		{work&(Lit|Dead) != 0, cautionLift},
	}
	out := []string{}
	for _, c := range table {
		if c.when {
			out = append(out, c.text)
		}
	}
	return out
}

// filler puts figures into the sentences of a row.
func (j *Judge) filler(f *Finding, m *memory) *strings.Replacer {
	if m == nil {
		names := make([]string, len(f.Zones))
		for i, z := range f.Zones {
			names[i] = j.set.Zones[z].Name
		}
		return strings.NewReplacer("{device}", j.set.Devices[f.Device], "{zones}", strings.Join(names, ", "))
	}
	level := m.restLevel()
	signal, kind := number(m.command/10, 1)+" V DC", "0..10 V, not for pulse width"
	if m.set.Duty {
		signal, kind = "a duty of "+number(m.command, 0)+" %", "pulse width, not for 0..10 V"
	}
	power := ""
	if m.has.Has(Power) {
		power = " and the zone draws " + number(m.power, 0) + " W"
	}
	milliamps := 4 + 0.16*level
	if m.has.Has(FeedbackLoop) {
		milliamps = m.milliamps
	}
	return strings.NewReplacer(
		"{volts}", number(level/10, 1), "{level}", number(level, 0),
		"{milliamps}", number(milliamps, 1),
		"{command}", number(m.command, 0), "{setpoint}", number(m.setpoint, 0),
		"{minutes}", number(m.errorSeconds/60, 0),
		"{signal}", signal, "{kind}", kind, "{withpower}", power,
	)
}

// number writes a figure with so many decimals, and no minus before a zero.
func number(x float64, decimals int) string {
	s := strconv.FormatFloat(x, 'f', decimals, 64)
	if strings.Trim(s, "-0.") == "" {
		s = strings.TrimPrefix(s, "-")
	}
	return s
}

// measures are the figures behind a finding.
func (m *memory) measures() []Measure {
	list := []Measure{
		{"feedback_volts", round(m.feedback/10, 2)},
		{"command_percent", round(m.command, 1)},
		{"setpoint_percent", round(m.setpoint, 1)},
		{"expected_volts", round(m.expected/10, 2)},
	}
	if m.has.Has(FeedbackLoop) {
		list = append(list, Measure{"feedback_milliamps", round(m.milliamps, 2)})
	}
	if m.has.Has(Power) {
		list = append(list, Measure{"power_watts", round(m.power, 0)})
	}
	if !math.IsNaN(m.watts) {
		list = append(list, Measure{"power_share", round(m.watts, 3)})
	}
	if m.errorSeconds > 0 {
		list = append(list, Measure{"apart_seconds", round(m.errorSeconds, 0)})
	}
	return list
}

func round(x float64, decimals int) float64 {
	p := math.Pow10(decimals)
	return math.Round(x*p)/p + 0
}
