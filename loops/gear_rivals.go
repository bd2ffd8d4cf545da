package loops

import "math"

// What competes on the gear's track, and how it is told apart: by the levels that were seen while the power was off its
// curve. Lamps that are out take from the power in proportion, stray gear adds to it by what the rest has dimmed, another
// load adds or takes as much at every level, new lamps add in proportion.

const (
	// leastRise is the least rise of power, in shares of full, that is taken for new lamps or another load.
	leastRise = 0.03

	// loadUsual is the usual size of what other loads and new lamps add. Source: up to 10 % (common practice, no source).
	loadUsual = 0.06

	// loadNats is what another load that went away owes against lamps that failed: gear fails every year somewhere in a
	// zone, few zones have other loads on their meter. newLampNats is what stray gear owes against new lamps and loads.
	loadNats    = 4.0
	newLampNats = 1.5

	// speaksNats is what the newest block has to say for an explanation that is named: what was true yesterday evening is
	// not named in the morning.
	speaksNats = 0.25

	// adoptSeconds is how long a power that is off for a sound reason stays until it is the zone's own: a sign that is
	// lit every evening is not.
	adoptSeconds = 24 * 3600.0
)

// spell holds what is needed to tell explanations apart by the levels that were seen while the power was off its curve:
// sums over blocks of the deviation r and the light's share of power c, weighted by how much each block says.
type spell struct{ w, r, c, rc, cc, rr float64 }

// spellKeep is what a spell keeps of what it knew with each block: it goes back some hours. Chosen: half would not see a
// morning and its noon together, double holds on to the size that a growing loss had.
const spellKeep = 0.98

func (s *spell) add(w, r, c float64) {
	s.w = s.w*spellKeep + w
	s.r = s.r*spellKeep + w*r
	s.c = s.c*spellKeep + w*c
	s.rc = s.rc*spellKeep + w*r*c
	s.cc = s.cc*spellKeep + w*c*c
	s.rr = s.rr*spellKeep + w*r*r
}

// of gives how well r = size*(a + b*c) fits, in nats, with the size that fits best between two bounds.
func (s *spell) of(a, b, least, most float64) (size, nats float64) {
	xy := a*s.r + b*s.rc
	xx := a*a*s.w + 2*a*b*s.c + b*b*s.cc
	size = least
	if xx > 0 {
		size = max(least, min(most, xy/xx))
	}
	return size, -(s.rr - 2*size*xy + size*size*xx) / 2
}

// weigh adds what a block says to the sums.
func (g *gear) weigh(z *zone, b *block, d *deviation) {
	sound, least := fit(d.off, d.usual), z.leastOf()
	g.add(z, &g.lampsOut, b, d, -1, weighLampsOut(least, d)-sound)
	g.add(z, &g.stray, b, d, 1, weighGearStray(least, d)-sound)
	g.add(z, &g.raised, b, d, 1, fit(min(0, d.off-leastRise), d.usual)-sound)
	w := d.part / (d.usual * d.usual)
	if g.lampsOut.total > 0 {
		g.low.add(w, d.off, d.light)
	} else {
		g.low = spell{}
	}
	if g.stray.total > 0 || g.raised.total > 0 {
		g.high.add(w, d.off, d.light)
	} else {
		g.high = spell{}
	}
}

// add adds to the evidence of an explanation that has the power on one side of the curve.
func (g *gear) add(z *zone, to *bet, b *block, d *deviation, side int8, nats float64) {
	before := to.total
	to.now = nats
	if z.open[gearTrack] < 0 {
		nats -= gearFade * min(1, fadeUsual/d.usual)
	}
	to.total = max(0, min(gearTopNats, before+bound(nats, blockNats)*d.part))
	if before == 0 && to.total > 0 {
		to.since = b.from
		if g.offSide == side {
			to.since = g.offSince
		}
	}
}

// leastOf is the least share of the gear that is looked for: most of one ballast, where their number is known. Where a
// finding stands, a third of what it was named for: less is a repair.
func (z *zone) leastOf() float64 {
	least := leastGear
	if n := z.memory.set.Ballasts; n > 0 {
		least = max(least, 0.8/float64(n))
	}
	if z.open[gearTrack] >= 0 {
		least = max(least, z.memory.gear.size/3)
	}
	return least
}

