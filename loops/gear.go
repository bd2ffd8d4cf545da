package loops

import (
	"math"
	"strconv"
)

// Power against light, over hours: the track of gear-stray and lamps-out.
//
// Both are told by the power that goes with a level of light, as this zone drew it while it was healthy (gear_curve.go). The
// errors of power are slow: the supply's voltage, the warmth of the gear and the meter hold it off by the same amount for
// half an hour. So samples are gathered into blocks of some minutes in which the level stays where it is, a block says what
// its mean says, and the usual error of a block is counted as if it came to stay for half an hour.
//
// What is not a fault of the gear competes too, though no finding is made of it: another load on the same meter adds as much
// at every level, new lamps draw more in proportion. Whichever fits the levels that were seen since the power left its
// place wins; what stays so for a day is taken into the curve.
//
// Where the feedback and the command do not agree, the level itself is in doubt: then the block says no more than the view
// that fits the healthy curve better. While the loop has a finding, its power says nothing about the gear.

const (
	// blockSeconds is the length of a block. Chosen: gross losses are named with the fourth, in a quarter of an hour; at
	// half, a lift that passes under a circuit is reported, at double half an hour is needed.
	blockSeconds = 240.0

	// wanderBlocks is for how many blocks an error of power stays the same: half an hour.
	// Measured: in healthy zones of recorded stores half of an error is left after 10 to 20 minutes, nothing after an hour.
	wanderBlocks = 7.5

	// doubtBlocks is how many blocks the curve's own doubt is spread over, since it is the same in all of them.
	// Chosen: about as many as it takes to name a small loss.
	doubtBlocks = 12.0

	// blockNats is the most that one block says.
	blockNats = mostNatsSlow

	// gearFade is what every explanation loses with a block until it is named, less where the block says little: where its
	// usual error is more than fadeUsual. Chosen: a tenth of what a ballast in thirty says; at ten times that, it would
	// not be found.
	gearFade  = 0.1
	fadeUsual = 0.02

	// speaksNats is what the newest block has to say for an explanation that is named: what was true yesterday evening is
	// not named in the morning.
	speaksNats = 0.25

	// gearTopNats bounds the sums, and with them the time that proof of repair takes.
	gearTopNats = 40.0

	// steadyBand is by how much the level may differ from that of the last minute, in percent, and more where samples lie
	// farther apart; blockBand from that of its block. Power trails light by seconds to a minute (common practice, no
	// source).
	steadyBand = 3.0
	blockBand  = 4.0
	steadyTime = 60.0 // seconds

	// warmSeconds is how long gear draws another power than later, from switching on.
	// Source: fluorescent lamps reach their light and power within 5 to 15 minutes (common practice, no source).
	warmSeconds = 600.0

	// meterSeconds is how late a meter may be: some give means of some minutes. What such a meter would make of the way that
	// the level has come counts lateShare. Chosen: at 1 a meter that is a quarter of an hour late looks like stray gear
	// whenever the level falls; at 0 zones under clouds would not be judged.
	meterSeconds = 600.0
	lateShare    = 0.25

	// leastGear is the least share of the gear that is looked for. Half of it is what the zone may change by itself.
	// Source: new lamps and other gear of the same kind lower power by less than 2 % (common practice, no source).
	leastGear = 0.04

	// leastRise is the least rise of power, in shares of full, that is taken for new lamps or another load.
	leastRise = 0.03

	// loadUsual is the usual size of what other loads and new lamps add. Source: up to 10 % (common practice, no source).
	loadUsual = 0.06

	// loadNats is what another load that went away owes against lamps that failed: gear fails every year somewhere in a
	// zone, few zones have other loads on their meter. newLampNats is what stray gear owes against new lamps and loads.
	loadNats    = 4.0
	newLampNats = 1.5

	// adoptSeconds is how long a power that is off for a sound reason stays until it is the zone's own: a sign that is
	// lit every evening is not.
	adoptSeconds = 24 * 3600.0
)

// gear is what a zone remembers of its power.
type gear struct {
	curve gearCurve
	block block

	lampsOut, stray, raised bet
	low, high               spell

	named   bool // a finding stood at the last block
	loaded  bool // the power that is up was told to be no stray gear's
	offSide int8 // -1: the newest samples were below the curve by more than its play, 1: above

	doubtful mean // distance of blocks from the curve while it is in doubt what they come from

	slowLevel, slowPower float64 // of the last minute
	slowestLevel         float64 // of the last ten minutes

	offSince int64      // since when the newest samples have been on offSide
	size     float64    // share of the gear as the winning explanation has it
	sizes    [2]float64 // the same of lamps out and of stray gear
	expected float64    // watts to expect at the level of the last block
	drawn    float64    // watts that it drew
}

