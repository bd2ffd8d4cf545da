package loops

// Light is asked for and the gear is not fed: a breaker, a contactor or the supply of the gear. Dark gear sources nothing,
// so the pair is at 0 V, and no power is drawn.

func weighCircuitOff(m *memory) weight {
	w := weight{motion: m.views.alive + m.views.windUp, level: within(m.restLevel(), -4, shortHigh, shortEdge) + m.powerOff()}
	if m.has.Has(Contact) && m.contact && !m.has.Has(Power) {
		w.level -= 3 // the contact says that it is fed, and nothing speaks against it
	}
	return w
}
