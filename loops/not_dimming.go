package loops

// The interface does not sink: it is dead or has far more gear than it can hold, it has lost its command and takes it for
// full, or the pair is open on its own side of the transmitter. The pair stands at its open-circuit voltage (10..15 V), the
// light is full and the command winds down. At full command it looks healthy.

const (
	openLow  = 98.0  // percent: gear of 10 V open-circuit voltage, less the transmitter's error
	openHigh = 155.0 // percent: 15 V and the transmitter's error
)

func weighNotDimming(m *memory) weight {
	f := m.views.rests
	if m.feedback > openLow && m.rest.level > openLow {
		f = 0 // above full the voltage may wander with the gear
	}
	signal := m.views.alive
	if m.loopFailsHigh() && m.feedback < openHigh {
		signal = 0 // a pair above 10.6 V drives a transmitter without limit above 21 mA
	}
	return weight{
		motion: f + signal + m.views.windUp,
		level:  within(m.restLevel(), openLow, openHigh, 1.5) + m.views.lightFull,
	}
}
