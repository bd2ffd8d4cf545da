package loops

import (
	"math"
	"strconv"
	"strings"
)

// Cautions. They come before any check that they belong to. Source: 29 CFR 1910.333 (lock-out, test before touch), NFPA 101
// 7.9.2.1 (egress lighting), IEC 61010-2-033 (CAT III), all secondary; the rest is common practice.
const (
	cautionLaw       = "Local code, the site's rules and licensed practice come before this text. This program reads control points: it cannot tell whether anything is isolated."
	cautionStore     = "A zone that stays dim where people are is a hazard before it is a repair: tell the store first."
	cautionLine      = "Line voltage is beside the control pair in every luminaire and may be on the pair by fault: only a qualified person opens it, treats the pair as live until tested, the first reading on a high AC range, and puts barriers back."
	cautionLit       = "Measuring on lit gear (the gear is the source, so it has to be fed): protective equipment, and a meter and leads of CAT III rated for the supply, 600 V on 277 V and 347 V systems."
	cautionDead      = "Tests on dead wiring (ohms, lifting conductors): switch the circuit off, lock out and tag out, test before touch, and prove the tester before and after; a proximity tester proves nothing. An off command is never isolation."
	cautionForeign   = "A voltage from elsewhere may be on the pair: do not touch it before it is tested."
	cautionUnplug    = "Unplugging the pair gives full light: warn the people below."
	cautionHand      = "Commanding by hand, lifting or replacing a signal and bridging conductors change the light: warn the people below first, bridge only a pair proven free of line voltage, and never line conductors."
	cautionEmergency = "Do not dim, switch off or unplug emergency and egress lighting without the site's consent."
	cautionLift      = "Ladders and lifts only by trained people; keep conductive ladders away from electrical work. Lamps and drivers are hot and keep a charge: wait."
)

// describe fills in what a technician reads. A zone's finding takes its figures from what the zone remembers; z is nil for a
// device.
func (j *Judge) describe(f *Finding, z *zone) {
	if z == nil {
		j.write(f, j.filler(f, nil, nil))
		return
	}
	j.write(f, j.filler(f, &z.memory, &z.days))
	f.Evidence = z.memory.measures()
	if explanations[explanationOf(f.ID)].track == setpointTrack {
		f.Evidence = append(f.Evidence, z.days.measures()...)
	}
}

