package loops

import "math"

// memory is what a zone remembers: the newest sample, what can be said about it, and what was learned while the zone was
// healthy. Its size is fixed. Levels are percent, times seconds.
type memory struct {
	set *ZoneSettings `state:"-"`
	tau float64       `state:"-"` // the zone's correlation time, seconds

	at       int64
	dt       float64 // since the last sample, at most gapSeconds
	gap      bool    // the last sample is too old to say anything about the time between
	back     bool    // the newest sample is older than the last
	tracedAt int64   // the last complete sample
	has      Channels
	seen     bool

	setpoint, command, feedback, milliamps, power float64
	powerBefore, commandStep                      float32 // power of the sample before, and what the command has gone since

	calling

	// The command's range over the last seconds: what the feedback may still be on its way from.
	commandLow, commandHigh float64

	residual float64 // feedback minus what the command lets expect, 0 within its range
	expected float64 // the middle of that
	spread   float64 // the usual size of residual

	movingSamples int32
	jumpedAt      int64   // when the feedback last left, from one sample to the next, what the command lets expect
	creeps        bool    // the command has left its place for one close by
	placed, moved bool    // the feedback has rested while lit; with the newest sample it rests elsewhere
	place         float64 // where it rested last

	views views

	rest  rest  // where the feedback rests
	hold  rest  // where the command rests
	aim   rest  // where the setpoint rests
	still still // bit-for-bit repetition of the feedback

	extremes        bool    // the two that follow are known
	lowest, highest float64 // values that the feedback kept, or went beyond, for two samples

	commandSlow float64    // the command of the last minute, smoothed: what it is rising or falling from
	control     controller // what the command does about the error

	othersLit   float64 // share of the site's other zones that are lit; 0 where none is known
	othersKnown bool

	loopSamples int32 // current-loop readings in failure in a row, and for how long
	loopSeconds float64
	loopSince   int64 // when the first of them was

	errorSeconds  float64 // how long setpoint and feedback have been apart
	withinSeconds float64 // how long they have been together since
	errorSide     float64 // 1: the setpoint is above, -1: below
	right, wrong  float32 // samples since in which the command went the way that the error asks, or the other way
	ceiling       limit   // level above which the feedback does not go
	floor         limit   // level below which it does not go
	sink          limit   // level at which a sink with resistance holds the pair at no command
	offset        limit   // by how much the feedback is off what the command lets expect
	gain          limit   // the same as a share of that

	spells spells // jumps of the pair to 0 V or open, and back

	noise  noise  // scatter of the feedback
	pace   pace   // how late the loop is
	swings swings // of the loop about its setpoint

	watts     float64 // share of full power; NaN where not known
	wattsFull float64

	learned learned
	gear    gear
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
	// Source: interface 0.5..3 %, feedback 1..2 % of span (common practice, no source): together about 3.5. What is learned is
	// kept between spreadLeast and spreadMost. Measured: with half the least, a sound zone is named; with double, five times
	// as many findings come again.
	spreadUnknown = 3.0
	spreadLeast   = 1.5
	spreadMost    = 4.0

	// topUnknown is the feedback that a sound interface reaches at least at full command, percent, where it was never seen.
	// Source: 10 V less gain and offset errors of interface and transmitter (common practice, no source).
	topUnknown = 93.0

	// jump: so much from one sample to the next, percent of level and against the command, is an event. restBand: a resting
	// feedback wanders no farther, or four times its noise. holdBand: the same of a command or setpoint; resolutions met are
	// 0.1..0.5. Measured: at half and at double each changes one or two first names of 380; a wide restBand takes slow
	// drifts for rest.
	jump     = 8.0
	restBand = 1.5
	holdBand = 0.7
)

// take makes the sample the newest and works out everything that the explanations ask for.
func (m *memory) take(s *Sample) {
	m.dt = float64(s.At-m.at) / 1e9
	m.back = m.seen && m.dt < 0
	m.gap = !m.seen || m.back || m.dt > m.longest()
	if m.gap {
		m.dt = 0
	}
	m.seen = true
	m.at = s.At
	m.has = s.finite()
	m.powerBefore = float32(m.power)
	m.commandStep = float32(s.Command - m.command)
	m.setpoint, m.command, m.feedback = s.Setpoint, s.Command, s.Feedback
	m.milliamps, m.power = s.FeedbackMilliamps, s.Power
	m.order, m.contact, m.open = s.Order, s.Contact, s.Open
}

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

// longest is the longest time in seconds between two samples that is taken as watched.
func (m *memory) longest() float64 { return max(gapSeconds, 3*m.set.CycleSeconds) }

// watched resets what counts time where the loop was not watched since the last complete sample, for whatever reason.
func (m *memory) watched() {
	if since := float64(m.at-m.tracedAt) / 1e9; m.tracedAt != 0 && since > m.longest() {
		m.gap = true
	}
	m.tracedAt = m.at
	if m.gap {
		m.errorSeconds, m.withinSeconds, m.errorSide, m.movingSamples = 0, 0, 0, 0
		m.rest.seconds, m.hold.seconds, m.aim.seconds = 0, 0, 0
		m.still.any = false
		m.swings.interrupt()
	}
}

