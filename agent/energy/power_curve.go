package energy

import (
	"math"

	"dimwatch/loops"
)

// Power over level. The curve of a zone is learned where its power is measured, tenth by tenth of the level; where it was not
// seen yet it goes on in the shape of the configured curve, or else of the default.

// Shape is the share of full power at a level in percent: as configured, else 0.3 up to 20 % light and straight from there to 1.
// Source: the continuous daylighting control of EnergyPlus in its usual values (least light 0.2, least power 0.3). A level is
// taken for light: the curve of 1..10 V gear is not fixed by IEC 60929, and the proportional one is common.
func (s *Settings) Shape(level float64) float64 {
	level = min(100, max(0, level))
	if len(s.PowerCurve) == 0 {
		if level <= 20 {
			return 0.3
		}
		return 0.3 + 0.7*(level-20)/80
	}
	curve := s.PowerCurve
	if level <= curve[0][0] {
		return curve[0][1] / 100
	}
	for i := 1; i < len(curve); i++ {
		a, b := curve[i-1], curve[i]
		if level <= b[0] {
			return (a[1] + (b[1]-a[1])*(level-a[0])/(b[0]-a[0])) / 100
		}
	}
	return curve[len(curve)-1][1] / 100
}

// Knot is what was learned of the power near one tenth of the level.
type Knot struct{ Seconds, Level, Watts float64 }

const (
	// knotSeconds is how long a tenth has to be seen before its power is known, and knotMemory how far back it reaches.
	// Chosen: ten minutes and forty hours of steady light. With half the memory a fault that takes a day to be found is learned
	// as normal; with double a change of lamps shows as excess for a fortnight.
	knotSeconds, knotMemory = 600.0, 40 * 3600.0

	// The bands are by how much of full power a measured power may be off the curve without being in excess, and what the curve
	// is taken to be off in an estimate.
	// Source: meters of class 1, and the power of gear warming up, 1..2 % (common practice, no source). Chosen: 12 % for a curve
	// that is only assumed is what the judgement takes. At half, sound zones are charged; at double, a stray ballast in 24 is not.
	bandLearned    = 0.02
	bandConfigured = 0.05
	bandAssumed    = 0.12
)

func (k *Knot) known() bool { return k.Seconds >= knotSeconds }

// learnPower learns the power at the level of the newest sample, while nothing is wrong and nothing moves.
func (m *Meter) learnPower(s *loops.Sample, dt float64) {
	r := &m.st.Rate
	steady := m.powerGood(s) && s.Has.Has(loops.Setpoint|loops.Feedback) && math.Abs(s.Feedback-r.Feedback) < 1 && math.Abs(s.Power-r.Power) <= 0.05*s.Power
	if !steady || m.st.Standing.Any || s.Power <= 0 || s.Feedback < 8 || math.Abs(s.Feedback-s.Setpoint) > m.set.Tolerance || !lit(s, true, m.full()) {
		return
	}
	level := min(100, s.Feedback)
	k := &m.st.Power[int(level/10+0.5)]
	if k.known() && math.Abs(s.Power-k.Watts) > 0.3*k.Watts {
		return // one wild stretch teaches nothing
	}
	k.Seconds = min(k.Seconds+dt, knotMemory)
	k.Level += (level - k.Level) * dt / k.Seconds
	k.Watts += (s.Power - k.Watts) * dt / k.Seconds
}

// full is the power at full light: as learned, else as configured, else as the highest level seen lets expect; 0 where unknown.
func (m *Meter) full() float64 {
	k := &m.st.Power
	if k[10].known() {
		return k[10].Watts
	}
	if m.set.RatedPower > 0 {
		return m.set.RatedPower
	}
	for i := 9; i >= 3; i-- {
		if k[i].known() {
			return k[i].Watts / max(0.05, m.set.Shape(k[i].Level))
		}
	}
	return 0
}

// around gives the known knots next to a level, nil where there is none.
func (m *Meter) around(level float64) (below, above *Knot) {
	for i := range m.st.Power {
		switch k := &m.st.Power[i]; {
		case !k.known():
		case k.Level <= level:
			below = k
		case above == nil:
			above = k
		}
	}
	return below, above
}

// watts is the power to expect at a level in percent; it takes a full power.
func (m *Meter) watts(level float64) float64 {
	below, above := m.around(level)
	switch {
	case below != nil && above != nil:
		return below.Watts + (above.Watts-below.Watts)*(level-below.Level)/(above.Level-below.Level)
	case below != nil:
		return below.Watts * m.set.Shape(level) / max(0.05, m.set.Shape(below.Level))
	case above != nil:
		return above.Watts * m.set.Shape(level) / max(0.05, m.set.Shape(above.Level))
	}
	return m.full() * m.set.Shape(level)
}

// levelOf is the least level in percent at which so many watts are to be expected.
func (m *Meter) levelOf(watts float64) float64 {
	low, high := 0.0, 100.0
	switch {
	case watts <= m.watts(low):
		return low
	case watts >= m.watts(high):
		return high
	}
	for high-low > 0.01 {
		if middle := (low + high) / 2; m.watts(middle) < watts {
			low = middle
		} else {
			high = middle
		}
	}
	return high
}

// band is by how much of full power the curve may be off at a level.
func (m *Meter) band(level float64) float64 {
	below, above := m.around(level)
	switch {
	case below != nil && level-below.Level <= 2, above != nil && above.Level-level <= 2,
		below != nil && above != nil && above.Level-below.Level <= 25:
		return bandLearned
	case len(m.set.PowerCurve) > 0:
		return bandConfigured
	}
	return bandAssumed
}
