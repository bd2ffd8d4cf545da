package loops

// The command moves away from what the error asks for, and ends at the wrong stop: the sense of the loop was turned round.

func weighReversedAction(m *memory) weight {
	w := weight{motion: m.views.follows + m.views.alive, level: m.views.lightPair}
	switch m.control {
	case content:
		w.motion -= 0.3
		if m.command < topStop && m.command > bottomStop {
			w.motion -= 1.2 // it only passes by
		}
	case acting:
		w.motion -= 3
	case resting:
		w.motion -= 1
	}
	if m.wrong < wrongSteps {
		w.level -= 1.5 // nobody saw it go
	}
	return w
}

// wrongSteps is in how many samples the command has to have gone the wrong way to have been seen doing so. Chosen: one may be
// a wild reading, and a hand is there with one.
const wrongSteps = 3
