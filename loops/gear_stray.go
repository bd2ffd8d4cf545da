package loops

// Part of the gear does not dim: it was replaced by a kind that can not, or sits beyond a break in the pair, where nothing
// sinks its current and it gives full light. Feedback and command agree, since the near gear does; the power is too high
// the lower the level is, and right at full. Source: class "split zone" of any solution of the circuit, a conductor broken
// between two gears.

// strayDims is by how much the light's power has to be down from full until stray gear shows, and strayShows the least rise
// that is taken for it. Chosen: twice the usual error of a block and more; nearer to full the two pictures are one.
const (
	strayDims  = 0.08
	strayShows = 0.015
)

// weighGearStray is the weight of a block: any share of the gear from least to all of it may stand at full.
func weighGearStray(least float64, d *deviation) float64 {
	dimmed := 1 - d.light
	if dimmed < strayDims {
		return fit(d.off, d.usual)
	}
	return within(d.off, max(strayShows, least*dimmed), dimmed, d.usual)
}