// block gathers samples of one level.
type block struct {
	from                  int64
	seconds, n            float64
	level, command, power float64 // means
	atStop                bool    // the command was at an end stop: it says nothing about the level
}

// bet is the evidence of one explanation against the healthy curve.
type bet struct {
	total float64
	since int64
	now   float64 // what the last block said
}

// spell holds what is needed to tell explanations apart by the levels that were seen while the power was off its curve:
// sums over blocks of the deviation r and the light's share of power c, weighted by how much each block says.
type spell struct{ w, r, c, rc, cc, rr float64 }

// spellMost is how many blocks' weight a spell remembers.
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

// ofController are the explanations of the loop's track that leave pair, interface and feedback sound: under them, too, the
// light is where the feedback says.
var ofController = func() (list [loopers]bool) {
	for i := range list {
		list[i] = Catalogue[explanations[i].id].Part == "controller"
	}
	return list
}()

// shines says whether the light is where feedback and command say: nothing speaks against pair, interface and feedback.
func (z *zone) shines() bool {
	m := &z.memory
	if !m.lit || math.Abs(m.residual) > 2.5*m.spread {
		return false
	}
	for i := range loopers {
		if z.sums.total[i] > calmNats && !ofController[i] {
			return false
		}
	}
	return true
}

// weighGear takes the newest sample of a lit zone.
func (z *zone) weighGear() {
	m := &z.memory
	g := &m.gear
	if !m.set.Has.Has(Power) {
		return
	}
	if !z.shines() {
		g.block, g.offSide = block{}, 0
		return
	}
	if !m.has.Has(Power) || !g.steady(m) {
		return
	}
	if g.block.n > 0 && math.Abs(m.feedback-g.block.level) > blockBand {
		z.closeBlock()
	}
	g.block.add(m)
	if g.block.seconds >= blockSeconds-0.5*m.dt {
		z.closeBlock()
	}
}

// steady says whether power and light of the newest sample belong together: the level and the power are those of the last
// minute, and the gear is warm.
func (g *gear) steady(m *memory) bool {
	level, power := g.slowLevel, g.slowPower
	if m.gap {
		g.slowLevel, g.slowPower, g.slowestLevel = m.feedback, m.power, m.feedback
		g.block, g.offSide = block{}, 0
		return false
	}
	g.slowLevel = approach(level, m.feedback, m.dt, steadyTime)
	g.slowPower = approach(power, m.power, m.dt, steadyTime)
	g.slowestLevel = approach(g.slowestLevel, m.feedback, m.dt, meterSeconds)
	if m.litSeconds < max(warmSeconds, m.set.SettleSeconds) || m.feedback < 8 || m.feedback > 130 || m.power <= noWatts {
		return false
	}
	moved := math.Abs(m.feedback - level)
	if moved > steadyBand*max(1, m.dt/steadyTime) {
		return false
	}
	g.notice(m)
	full := max(m.power, power, g.curve.scale)
	return math.Abs(m.power-power) <= (0.05+0.01*moved)*full
}

// notice keeps since when the power has been off its curve: the onset of what may come of it.
func (g *gear) notice(m *memory) {
	if g.curve.scale == 0 {
		return
	}
	share, doubt, _ := g.curve.at(m.feedback)
	r := (m.power/g.curve.scale - share) / g.curve.full()
	side := int8(0)
	if play := max(leastGear/2, 2*math.Sqrt(doubt)); math.Abs(r) > play {
		side = int8(math.Copysign(1, r))
	}
	if side != g.offSide {
		g.offSide, g.offSince = side, m.at-int64(m.dt*1e9)
	}
}

func (b *block) add(m *memory) {
	if b.n == 0 {
		b.from = m.at - int64(m.dt*1e9)
	}
	b.n++
	b.seconds += min(m.dt, blockSeconds)
	b.level += (m.feedback - b.level) / b.n
	b.command += (m.command - b.command) / b.n
	b.power += (m.power - b.power) / b.n
	b.atStop = b.atStop || m.command > topStop || m.command < bottomStop
}

