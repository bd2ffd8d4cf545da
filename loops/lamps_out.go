package loops

// Lamps, gear or a branch circuit of the zone are without light: the rest goes on dimming, so the power is low in the same
// proportion at every level. Feedback and command show nothing, as long as the dark gear leaves the pair alone.
// Source: class "split zone" of any solution of the circuit with part of the gear not fed.

// weighLampsOut is the weight of a block: any loss from least of the gear to all of it is as good.
func weighLampsOut(least float64, d *deviation) float64 {
	return within(d.off, -d.light, -least*d.light, d.usual)
}
