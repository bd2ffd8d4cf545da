package loops

// The interface does not sink: it is dead or has far more gear than it can hold, it has lost its command and takes it for
// full, or the pair is open on its own side of the transmitter. The pair stands at its open-circuit voltage (10..15 V), the
// light is full and the command winds down. At full command it looks healthy.

const (
	openLow  = 98.0  // percent: gear of 10 V open-circuit voltage, less the transmitter's error
	openHigh = 155.0 // percent: 15 V and the transmitter's error
)

// unlimitedSignal is the weight of the feedback's signal where the pair may stand above 10.6 V, which drives a transmitter without
// limit above 21 mA.
func (m *memory) unlimitedSignal() float64 {
	if m.loopFailsHigh() && m.feedback < openHigh {
		return 0
	}
	return m.views.alive
}

func weighNotDimming(m *memory) weight {
	f := m.views.rests
	if m.feedback > openLow && m.rest.level > openLow {
		f = 0 // above full the voltage may wander with the gear
	}
	return weight{
		motion: f + m.unlimitedSignal() + m.views.windUp,
		level:  within(m.restLevel(), openLow, openHigh, 1.5) + m.views.lightFull,
	}
}
