package loops

import "math"

// Nothing reaches the interface: a conductor is broken or the connector is off. The gear pulls its own side up and gives
// full light, while the interface, which sources nothing, sees 0 V, or up to 1.7 V of stray voltage where only the gray
// conductor is open. The command winds up. Only light or power tells it from a short.

// strayHigh is what the isolation of 40 gear lets through to a transmitter of 1 Mohm where only the gray conductor is open,
// percent. Source: solved circuit; isolation of 200 Mohm a terminal is assumed.
const strayHigh = 17.0

// strayNats is what a stray voltage owes: every second break is of the gray, and few zones have so many gear. Chosen.
const strayNats = 2.5

func weighPairOpen(m *memory) weight {
	level := m.restLevel()
	if m.set.TapGear {
		// Measured at the gear an open pair stands at its open-circuit voltage, as one does that nothing sinks.
		return weight{motion: m.unlimitedSignal() + m.views.windUp, level: within(level, openLow, openHigh, 1.5) + m.views.lightFull}
	}
	low, least := shortLow, 2.5
	if m.watts > 0.8 || math.IsNaN(m.watts) && level < shortLow {
		low, least = -130, -math.MaxFloat64 // exchanged on an interface without a reverse diode: minus the open-circuit voltage
	}
	f := within(level, low, shortHigh, shortEdge)
	if stray := within(level, shortHigh, strayHigh, 1) - strayNats; stray > f {
		f = stray
	}
	f += m.swappedFor() + m.notFed()
	return weight{motion: m.swapped(least) + m.views.windUp, level: f + m.views.lightFull}
}
