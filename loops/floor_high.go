package loops

// The pair follows the command down to a level and stops there: more gear than the interface can sink, or a weak sink.

func weighFloorHigh(m *memory) weight {
	w := weight{motion: m.views.alive + m.views.windUp, level: m.views.lightPair}
	if m.floor.n < 2 {
		w.motion += m.views.follows
		return w
	}
	if m.residual > 0 || m.feedback < m.floor.level-2*m.spread {
		w.motion += fit(m.feedback-m.floor.level, m.spread)
	} else {
		w.motion += m.views.follows
	}
	w.level += within(m.floor.level, 14, 97, 1.5)
	return w
}
