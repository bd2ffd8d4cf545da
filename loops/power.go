package loops

import "math"

// Power as a share of full power, and what light it goes with.

// wattsShare works out power as a share of full power.
func (m *memory) wattsShare() {
	m.watts = math.NaN()
	if !m.has.Has(Power) {
		return
	}
	switch full, guess := m.fullPower(); {
	case full > 0 && !guess:
		m.wattsFull = full
		m.watts = m.power / full
	case m.power < max(noWatts, litShare*full/guessFactor):
		m.watts = 0 // that much is certain without knowing what full is
	}
}

// fullPower is the power at full light: as learned, else as configured, else what the largest power seen lets expect; a
// guess from the number of ballasts where nothing else is known, and 0 without it.
func (m *memory) fullPower() (watts float64, guess bool) {
	l := &m.learned
	if l.watts[10].n() >= 20 {
		return l.watts[10].value(), false
	}
	if m.set.RatedPower > 0 {
		return m.set.RatedPower, false
	}
	if l.watt1 > 0 {
		return l.watt1, false
	}
	return ballastWatts * float64(m.set.Ballasts), true
}

const (
	// ballastWatts is the power at full of one ballast where nothing else is known: two 32 W tubes.
	// Source: common practice, no source; gear of 15..120 W is met, so the guess may be off by guessFactor either way.
	ballastWatts = 58.0
	guessFactor  = 4.0

	// noWatts is a power that no zone draws whose gear is fed.
	noWatts = 2.0
)

// powerAt is the share of full power to expect at a level of light, and how far it may be off.
func (m *memory) powerAt(level float64) (share, usual float64) {
	level = min(100, max(0, level))
	if m.wattsFull > 0 {
		i := tenth(level)
		for _, d := range [...]int{0, 1, -1} {
			k := i + d
			if k < 0 || k > 10 || m.learned.watts[k].n() < 10 {
				continue
			}
			share = m.learned.watts[k].value() / m.wattsFull
			// 0.9 is about the slope of common gear (see powerCurve).
			return share + 0.009*(level-10*float64(k)), 0.04
		}
	}
	return powerCurve(level), 0.12
}

// powerCurve is the share of full power of gear at a level of light in percent where nothing is known of it: 0.3 up to 20 %
// light, then straight to 1.
// Source: the continuous daylighting control of EnergyPlus, in its usual values for fluorescent ballasts.
func powerCurve(level float64) float64 {
	if level <= 20 {
		return 0.3
	}
	return 0.3 + 0.7*(level-20)/80
}