// closeBlock weighs the block that is complete, and learns from it where nothing speaks against it.
func (z *zone) closeBlock() {
	m := &z.memory
	g := &m.gear
	b := g.block
	g.block = block{}
	share := min(1, b.seconds/blockSeconds)
	c := &g.curve
	if c.scale == 0 {
		c.learn(&b, 1)
		return
	}
	at, doubt, apart := c.at(b.level)
	full := c.full()
	away := b.level - b.command - apart
	if b.atStop {
		away = 0
	}
	r := nearer(b.power/c.scale-at, b.power/c.scale-c.share(b.level-away)) / full
	if way := math.Abs(b.level - g.slowestLevel); way > blockBand && math.Abs(r) < 2*curveSlope*way/full {
		share *= lateShare
	}
	light := at / full
	usual := math.Sqrt(wanderBlocks*c.spread()*c.spread() + doubtBlocks*doubt/(full*full))
	if open := z.open[gearTrack] >= 0; open != g.named {
		g.doubtful = mean{}
		if g.named = open; !open {
			g.lampsOut, g.stray, g.raised, g.low, g.high = bet{}, bet{}, bet{}, spell{}, spell{}
		}
	}
	g.weigh(z, &b, r, light, usual, share)
	g.expected, g.drawn = at*c.scale, b.power
	z.nameGear(&b, r, away)
	if usual < 0.06 {
		z.tested[LampsOut] = m.at
		if light < 0.8 {
			z.tested[GearStray] = m.at
		}
	}
	if z.open[gearTrack] >= 0 {
		return
	}
	doubted := max(g.lampsOut.total, g.stray.total, g.raised.total)
	if doubt < 2*c.spread()*c.spread()+0.005*0.005 {
		g.usual(math.Abs(r), doubted)
	}
	fits := math.Abs(r) < max(leastGear/2, 3*math.Sqrt(doubt)/full)
	if fits && doubted < calmNats {
		c.learn(&b, share)
	}
}

// usual learns how far a block is off the curve in a healthy zone. What is in doubt is learned when it has gone away by
// itself: it was another load then, or the weather.
func (g *gear) usual(off, doubted float64) {
	c := &g.curve
	switch {
	case doubted >= 1.5*calmNats:
		g.doubtful.add(off, 500)
		return
	case doubted < calmNats && g.doubtful.n > 0:
		n := min(500, c.off.n+g.doubtful.n)
		c.off.value += (1.25*g.doubtful.value - c.off.value) * g.doubtful.n / (c.off.n + g.doubtful.n)
		c.off.n, g.doubtful = n, mean{}
	}
	c.off.add(1.25*min(off, 2.5*c.spread()), 500)
}

// nearer gives the smaller of two deviations, 0 where they do not agree which way it is.
func nearer(a, b float64) float64 {
	switch {
	case a*b <= 0:
		return 0
	case math.Abs(a) < math.Abs(b):
		return a
	}
	return b
}

// weigh adds what a block says to the sums.
func (g *gear) weigh(z *zone, b *block, r, light, usual, share float64) {
	sound := fit(r, usual)
	g.add(z, &g.lampsOut, b, -1, weighLampsOut(z.leastOf(), r, light, usual)-sound, usual, share)
	g.add(z, &g.stray, b, 1, weighGearStray(z.leastOf(), r, light, usual)-sound, usual, share)
	g.add(z, &g.raised, b, 1, fit(min(0, r-leastRise), usual)-sound, usual, share)
	w := share / (usual * usual)
	if g.lampsOut.total > 0 {
		g.low.add(w, r, light)
	} else {
		g.low = spell{}
	}
	if g.stray.total > 0 || g.raised.total > 0 {
		g.high.add(w, r, light)
	} else {
		g.high = spell{}
	}
}

func (g *gear) add(z *zone, to *bet, b *block, side int8, nats, usual, share float64) {
	before := to.total
	to.now = nats
	if z.open[gearTrack] < 0 {
		nats -= gearFade * min(1, fadeUsual/usual)
	}
	to.total = max(0, min(gearTopNats, before+bound(nats, blockNats)*share))
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
func (z *zone) nameGear(b *block, r, away float64) {
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
		s.total[at+drift], s.since[at+drift] = max(0, s.total[top]+g.driftFor(b, r, away)), s.since[top]
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
func (g *gear) driftFor(b *block, r, away float64) float64 {
	c := &g.curve
	slope := (c.share(b.level+8) - c.share(b.level-8)) / 16 / c.full()
	if slope < 0.003 {
		return worst
	}
	off := -r / slope
	if math.Abs(off) > driftMost {
		return worst
	}
	return fit(off-away, spreadUnknown) - 1
}

// words gives the power of the last block, what the zone used to draw, and how much of its gear the difference is.
func (g *gear) words(m *memory) (watts, usual, part string) {
	part = "about " + number(100*g.size, 0) + " % of its gear"
	if n := m.set.Ballasts; n > 0 {
		k := max(1, math.Round(g.size*float64(n)))
		part = "about " + number(k, 0) + " of its " + strconv.Itoa(n) + " ballasts"
	}
	return number(g.drawn, 0), number(g.expected, 0), part
}
