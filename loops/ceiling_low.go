package loops

// The pair follows the command up to a level and stops there: a leak, a partial short, a reversed or weak gear takes the
// current that would lift it. Below that level all is well.

func weighCeilingLow(m *memory) weight {
	w := weight{motion: m.views.alive + m.views.windUp, level: m.views.lightPair}
	if m.ceiling.n < 2 {
		w.motion += m.views.follows
		return w
	}
	if m.residual < 0 || m.feedback > m.ceiling.level+2*m.spread {
		w.motion += fit(m.feedback-m.ceiling.level, m.spread)
	} else {
		w.motion += m.views.follows
	}
	w.level += within(m.ceiling.level, 9, 93, 1.5)
	return w
}
