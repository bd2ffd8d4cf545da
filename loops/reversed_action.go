package loops

// The command moves away from what the error asks for, and ends at the wrong stop: the sense of the loop was turned round.

func weighReversedAction(m *memory) weight {
	w := weight{motion: m.views.follows + m.views.alive, level: m.views.lightPair}
	switch m.control {
	case content:
		w.motion -= 0.3
	case acting:
		w.motion -= 3
	case resting:
		w.motion -= 1
	}
	return w
}
