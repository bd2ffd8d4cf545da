package loops

// The pair follows the command up to a level and stops there: a leak, a partial short, a reversed or weak gear takes the
// current that would lift it. Below that level all is well.

const (
	ceilingLow  = 9.0  // percent: lower is minimum light whatever the command, and called stuck or shorted
	ceilingHigh = 93.0 // percent: higher is within the errors of a sound interface and transmitter
)

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
	w.level += within(m.ceiling.level, ceilingLow, ceilingHigh, 1.5)
	return w
}
