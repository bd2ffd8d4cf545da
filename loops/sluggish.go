package loops

// The loop arrives, but much later than it should.

func weighSluggish(m *memory) weight {
	w := weight{motion: m.views.follows + m.views.alive, level: m.views.lightPair}
	switch m.control {
	case content:
		w.motion -= 0.3
	case opposing:
		w.motion -= 3
	case resting:
		w.motion -= 0.2
	case acting:
		if m.command >= topStop || m.command <= bottomStop {
			w.motion -= 1
		}
	}
	return w
}
