package loops

// The command stands still although setpoint and feedback are apart: it is overridden by hand, or the program that should
// write it does not run. Pair and feedback obey it.

func weighCommandHeld(m *memory) weight {
	w := weight{motion: m.views.follows + m.views.alive, level: m.views.lightPair}
	switch {
	case m.creeps:
		w.motion += 2 * worst // it moves on, slowly
	case m.hold.broke || m.hold.off > 0 && m.hold.n < 3:
		w.motion -= 3
	case m.control == acting && m.hold.seconds > m.tau:
		w.motion -= 2 // at the end stop that the error asks for: it may as well be wound up
	}
	if m.wrong >= wrongSteps {
		w.level -= 5 // it was seen going there
	}
	return w
}