// write fills in the sentence, the checks and their cautions.
func (j *Judge) write(f *Finding, fill *strings.Replacer) {
	row := &Catalogue[f.ID]
	f.Summary = fill.Replace(row.Says)
	f.Checks = make([]string, len(row.Checks))
	var work Work
	for i, c := range row.Checks {
		f.Checks[i] = fill.Replace(c.Text)
		work |= c.Work
	}
	f.Cautions = cautions(work, row.Severity)
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
func (j *Judge) filler(f *Finding, m *memory, d *days) *strings.Replacer {
	names := make([]string, len(f.Zones))
	for i, z := range f.Zones {
		names[i] = j.set.Zones[z].Name
	}
	if m == nil {
		return strings.NewReplacer("{device}", j.set.Devices[f.Device], "{zones}", strings.Join(names, ", "))
	}
	level := m.restLevel()
	percent := func(c Channels, x float64) string {
		if !m.has.Has(c) {
			return "(not read)"
		}
		return number(x, 0)
	}
	signal, kind := number(m.command/10, 1)+" V DC", "0..10 V, not for pulse width"
	if m.set.Duty {
		signal, kind = "a duty of "+number(m.command, 0)+" %", "pulse width, not for 0..10 V"
	}
	power := ""
	if m.has.Has(Power) {
		power = " and the zone draws " + number(m.power, 0) + " W"
	}
	minimum, full := "the lights should be at minimum", "the lights should be full"
	if !math.IsNaN(m.watts) && m.powerMinimum() > -1 {
		minimum = "the lights are at minimum"
	}
	if !math.IsNaN(m.watts) && m.powerFit(100) > -1 {
		full = "the lights are full"
	}
	opened, beyond := "The interface sees "+number(level/10, 1)+" V", number(level/10, 1)
	if m.set.TapGear {
		opened, beyond = "At the gear the pair stands at "+number(level/10, 1)+" V", "0"
	}
	orMore, opens := "", "about "+number(level/10, 1)
	if m.clipped() || m.loopFailsHigh() {
		orMore, opens = " or more", "10 to 15"
	}
	exchanged := ""
	if level < belowZero {
		exchanged = " A reading below 0 V speaks for exchanged conductors."
	}
	watts, usual, gear := m.gear.words(m)
	loop, milliamps := "", "(no current loop)"
	if m.has.Has(FeedbackLoop) {
		milliamps = number(m.milliamps, 1)
		loop = "Meter in milliamps at the controller's feedback input: expect " + milliamps + " mA. "
	}
	together := ""
	if len(names) > 1 {
		together = " It was lost in " + strings.Join(names, " and ") + " at once: look for what feeds them all."
	}
	jitter, _ := m.jitter()
	jumps := "full"
	if m.spells.zero {
		jumps = "0 V"
	}
	return strings.NewReplacer(
		"{jitter}", number(m.noise.now, 1), "{noisetimes}", number(m.noise.now/jitter, 0),
		"{amplitude}", number(m.swings.oscillation.amplitude(), 0), "{period}", apart(m.swings.oscillation.period()),
		"{expected}", number(m.expected/10, 1), "{together}", together,
		"{zones}", strings.Join(names, " and "),
		"{spells}", jumps, "{times}", number(float64(m.spells.count), 0),
		"{volts}", number(level/10, 1), "{level}", number(level, 0),
		"{milliamps}", milliamps, "{loop}", loop,
		"{command}", percent(Command, m.command), "{setpoint}", percent(Setpoint, m.setpoint),
		"{apart}", apart(max(m.errorSeconds, float64(f.Raised-f.Onset)/1e9)),
		"{signal}", signal, "{kind}", kind, "{withpower}", power,
		"{opened}", opened, "{beyond}", beyond, "{ormore}", orMore, "{opens}", opens,
		"{minimum}", minimum, "{full}", full, "{exchanged}", exchanged,
		"{asked}", d.asks(), "{kept}", d.kept(f.Onset), "{rested}", apart(float64(f.Raised-f.Onset)/1e9),
		"{at}", number(m.gear.level/10, 1), "{watts}", watts, "{usual}", usual, "{gear}", gear,
	)
}

// apart writes a length of time.
func apart(seconds float64) string {
	switch {
	case seconds < 120:
		return number(seconds, 0) + " seconds"
	case seconds > 3*3600:
		return number(seconds/3600, 0) + " hours"
	}
	return number(seconds/60, 0) + " minutes"
}

// number writes a figure with so many decimals, and no minus before a zero.
func number(x float64, decimals int) string {
	s := strconv.FormatFloat(x, 'f', decimals, 64)
	if strings.Trim(s, "-0.") == "" {
		s = strings.TrimPrefix(s, "-")
	}
	return s
}

// measures are the figures behind a finding, those that are known.
func (m *memory) measures() []Measure {
	var list []Measure
	for _, x := range []struct {
		known  bool
		name   string
		value  float64
		digits int
	}{
		{m.has.Has(Feedback), "feedback_volts", m.feedback / 10, 2},
		{m.has.Has(Command), "command_percent", m.command, 1},
		{m.has.Has(Setpoint), "setpoint_percent", m.setpoint, 1},
		{m.complete(), "expected_volts", m.expected / 10, 2},
		{m.has.Has(FeedbackLoop), "feedback_milliamps", m.milliamps, 2},
		{m.has.Has(Power), "power_watts", m.power, 0},
		{m.has.Has(Power) && !math.IsNaN(m.watts), "power_share", m.watts, 3},
		{m.errorSeconds > 0, "apart_seconds", m.errorSeconds, 0},
		{m.gear.expected > 0, "expected_watts", m.gear.expected, 0},
	} {
		if x.known {
			list = append(list, Measure{x.name, round(x.value, x.digits)})
		}
	}
	return list
}

func round(x float64, decimals int) float64 {
	p := math.Pow10(decimals)
	return math.Round(x*p)/p + 0
}
