package loops

import "math"

// The feedback repeats its last value to the bit: a converter, a gateway or a program holds it. The light goes with the
// command, not with the feedback.

func weighFeedbackFrozen(m *memory) weight {
	w := weight{motion: m.views.windUp, level: m.views.lightCommand}
	if !m.still.repeated {
		w.motion += worst
	}
	if m.clipped() || m.loopFailed() {
		w.level -= 4 // signals stand still at the ends of their range
	}
	if m.rest.highC-m.rest.lowC < restBand && math.Abs(m.residual) <= 2*m.spread {
		w.level += worst // nothing has asked it to move
	}
	if since := float64(m.at-m.jumpedAt) / 1e9; since < m.litSeconds && math.Abs(since-m.rest.seconds) <= 2*m.dt {
		w.level -= 4 // it jumped to where it rests, and what is held was read before
	}
	return w
}
