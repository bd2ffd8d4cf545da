package loops

import "math"

// The interface, or the command that it sees, stands still: the pair rests somewhere between floor and open-circuit
// voltage, with the noise that it always had, and does not answer to the command. The light agrees with the pair.

func weighStuckMid(m *memory) weight {
	w := weight{
		motion: m.views.rests + m.views.alive + m.views.windUp,
		level:  within(m.restLevel(), floorHigh, 98, 1.5) + m.views.lightPair,
	}
	if math.Abs(m.setpoint-m.feedback) < m.set.Tolerance/2 && math.Abs(m.residual) > 2*m.spread {
		w.motion += stuckContent
	}
	return w
}

// stuckContent is the weight of a loop that is content although its command has left the feedback behind: where the pair
// stands still the setpoint would have to be there by chance. Chosen: small, since a setpoint may rest there for hours.
const stuckContent = -0.7
