package loops

// The interface, or the command that it sees, stands still: the pair rests somewhere between floor and open-circuit
// voltage, with the noise that it always had, and does not answer to the command. The light agrees with the pair.

func weighStuckMid(m *memory) weight {
	return weight{
		motion: m.views.rests + m.views.alive + m.views.windUp,
		level:  within(m.restLevel(), floorHigh, 98, 1.5) + m.views.lightPair,
	}
}
