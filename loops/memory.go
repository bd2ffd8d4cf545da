package loops

import "math"

// memory is what a zone remembers: the newest sample, what can be said about it, and what was learned while the zone was
// healthy. Its size is fixed. Levels are percent, times seconds.
type memory struct {
	set *ZoneSettings
	tau float64 // the zone's correlation time, seconds

	at   int64
	dt   float64 // since the last sample, at most gapSeconds
	gap  bool    // the last sample is too old to say anything about the time between
	has  Channels
	seen bool

	setpoint, command, feedback, milliamps, power float64

	calling

	// The command's range over the last seconds: what the feedback may still be on its way from.
	commandLow, commandHigh float64

	residual  float64 // feedback minus what the command lets expect, 0 within its range
	expected  float64 // the middle of that
	spread    float64 // the usual size of residual
	residual0 float64 // slow mean of residual: what a drifted feedback would settle at

	movingSamples int
	placed, moved bool    // the feedback has rested while lit; with the newest sample it rests elsewhere
	place         float64 // where it rested last

	views views

	rest  rest  // where the feedback rests
	hold  rest  // where the command rests
	aim   rest  // where the setpoint rests
	still still // bit-for-bit repetition of the feedback

	lowest, highest float64 // values that the feedback kept, or went beyond, for two samples

	commandSlow float64    // the command of the last minute, smoothed: what it is rising or falling from
	control     controller // what the command does about the error

	othersLit   float64 // share of the site's other zones that are lit; 0 where none is known
	othersKnown bool

	loopSamples int // current-loop readings in failure in a row, and for how long
	loopSeconds float64
	loopSince   int64 // when the first of them was

	errorSeconds  float64 // how long setpoint and feedback have been apart
	withinSeconds float64 // how long they have been together since
	errorSide     float64 // 1: the setpoint is above, -1: below
	ceiling       limit
	floor         limit

	watts     float64 // share of full power; NaN where not known
	wattsFull float64

	learned learned
}

// learned is what was learned of a zone while it was healthy.
type learned struct {
	follow line     // feedback over command
	top    mean     // feedback at full command
	size   mean     // distance from that line
	again  [3]mean  // the same after two repetitions in a row
	repeat [3]mean  // share of samples whose feedback repeats the one before: near 0, between, near full
	noise  mean     // size of the step from one feedback to the next while nothing moves
	watts  [11]mean // power by tenth of feedback
	watt1  float64  // power at full as the powers seen let expect, 0 where none was
}

// mean is a running mean with a limited memory.
type mean struct {
	n, value float64
}

func (m *mean) add(x, most float64) {
	if m.n < most {
		m.n++
	}
	m.value += (x - m.value) / m.n
}

// rest follows a value that may stand still. It breaks when two samples in a row are off.
type rest struct {
	level   float64
	n       float64
	seconds float64
	off     int
	offAt   float64
	lowC    float64 // range of the command while it rested
	highC   float64
	broke   bool
}

// follow takes the next value; band is how far a resting value may be off.
func (r *rest) follow(x, band, dt, command float64) {
	r.broke = false
	if r.n == 0 {
		*r = rest{level: x, n: 1, lowC: command, highC: command}
		return
	}
	if math.Abs(x-r.level) <= band {
		if r.n < 200 {
			r.n++
		}
		r.level += (x - r.level) / r.n
		r.seconds += dt
		r.off = 0
		r.lowC, r.highC = math.Min(r.lowC, command), math.Max(r.highC, command)
		return
	}
	r.off++
	if r.off >= 2 {
		*r = rest{level: x, n: 1, lowC: command, highC: command, broke: true}
		if math.Abs(x-r.offAt) <= band {
			r.n = 2
		}
		return
	}
	r.offAt = x
	r.seconds += dt
}

// still counts samples that repeat the one before to the bit.
type still struct {
	last     float64
	run      float64
	before   float64 // run before the newest
	repeated bool
	any      bool
}

func (s *still) follow(x float64) {
	s.repeated = s.any && x == s.last
	s.before = s.run
	if s.repeated {
		s.run++
	} else {
		s.run = 0
	}
	s.last, s.any = x, true
}

// limit is a level that the feedback can not pass: learned while the command asks for more (a ceiling) or less (a floor).
type limit struct {
	level float64
	n     float64
	moved bool // the newest sample was beyond the old limit
}

