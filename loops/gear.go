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

	// knowsGear is the usual error of a block up to which it puts the gear to the test. Chosen: a fifth of the gear would show.
	knowsGear = 0.06
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
	level    float64    // of the last block
	expected float64    // watts to expect there
	drawn    float64    // watts that it drew
}

// block gathers samples of one level.
type block struct {
	from                  int64
	seconds, n            float64
	level, command, power float64 // means
	earlier               float32 // mean level of two samples before: that of a power that comes late
	atStop                bool    // the command was at an end stop: it says nothing about the level
}

// bet is the evidence of one explanation against the healthy curve.
type bet struct {
	total float64
	since int64
	now   float64 // what the last block said
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
	g.block.add(m, z.skew.past[2].feedback)
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
	part := approach(0, 1, m.dt, steadyTime)
	g.slowLevel += part * (m.feedback - level)
	g.slowPower += part * (m.power - power)
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

func (b *block) add(m *memory, earlier float32) {
	if b.n == 0 {
		b.from = m.at - int64(m.dt*1e9)
	}
	b.n++
	b.seconds += min(m.dt, blockSeconds)
	b.level += (m.feedback - b.level) / b.n
	b.earlier += (earlier - b.earlier) / float32(b.n)
	b.command += (m.command - b.command) / b.n
	b.power += (m.power - b.power) / b.n
	b.atStop = b.atStop || m.command > topStop || m.command < bottomStop
}

// rested says whether the level had been there for two samples: only then is it known that the power is that of the level.
func (b *block) rested() bool { return math.Abs(b.level-float64(b.earlier)) < steadyBand/2 }

// deviation is what a block says about the curve; shares are of full power.
type deviation struct {
	off   float64 // power less that of the curve
	light float64 // power of the curve
	usual float64 // how far off is usual
	doubt float64 // how far off the curve itself may be
	part  float64 // how much of a whole block it counts
	away  float64 // percent by which feedback and command have parted since the curve was learned
}

// closeBlock weighs the block that is complete, and learns from it where nothing speaks against it.
func (z *zone) closeBlock() {
	g := &z.memory.gear
	b := g.block
	g.block = block{}
	if g.curve.scale == 0 {
		if b.rested() {
			g.curve.learn(&b, 1)
		}
		return
	}
	if open := z.open[gearTrack] >= 0; open != g.named {
		g.doubtful = mean{}
		if g.named = open; !open {
			g.lampsOut, g.stray, g.raised, g.low, g.high = bet{}, bet{}, bet{}, spell{}, spell{}
		}
	}
	d := g.deviates(&b)
	g.weigh(z, &b, &d)
	z.nameGear(&b, &d)
	if d.usual < knowsGear {
		z.test(LampsOut)
		if d.light < 1-strayDims {
			z.test(GearStray)
		}
	}
	if z.open[gearTrack] < 0 {
		g.learn(&b, &d)
	}
}

// deviates works out what a block says.
func (g *gear) deviates(b *block) deviation {
	c := &g.curve
	share, doubt, apart := c.at(b.level)
	full, spread := c.full(), c.spread()
	d := deviation{light: share / full, doubt: math.Sqrt(doubt) / full, part: min(1, b.seconds/blockSeconds)}
	if !b.atStop {
		d.away = b.level - b.command - apart
	}
	power := b.power / c.scale
	d.off = nearer(power-share, power-c.share(b.level-d.away)) / full
	d.usual = math.Sqrt(wanderBlocks*spread*spread + doubtBlocks*d.doubt*d.doubt)
	if way := math.Abs(b.level - g.slowestLevel); way > blockBand && math.Abs(d.off) < 2*curveSlope*way/full {
		d.part *= lateShare
	} else if late := (power - c.share(float64(b.earlier))) / full; math.Abs(late) < math.Abs(d.off)/2 {
		d.part *= lateShare
	}
	g.level, g.expected, g.drawn = b.level, share*c.scale, b.power
	return d
}

// learn takes in a block of a zone that has no finding of its gear.
func (g *gear) learn(b *block, d *deviation) {
	c := &g.curve
	doubted := max(g.lampsOut.total, g.stray.total, g.raised.total)
	if spread := c.spread(); d.doubt*d.doubt < 2*spread*spread+0.005*0.005 {
		g.usual(math.Abs(d.off), doubted)
	}
	if math.Abs(d.off) < max(leastGear/2, 3*d.doubt) && doubted < calmNats && b.rested() {
		c.learn(b, d.part)
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
	case doubted < calmNats && g.doubtful.n() > 0:
		n := min(500, c.off.count+g.doubtful.count)
		c.off.middle += (1.25*g.doubtful.middle - c.off.middle) * g.doubtful.count / (c.off.count + g.doubtful.count)
		c.off.count, g.doubtful = n, mean{}
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

// rewind keeps what is remembered of times from lying after a clock that was set back.
func (g *gear) rewind(at int64) {
	for _, b := range [...]*bet{&g.lampsOut, &g.stray, &g.raised} {
		b.since = min(b.since, at)
	}
	g.offSince, g.block.from = min(g.offSince, at), min(g.block.from, at)
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
