package loops

import "math"

// Feedback and command part company by a gain or an offset that was not there before, while the loop goes on closing on
// the wrong value.

const (
	driftLeast = 7.0  // percent: less is the spread of sound transmitters and interfaces
	driftMost  = 20.0 // percent: more is no drift
)

func weighFeedbackDrift(m *memory) weight {
	w := weight{
		motion: fit(m.feedback-m.expected-m.residual0, m.spread) + m.views.alive + m.views.windUp,
		level:  within(math.Abs(m.residual0), driftLeast, driftMost, 2) + max(m.views.lightCommand, -4),
	}
	if m.learned.follow.n < 100 {
		w.level += worst // nothing is known to have parted from
	}
	return w
}
