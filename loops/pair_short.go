package loops

// The two conductors of the pair touch, directly or through earth: the gear's small currents can hold no voltage, the
// interface sees 0 V (a little below where the conductors are exchanged), all gear goes to minimum light and the command
// winds up. Source: section "dead low" of any solution of the circuit; IEC 60929 Annex E: 1 V and below is minimum light.

const (
	shortLow  = -10.0 // percent: exchanged conductors read -0.6..-0.7 V on an interface with a reverse diode, less the transmitter's offset
	shortHigh = 3.0   // percent: some ohms times the current of 40 gear leave 0.2 V
	shortEdge = 1.0   // percent: usual offset of a transmitter near its zero
)

// What it takes to believe that conductors are exchanged: for a reading below what a transmitter's offset makes of 0 V, and
// for one that stands still at the end of its range. Chosen: exchanged conductors come with work on the pair and are rare.
const (
	belowZero     = -4.0 // percent
	belowNats     = -1.5
	standingStill = -3.0
)

// swappedFor is the weight of believing in exchanged conductors, as far as the reading asks for it.
func (m *memory) swappedFor() float64 {
	switch {
	case m.still.repeated && m.clipped() && m.restLevel() < -1:
		return standingStill
	case m.restLevel() < belowZero, m.loopFailsLow():
		return belowNats
	}
	return 0
}

func weighPairShort(m *memory) weight {
	w := weight{
		motion: m.swapped(2.5) + m.views.windUp,
		level:  within(m.restLevel(), shortLow, shortHigh, shortEdge) + m.powerMinimum(),
	}
	w.level += m.swappedFor() + m.notFed()
	return w
}

// swapped is the weight of the feedback's signal where exchanged conductors may drive its current below the failure limit:
// least is the current that is reached so.
func (m *memory) swapped(least float64) float64 {
	if m.loopFailsLow() && m.milliamps > least {
		return 0
	}
	return m.views.alive
}