func (l *limit) follow(x float64) {
	if l.n == 0 || math.Abs(x-l.level) > 6 {
		*l = limit{level: x, n: 1, moved: true}
		return
	}
	if l.n < 100 {
		l.n++
	}
	l.level += (x - l.level) / l.n
}

const (
	// gapSeconds is the longest time between two samples that is taken as watched, beside three cycles.
	// Chosen: a recorder or a daemon that was off for longer has seen nothing of the time between.
	gapSeconds = 60.0

	// commandLag is how long the pair and its reading may trail the command, in correlation times: 12 s of 30 s.
	// Source: lags of transmitter and scan are 0.05..2 s, of the interface's output stage up to some seconds (common
	// practice, no source). Chosen: at half, steps would be seen as errors at slow scans; double would blur 5 s polling.
	commandLag = 0.4

	// spreadUnknown is the usual size of the residual, percent of level, of a zone that was never seen healthy.
	// Source: interface 0.5..3 %, feedback 1..2 % of span (common practice, no source): together about 3.5.
	spreadUnknown = 3.0
	spreadLeast   = 1.5
	spreadMost    = 4.0

	// topUnknown is the feedback that a sound interface reaches at least at full command, percent, where it was never seen.
	// Source: 10 V less gain and offset errors of interface and transmitter (common practice, no source).
	topUnknown = 93.0

	restBand = 1.5 // percent: a resting feedback wanders no farther, or four times its noise
	holdBand = 0.7 // percent: a resting command or setpoint; resolutions met are 0.1..0.5
)

// take makes the sample the newest and works out everything that the explanations ask for.
func (m *memory) take(s *Sample) {
	m.dt = float64(s.At-m.at) / 1e9
	longest := math.Max(gapSeconds, 3*m.set.CycleSeconds)
	m.gap = !m.seen || m.dt > longest || m.dt < 0
	if m.gap {
		m.dt = 0
	}
	m.seen = true
	m.at = s.At
	m.has = s.finite()
	m.setpoint, m.command, m.feedback = s.Setpoint, s.Command, s.Feedback
	m.milliamps, m.power = s.FeedbackMilliamps, s.Power
	m.order, m.contact, m.open = s.Order, s.Contact, s.Open
}

// loop follows the current of the feedback's loop: it has failed when it was in failure for two samples and 4 s.
// Source: NAMUR NE 43 (secondary).
func (m *memory) loop() {
	if !m.loopFailsLow() && !m.loopFailsHigh() {
		m.loopSamples, m.loopSeconds = 0, 0
		return
	}
	if m.loopSamples++; m.loopSamples > 1 {
		m.loopSeconds += m.dt
		return
	}
	m.loopSince = m.at
}

// loopByLight says whether the current went out of its range as the gear was switched on: then the gear drives it.
func (m *memory) loopByLight() bool {
	const near = 2.5 // cycles: power and contact are seen a sample late
	litAt := m.at - int64(m.litSeconds*1e9)
	return m.lit && math.Abs(float64(m.loopSince-litAt))/1e9 <= near*m.set.CycleSeconds
}

// loopFailed says whether the current loop is in failure for certain.
func (m *memory) loopFailed() bool { return m.loopSamples >= 2 && m.loopSeconds >= 4 }

// settles notes where the feedback rests while the gear is lit, and whether that is another place than before: going dark
// and coming back to the same place is no move.
func (m *memory) settles(band float64) {
	m.moved = false
	if !m.lit || m.off() || m.rest.off > 0 || m.rest.n < 2 {
		return
	}
	m.moved = m.placed && math.Abs(m.rest.level-m.place) > 2*band
	m.placed, m.place = true, m.rest.level
}

// complete says whether the loop can be judged from this sample.
func (m *memory) complete() bool { return m.has.Has(Setpoint | Command | Feedback) }

