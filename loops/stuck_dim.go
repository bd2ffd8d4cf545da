package loops

// The interface holds the pair at its floor whatever the command says: its output stage has failed, or it no longer sees
// its command (input lost, or set for the other kind of signal) and takes it for the minimum. Light is at minimum and the
// command winds up. A short through some ohms rests there too, unless the command has been below it.

const (
	floorLow  = 4.8  // percent: floors are 0.3..0.7 V, and those of 1..10 V interfaces about 1 V (common practice, no source)
	floorHigh = 14.5 // percent: from here on it is called stuck in the middle
)

func weighStuckDim(m *memory) weight {
	return weight{
		motion: m.views.rests + m.views.alive + m.views.windUp,
		level:  within(m.restLevel(), floorLow, floorHigh, 1) + m.views.lightPair,
	}
}
