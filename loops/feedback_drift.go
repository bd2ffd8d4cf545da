package loops

import "math"

// Feedback and command part company by a gain or an offset that was not there before, while the loop goes on closing on
// the wrong value: the feedback meets the setpoint, and the command, and the light with it, are elsewhere. The transmitter
// or its map has changed; without power it may as well be the interface.

const (
	driftLeast = 6.0  // percent: less is the spread of sound transmitters and interfaces
	driftMost  = 30.0 // percent: more is no drift

	// driftLearned is how many pairs of command and feedback have to be known before something can have parted from them.
	driftLearned = 100
)

func weighFeedbackDrift(m *memory) weight {
	w := weight{motion: m.drifted() + m.views.alive + m.views.windUp, level: m.views.lightCommand}
	w.level += within(m.driftSize(), driftLeast, driftMost, 2)
	if m.learned.follow.n < driftLearned && (m.learned.top.n() < driftLearned || m.command < topStop) {
		w.level += worst // nothing is known to have parted from
	}
	return w
}

// driftSize is by how much the feedback is off, percent of level.
func (m *memory) driftSize() float64 {
	if m.offset.n >= 2 {
		return max(math.Abs(m.offset.level), math.Abs(m.gain.level*m.expected))
	}
	return math.Abs(m.feedback - m.expected)
}

// drifted is the weight of the feedback where it is off by an offset, or by a share.
func (m *memory) drifted() float64 {
	w := worst
	if m.offset.n >= 2 {
		w = fit(m.feedback-m.expected-m.offset.level, m.spread)
	}
	if m.gain.n >= 2 {
		w = max(w, fit(m.feedback-m.expected*(1+m.gain.level), m.spread))
	}
	if m.offset.n < 2 && m.gain.n < 2 {
		w = m.views.follows
	}
	return w
}
