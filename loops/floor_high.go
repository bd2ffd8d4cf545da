package loops

// The pair follows the command down to a level and stops there: more gear than the interface can sink, or a weak sink. Or the
// sink has grown a resistance: then the pair is above its command everywhere but at the top, least there, and the loop goes on
// closing with a command that is too low until it is at its end. Source: class "floor" of the circuit: offset upward,
// compressed at the top.

func weighFloorHigh(m *memory) weight {
	w := weight{motion: m.views.alive + m.views.windUp, level: m.views.lightPair}
	if m.floor.n < 2 && m.sink.n < 2 {
		w.motion += m.views.follows
		return w
	}
	stops, resists := m.views.follows, worst
	if m.residual > 0 || m.feedback < m.floor.level-2*m.spread {
		stops = fit(m.feedback-m.floor.level, m.spread)
	}
	if m.sink.n >= 2 {
		resists = fit(m.feedback-m.sinkAt(m.expected), m.spread)
	}
	base := m.floor.level
	if resists > stops {
		base = m.sink.level
	}
	w.motion += max(stops, resists)
	w.level += within(base, 14, 97, 1.5)
	return w
}