// trace follows command, feedback and setpoint; only complete samples come here.
func (m *memory) trace() {
	c := m.command
	if m.gap {
		m.commandLow, m.commandHigh, m.commandSlow = c, c, c
	} else {
		m.commandSlow = approach(m.commandSlow, c, m.dt, 1.5*math.Max(m.tau, m.dt))
		m.commandLow = math.Min(c, approach(m.commandLow, c, m.dt, commandLag*m.tau))
		m.commandHigh = math.Max(c, approach(m.commandHigh, c, m.dt, commandLag*m.tau))
	}
	m.expect()
	if !m.still.any {
		m.lowest, m.highest = m.feedback, m.feedback
	} else {
		m.lowest = math.Min(m.lowest, math.Max(m.feedback, m.still.last))
		m.highest = math.Max(m.highest, math.Min(m.feedback, m.still.last))
	}
	m.still.follow(m.feedback)
	band := restBand
	if l := &m.learned; l.noise.n >= 20 {
		band = math.Min(4, math.Max(band, 4*l.noise.value))
	}
	m.rest.follow(m.feedback, band, m.dt, c)
	m.hold.follow(c, holdBand, m.dt, c)
	m.aim.follow(m.setpoint, holdBand, m.dt, c)
	m.settles(band)
	m.strays()
	m.limits()
	m.apart()
	m.control = m.controls()
}

// expect works out the residual: how far the feedback is from all that the command of the last seconds lets expect.
func (m *memory) expect() {
	l := &m.learned
	low, high := l.follow.at(m.commandLow), l.follow.at(m.commandHigh)
	m.expected = (low + high) / 2
	slop := l.follow.slop(m.command)
	low, high = low-slop, high+slop
	// Near its ends an interface is free: below about 1 V it holds its own floor of 0.3..1.2 V, and at the top it stops
	// at its own idea of 10 V (common practice, no source), or lets go of the pair, which then stands at up to 15 V
	// (circuit).
	if m.commandLow < 12 {
		low = math.Min(low, 4)
		high = math.Max(high, 12)
	}
	top := topUnknown
	if l.top.n >= 10 {
		top = l.top.value - 2
	}
	low = math.Min(low, top)
	if m.commandHigh > topStop {
		high = 150
	}
	switch {
	case m.feedback < low:
		m.residual = m.feedback - low
	case m.feedback > high:
		m.residual = m.feedback - high
	default:
		m.residual = 0
	}
	m.spread = spreadUnknown
	if l.size.n >= 20 {
		m.spread = math.Min(spreadMost, math.Max(spreadLeast, 3*l.size.value))
	}
	raw := m.feedback - m.expected
	if m.gap {
		m.residual0 = raw
	} else {
		m.residual0 = approach(m.residual0, raw, m.dt, 10*m.tau)
	}
}

// limits follows where the feedback stops short of the command.
func (m *memory) limits() {
	m.ceiling.moved, m.floor.moved = false, false
	if short := m.residual < -2*m.spread; short {
		m.ceiling.follow(m.feedback)
	} else if m.ceiling.n > 0 && m.feedback > m.ceiling.level+4 {
		m.ceiling = limit{moved: true}
	}
	if above := m.residual > 2*m.spread; above {
		m.floor.follow(m.feedback)
	} else if m.floor.n > 0 && m.feedback < m.floor.level-4 {
		m.floor = limit{moved: true}
	}
}

// apart counts how long setpoint and feedback have been beyond tolerance, on one side, in a lit zone.
func (m *memory) apart() {
	e := m.setpoint - m.feedback
	switch {
	case !m.lit || m.dark() && m.darkDoubt() < 6:
		m.errorSeconds, m.withinSeconds, m.errorSide = 0, 0, 0
	case math.Abs(e) <= m.set.Tolerance:
		if m.withinSeconds += m.dt; m.withinSeconds >= m.tau/2 {
			m.errorSeconds, m.errorSide = 0, 0
		}
	case m.errorSide*e < 0:
		m.errorSeconds, m.withinSeconds, m.errorSide = 0, 0, math.Copysign(1, e)
	default:
		m.errorSide = math.Copysign(1, e)
		m.withinSeconds = 0
		m.errorSeconds += m.dt
	}
}

// wattsShare works out power as a share of full power.
func (m *memory) wattsShare() {
	m.watts = math.NaN()
	if !m.has.Has(Power) {
		return
	}
	switch full, guess := m.fullPower(); {
	case full > 0 && !guess:
		m.wattsFull = full
		m.watts = m.power / full
	case m.power < math.Max(noWatts, litShare*full/guessFactor):
		m.watts = 0 // that much is certain without knowing what full is
	}
}

