package loops

import "math"

// Setpoint and feedback are apart for longer than anyone would leave them, and nothing better is known. One case has a
// picture of its own: a command that simply copies the setpoint, with a feedback that is off, is a loop that runs open.

func weighTrackingError(m *memory) weight {
	f := math.Max(m.views.rests, fit(m.feedback-m.expected-m.residual0, m.spread))
	f = math.Max(f, -2.5)
	w := weight{motion: f - 0.1, level: m.views.lightPair / 2}
	if m.loopFailed() || m.dark() && m.darkDoubt() < 6 {
		w.motion += worst // that has a name of its own, or is none
	}
	if m.control == content {
		w.motion -= mostNats
	} else if math.Abs(m.command-m.setpoint) > 2 || m.command > topStop || m.command < bottomStop {
		w.motion -= 1.2
	}
	return w
}
