package loops

// gearCurve is the power of a zone by the level of light, as it was while the zone was healthy: a point for every twentieth
// of the range in which the zone has been, straight lines between. It is learned block by block, at a pace at which a month
// of sound change (warmth, ageing, the meter) can be followed and a loss of lamps can not hide: while the power is off the
// curve, nothing is learned. What is lost in steps of less than half a ballast, or less than 2 %, can not be told from a
// meter that drifts, and is followed.
type gearCurve struct {
	scale  float64 // watts that 1 stands for; 0 where nothing was learned
	points [curveBins]gearPoint
	off    mean // usual distance of a block from the curve, in shares of full
}

// gearPoint is the middle of the blocks in one twentieth of the range.
type gearPoint struct {
	n     float32 // blocks that it stands for
	level float32 // percent
	share float32 // power in shares of scale
	apart float32 // feedback minus command, percent of level
}

const (
	curveBins = 21
	binWidth  = 5.0

	// curveSlope is the power that a percent of light takes where the zone has not been, and curveSlopeOff by how much that
	// may be off. Source: the slope of powerCurve; other gear has 0.5 to 1.2 of it (common practice, no source).
	curveSlope    = 0.00875
	curveSlopeOff = 0.004

	// curveBend is by how much the slope may change between two points. Chosen: at double, the ends of the range, where
	// curves bend, would be blind to one ballast in twenty.
	curveBend = 0.003

	// curveUnknown is by how much the power may be off where nothing was learned.
	curveUnknown = 0.25

	// offUnknown is the usual distance of a block from the curve until it is known, believed in like an hour of blocks;
	// offLeast the least that it is taken for. Measured: 0.3 to 0.6 % in healthy zones of recorded stores.
	offUnknown  = 0.008
	offBelieved = 12.0
	offLeast    = 0.004

	// curveMemory is how many blocks a point goes back. Chosen: 40 hours at one level, some days to two weeks of opening
	// hours. At half a loss that is shared out over a week is followed, at double so is not a season's warmth.
	curveMemory = 600.0
)

// at gives the power to expect at a level in shares of scale, its variance, and how far feedback and command are apart there.
func (c *gearCurve) at(level float64) (share, doubt, apart float64) {
	// The point of a twentieth lies within it: only the level's own may be on either side.
	own := max(0, min(curveBins-1, int(level/binWidth+0.5)))
	below, above := own, own
	if float64(c.points[own].level) <= level {
		above++
	} else {
		below--
	}
	for below >= 0 && c.points[below].n == 0 {
		below--
	}
	for above < curveBins && c.points[above].n == 0 {
		above++
	}
	switch {
	case below < 0 && above == curveBins:
		return powerCurve(level), curveUnknown * curveUnknown, 0
	case below < 0:
		return c.beyond(above, level)
	case above == curveBins:
		return c.beyond(below, level)
	}
	a, b := &c.points[below], &c.points[above]
	gap := float64(b.level - a.level)
	p := (level - float64(a.level)) / gap
	q := 1 - p
	bend := curveBend * gap * p * q
	doubt = q*q*c.doubt(a) + p*p*c.doubt(b) + bend*bend
	return q*float64(a.share) + p*float64(b.share), doubt, q*float64(a.apart) + p*float64(b.apart)
}

// beyond goes on from the last point that is known.
func (c *gearCurve) beyond(i int, level float64) (share, doubt, apart float64) {
	p := &c.points[i]
	away := level - float64(p.level)
	off := curveSlopeOff * away
	return max(0.02, float64(p.share)+curveSlope*away), c.doubt(p) + off*off, float64(p.apart)
}

// doubt is the variance of a point: that of one block, until its blocks go back farther than their errors last.
func (c *gearCurve) doubt(p *gearPoint) float64 {
	n := float64(p.n)
	return c.spread() * c.spread() * max(1, 1/n) * min(1, wanderBlocks/n)
}

func (c *gearCurve) share(level float64) float64 {
	share, _, _ := c.at(level)
	return share
}

// full is the power at full light, in shares of scale.
func (c *gearCurve) full() float64 { return max(0.2, c.share(100)) }

// spread is the usual distance of a block from the curve, in shares of full.
func (c *gearCurve) spread() float64 {
	return max(offLeast, (c.off.value()*c.off.n()+offUnknown*offBelieved)/(c.off.n()+offBelieved))
}

// learn takes in a block of a healthy zone that stands for a share of a whole one.
func (c *gearCurve) learn(b *block, share float64) {
	if c.scale == 0 {
		c.scale = b.power / powerCurve(b.level)
	}
	p := &c.points[max(0, min(curveBins-1, int(b.level/binWidth+0.5)))]
	p.n = min(curveMemory, p.n+float32(share))
	gain := float32(share) / p.n
	p.level += gain * (float32(b.level) - p.level)
	p.share += gain * (float32(b.power/c.scale) - p.share)
	if !b.atStop || p.n < 2 {
		p.apart += gain * (float32(b.level-b.command) - p.apart)
	}
}

// shift moves the whole curve: so many shares of full more at every level, and so many times more. What it comes from is a
// guess: the points are to be learned anew soon.
func (c *gearCurve) shift(add, times float64) {
	full := c.full()
	for i := range c.points {
		p := &c.points[i]
		p.share = float32(float64(p.share)*(1+times) + add*full)
		p.n = min(p.n, adopted)
	}
}

// adopted is how many blocks a point of a shifted curve stands for.
const adopted = 8
