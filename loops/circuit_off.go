package loops

// Light is asked for and the gear is not fed: a breaker, a contactor or the supply of the gear. Dark gear sources nothing,
// so the pair is at 0 V, and no power is drawn.

// zeroLeast is the least current in mA that a sound transmitter gives of 0 V: its offset and noise reach into NE 43's failure.
// Chosen: 4 % of span below 4 mA, as the pair's level is allowed; at half, noise makes a failed transmitter of it.
const zeroLeast = 3.3

// contactNats is how far a contact is believed that nothing else speaks for or against, in nats. Chosen: one in twenty hangs.
const contactNats = 3.0

func weighCircuitOff(m *memory) weight {
	w := weight{motion: m.swapped(zeroLeast) + m.views.windUp, level: within(m.restLevel(), -4, shortHigh, shortEdge) + m.powerOff()}
	if m.has.Has(Contact) && m.contact && !m.has.Has(Power) {
		w.level -= contactNats // the contact says that it is fed, and nothing speaks against it
	}
	return w
}

// notFed is the weight of a contact that says that the gear is not fed, for what speaks of lit gear, where no power says
// otherwise. Chosen: as much as the contact is believed the other way round.
func (m *memory) notFed() float64 {
	if m.has.Has(Contact) && !m.contact && !m.has.Has(Power) {
		return -contactNats
	}
	return 0
}
