package loops

// Lamps, gear or a branch circuit of the zone are without light: the rest goes on dimming, so the power is low in the same
// proportion at every level. Feedback and command show nothing, as long as the dark gear leaves the pair alone.
// Source: class "split zone" of any solution of the circuit with part of the gear not fed.

// weighLampsOut is the weight of a block whose power is off by r, where light is the healthy power at its level and usual
// the usual error, all in shares of full power: any loss from least of the gear to all of it is as good.
func weighLampsOut(least, r, light, usual float64) float64 {
	return within(r, -light, -least*light, usual)
}