// nameGear says what the power is named for, and takes into the curve what is no fault.
func (z *zone) nameGear(b *block, d *deviation) {
	g := &z.memory.gear
	at := span[gearTrack].from
	const lamps, stray, drift = 0, 1, 2
	s := &z.sums
	s.total[at+lamps], s.since[at+lamps] = g.lampsOut.total, g.lampsOut.since
	s.total[at+stray], s.since[at+stray] = g.stray.total, g.stray.since
	s.total[at+drift] = 0
	if z.open[gearTrack] < 0 {
		z.rivals(at+lamps, at+stray)
	}
	top := at + lamps
	if s.total[at+stray] > s.total[top] {
		top = at + stray
	}
	g.size = g.sizes[top-at]
	if s.total[top] > 0 {
		s.total[at+drift], s.since[at+drift] = max(0, s.total[top]+g.driftFor(b, d)), s.since[top]
	}
}

// rivals keeps an explanation below the threshold while one that is no fault fits as well, and takes that one into the curve
// when it has stood for a day.
func (z *zone) rivals(lamps, stray int) {
	g, s := &z.memory.gear, &z.sums
	short := z.h - explanations[lamps].prior - 1
	if g.lampsOut.now < speaksNats {
		s.total[lamps] = min(s.total[lamps], short)
	}
	if g.stray.now < speaksNats {
		s.total[stray] = min(s.total[stray], short)
	}
	if g.lampsOut.total > 0 {
		size, as := g.low.of(0, -1, 0, 1)
		load, asLoad := g.low.of(-1, 0, 0, 1)
		g.sizes[0] = size
		if asLoad+fit(load, loadUsual)-loadNats > as {
			s.total[lamps] = min(s.total[lamps], short)
			z.adopt(&g.lampsOut, -load, 0)
		}
	}
	if g.stray.total > 0 || g.raised.total > 0 {
		size, as := g.high.of(1, -1, 0, 1)
		load, asLoad := g.high.of(1, 0, 0, 1)
		relamped, asNew := g.high.of(0, 1, 0, 1)
		asLoad, asNew = asLoad+fit(load, loadUsual), asNew+fit(relamped, loadUsual)
		if g.stray.total > 0 {
			g.sizes[1] = size
		}
		switch rival := max(asLoad, asNew); {
		case rival > as+newLampNats && asLoad > asNew:
			z.adopt(&g.raised, load, 0)
		case rival > as+newLampNats:
			z.adopt(&g.raised, 0, relamped)
		}
		if max(asLoad, asNew) > as-newLampNats {
			s.total[stray] = min(s.total[stray], short)
		}
		if g.raised.now > speaksNats {
			g.loaded = max(asLoad, asNew) > as+newLampNats
		}
		if g.loaded && g.raised.total == 0 {
			// A sign that was lit for the evening: what it looked like is gone with it.
			g.stray, g.high, g.loaded = bet{}, spell{}, false
			s.total[stray] = 0
		}
	}
}

// adopt takes a change of power that is no fault into the curve, when it has stood for a day beyond doubt.
func (z *zone) adopt(b *bet, add, times float64) {
	g := &z.memory.gear
	if b.total < z.h/2 || float64(z.memory.at-b.since)/1e9 < adoptSeconds {
		return
	}
	g.curve.shift(add, times)
	g.lampsOut, g.stray, g.raised = bet{}, bet{}, bet{}
	g.low, g.high, g.offSide = spell{}, spell{}, 0
	for i := span[gearTrack].from; i < span[gearTrack].to; i++ {
		z.sums.total[i] = 0
	}
}

// driftFor is the weight of a feedback that has drifted, against the gear: the light is not at the level that it says, and
// the command differs from it by as much.
func (g *gear) driftFor(b *block, d *deviation) float64 {
	c := &g.curve
	slope := (c.share(b.level+8) - c.share(b.level-8)) / 16 / c.full()
	if slope < 0.003 {
		return worst
	}
	off := -d.off / slope
	if math.Abs(off) > driftMost {
		return worst
	}
	return fit(off-d.away, spreadUnknown) - 1
}