// trace follows command, feedback and setpoint; only complete samples come here.
func (m *memory) trace() {
	m.watched()
	c := m.command
	if m.gap {
		m.commandLow, m.commandHigh, m.commandSlow = c, c, c
	} else {
		m.commandSlow = approach(m.commandSlow, c, m.dt, 1.5*max(m.tau, m.dt))
		left := remains(m.dt, commandLag*m.tau)
		m.commandLow = min(c, c+(m.commandLow-c)*left)
		m.commandHigh = max(c, c+(m.commandHigh-c)*left)
	}
	before := m.residual
	m.expect()
	if m.still.any && math.Abs(before) <= 2*m.spread && math.Abs(m.feedback-m.still.last) > jump && math.Abs(m.residual) > 2*m.spread {
		m.jumpedAt = m.at
	}
	if !m.extremes {
		m.extremes, m.lowest, m.highest = true, m.feedback, m.feedback
	} else if m.still.any {
		// What no pair and no transmitter can give is a glitch, however often it comes.
		if x := max(m.feedback, m.still.last); x > shortLow {
			m.lowest = min(m.lowest, x)
		}
		if x := min(m.feedback, m.still.last); x < openHigh {
			m.highest = max(m.highest, x)
		}
	}
	band := restBand
	if l := &m.learned; l.noise.n() >= 20 {
		band = min(4, max(band, 4*l.noise.value()))
	}
	if m.lit && !m.changing {
		m.noise.follow(m)
		m.pace.follow(m)
	} else {
		m.pace.any, m.noise.n = false, 0
	}
	m.still.follow(m.feedback)
	m.rest.follow(m.feedback, band, m.dt, c)
	held := m.hold.level
	m.hold.follow(c, holdBand, m.dt, c)
	m.creeps = m.hold.broke && math.Abs(m.hold.level-held) < 3
	m.aim.follow(m.setpoint, holdBand, m.dt, c)
	m.settles(band)
	m.strays()
	m.limits()
	m.control = m.controls()
	m.apart()
}

// expect works out the residual: how far the feedback is from all that the command of the last seconds lets expect.
func (m *memory) expect() {
	l := &m.learned
	low, high := l.follow.at(m.commandLow), l.follow.at(m.commandHigh)
	m.expected = (low + high) / 2
	slop := l.follow.slop(m.command)
	low, high = low-slop, high+slop
	if l.follow.strange() {
		// It was learned from parts that were not sound, and coming back to what the trade lets expect is no fault.
		trade := slopUnknown + slopGain*m.command
		low, high = min(low, m.commandLow-trade), max(high, m.commandHigh+trade)
	}
	// Near its ends an interface is free: below about 1 V it holds its own floor of 0.3..1.2 V, and at the top it stops
	// at its own idea of 10 V (common practice, no source), or lets go of the pair, which then stands at up to 15 V
	// (circuit).
	if m.commandLow < 12 {
		low = min(low, 4)
		high = max(high, floorHigh)
	}
	top := topUnknown
	if l.top.n() >= 10 {
		top = l.top.value() - 2
	}
	low = min(low, top)
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
	if l.size.n() >= 20 {
		m.spread = min(spreadMost, max(spreadLeast, 3*l.size.value()))
	}
	m.spread = max(m.spread, min(3*spreadMost, 2.5*m.noise.now)) // noise has an explanation of its own
}

// Measured: at half and at double of limitBand and limitSlack, some more findings come again, and first names stay.
const (
	limitBand  = 6.0  // percent: a limit that changes at once by more is another
	limitSlack = 4.0  // percent: a feedback so far beyond a limit has no such limit
	scaleLeast = 20.0 // percent: below this level a gain says nothing
	sinkMost   = 85.0 // percent: nor does the resistance of a sink above it
)

// limits follows where the feedback stops short of the command, and by what it is off.
func (m *memory) limits() {
	for _, l := range [...]*limit{&m.ceiling, &m.floor, &m.sink, &m.offset, &m.gain} {
		l.moved, l.gone = false, false
	}
	if !m.lit || m.gap || m.changing || m.off() {
		return
	}
	f, e := m.feedback, m.expected
	short, above := m.residual < -2*m.spread, m.residual > 2*m.spread
	switch {
	case short:
		m.ceiling.follow(f, limitBand)
	case m.ceiling.n > 0 && f > m.ceiling.level+limitSlack:
		m.ceiling.drop()
	}
	switch {
	case above:
		m.floor.follow(f, limitBand)
	case m.floor.n > 0 && f < m.floor.level-limitSlack:
		m.floor.drop()
	}
	switch {
	case above && e < sinkMost:
		open := 1 - e/100
		m.sink.follow((f-e)/open, limitBand/open)
	case m.sink.n > 0 && f < m.sinkAt(e)-limitSlack:
		m.sink.drop()
	}
	switch {
	case short || above:
		m.offset.follow(f-e, limitBand)
		if e > scaleLeast {
			m.gain.follow((f-e)/e, limitBand/e)
		}
	default:
		if m.offset.n > 0 && math.Abs(f-e-m.offset.level) > limitSlack {
			m.offset.drop()
		}
		if m.gain.n > 0 && math.Abs(f-e*(1+m.gain.level)) > limitSlack {
			m.gain.drop()
		}
	}
}

// sinkAt is what a sink with resistance holds the pair at where a sound one would hold it at a level.
func (m *memory) sinkAt(level float64) float64 {
	return m.sink.level + (1-m.sink.level/100)*max(0, level)
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
		if m.errorSeconds == 0 {
			m.right, m.wrong = 0, 0
		}
		m.errorSide = math.Copysign(1, e)
		m.withinSeconds = 0
		m.errorSeconds += m.dt
		switch way := float64(m.commandStep) * m.errorSide; {
		case m.command >= topStop || m.command <= bottomStop:
		case m.control == acting:
			m.right++
		case m.control == opposing && way < 0:
			m.wrong++ // by a step of its own: after one step of a hand the command rests
		}
	}
}
