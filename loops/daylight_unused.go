package loops

import "math"

// The setpoint stays at full on days as bright as those on which it used to fall: the daylight program is switched off, its
// threshold was set out of reach, or the sensor no longer gets through to it. The sensor reads well; the light is full and
// the daylight wasted.
//
// Seen: at readings of the zone's own sensor at which the setpoint used to be well below full, it is full. Other programs may
// go on moving it (a demand limit, a night level): that is what tells this from a setpoint that is frozen at full; where
// nothing else moves it, both are said.

// weighDaylightUnused weighs a setpoint against the level that the zone's own sensor lets expect.
func (z *zone) weighDaylightUnused(level, spread, off, hours float64) {
	d, i := &z.days, daylightUnusedAt
	x := z.memory.setpoint
	below := x < d.full-topBand
	if below && d.moves >= liveMoves && math.Abs(x-level) < 3*spread {
		z.test(DaylightUnused)
		z.dayGain(i, -d.proof()*hours) // it goes down, again and again: something moves it as daylight does
		return
	}
	if level > d.full-max(2*spread, followsLeast) {
		return // daylight asks for next to nothing: no test
	}
	switch {
	case d.off > 0:
	case !below:
		z.dayGain(i, (min(hourMostNats, off)-slackNats)*hours)
	case math.Abs(x-level) < 2.5*spread:
		z.test(DaylightUnused)
		z.dayGain(i, -d.proof()*hours)
	}
}
