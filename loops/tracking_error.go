package loops

import "math"

// Setpoint and feedback are apart for longer than anyone would leave them, and nothing better is known. One case has a
// picture of its own: a command that simply copies the setpoint, with a feedback that is off, is a loop that runs open.

func weighTrackingError(m *memory) weight {
	f := max(m.views.rests, m.drifted())
	w := weight{motion: max(f, -2.5) + m.views.alive, level: m.views.lightPair / 2}
	if m.loopFailed() || m.dark() && m.darkDoubt() < 6 {
		w.motion += worst // that has a name of its own, or is none
	}
	near := math.Abs(m.command-m.setpoint) <= 2
	switch {
	case m.control == content && (!near || math.Abs(m.residual) < 2*m.spread):
		w.motion -= mostNats
	case m.control == content:
		// The command copies the setpoint, and a feedback that is off by a share is close to it at low levels.
	case !near:
		w.motion -= 1.2
	case m.command > topStop || m.command < bottomStop:
		w.level -= 1.5 // at an end stop a command that was wound up is there as well
	}
	return w
}