// fullPower is the power at full light: as learned, else as configured, else what the largest power seen lets expect; a
// guess from the number of ballasts where nothing else is known, and 0 without it.
func (m *memory) fullPower() (watts float64, guess bool) {
	l := &m.learned
	if l.watts[10].n >= 20 {
		return l.watts[10].value, false
	}
	if m.set.RatedPower > 0 {
		return m.set.RatedPower, false
	}
	if l.watt1 > 0 {
		return l.watt1, false
	}
	return ballastWatts * float64(m.set.Ballasts), true
}

const (
	// ballastWatts is the power at full of one ballast where nothing else is known: two 32 W tubes.
	// Source: common practice, no source; gear of 15..120 W is met, so the guess may be off by guessFactor either way.
	ballastWatts = 58.0
	guessFactor  = 4.0

	// noWatts is a power that no zone draws whose gear is fed.
	noWatts = 2.0
)

// powerAt is the share of full power to expect at a level of light, and how far it may be off.
func (m *memory) powerAt(level float64) (share, usual float64) {
	level = math.Min(100, math.Max(0, level))
	if m.wattsFull > 0 {
		i := tenth(level)
		for _, d := range [...]int{0, 1, -1} {
			k := i + d
			if k < 0 || k > 10 || m.learned.watts[k].n < 10 {
				continue
			}
			share = m.learned.watts[k].value / m.wattsFull
			// 0.9 is about the slope of common gear (see powerCurve).
			return share + 0.009*(level-10*float64(k)), 0.04
		}
	}
	return powerCurve(level), 0.12
}

// powerCurve is the share of full power of gear at a level of light in percent where nothing is known of it: 0.3 up to 20 %
// light, then straight to 1.
// Source: the continuous daylighting control of EnergyPlus, in its usual values for fluorescent ballasts.
func powerCurve(level float64) float64 {
	if level <= 20 {
		return 0.3
	}
	return 0.3 + 0.7*(level-20)/80
}

// learnDark takes the newest sample as one of a zone that is switched off.
func (m *memory) learnDark() {
	if !m.gap && m.region() == 0 && m.still.run < 10 {
		repeated := 0.0
		if m.still.repeated {
			repeated = 1
		}
		m.learned.repeats(m, repeated)
	}
}

// repeats learns whether a live feedback repeated itself.
func (l *learned) repeats(m *memory, repeated float64) {
	if m.still.before >= 2 {
		l.again[m.region()].add(repeated, 2000)
	} else {
		l.repeat[m.region()].add(repeated, 2000)
	}
}

// region tells where the feedback is: near the ends of their range converters clip, and repeat more often.
func (m *memory) region() int {
	switch {
	case m.feedback < 2:
		return 0
	case m.feedback > 98:
		return 2
	}
	return 1
}

// learn takes the newest sample as one of a healthy zone.
func (m *memory) learn() {
	l := &m.learned
	settled := m.commandHigh-m.commandLow < 1 && !m.gap
	switch {
	case !settled:
	case m.command > topStop:
		l.top.add(m.feedback, 400)
	case m.command > 12 && m.command < 88 && m.feedback > 12 && m.rest.off == 0 && m.rest.n >= 3 && m.rest.highC-m.rest.lowC < 3:
		l.size.add(math.Abs(m.feedback-m.expected), 400)
		l.follow.add(m.command, m.feedback)
	}
	if m.hold.seconds > m.tau && !m.gap && (m.region() == 0 || !m.clipped()) {
		repeated := 0.0
		if m.still.repeated {
			repeated = 1
		}
		l.repeats(m, repeated)
		if m.rest.off == 0 && m.rest.n > 3 {
			l.noise.add(math.Abs(m.feedback-m.rest.level), 400)
		}
	}
	if m.has.Has(Power) && settled && m.feedback > 8 {
		l.watts[tenth(m.feedback)].add(m.power, 400)
	}
}

// learnFull learns the power at full from any light that agrees with the command.
func (m *memory) learnFull() {
	if !m.has.Has(Power) || m.feedback < 30 || m.residual != 0 || m.commandHigh-m.commandLow > 1 {
		return
	}
	if full := m.power / powerCurve(m.feedback); full > m.learned.watt1 {
		m.learned.watt1 = approach(m.learned.watt1, full, 1, 4)
	}
}

// tenth gives the tenth of the range that a level is nearest to, 0..10.
func tenth(x float64) int { return max(0, min(10, int(x/10+0.5))) }
