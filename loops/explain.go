package loops

import "math"

// weight is how well an explanation fits the newest sample, in nats; 0 is a perfect fit.
//
// Motion is what the sample adds to all before: it is summed up. Level is how well the place where things rest fits:
// readings are off by the same amount all day (a transmitter's offset, an unknown power curve), so a level is counted
// once, as it is now, however often it is read.
type weight struct{ motion, level float64 }

// controller says what the command does about the error between setpoint and feedback.
type controller uint8

const (
	content  controller = iota // within tolerance: nothing is asked of it
	acting                     // moves the way that the error asks, or rests at the end stop on that side
	resting                    // stands still short of the end stop
	opposing                   // moves the other way, or rests at the other end stop
)

// told is a weight as it is kept: half as wide.
type told struct{ motion, level float32 }

func (w weight) kept() told { return told{float32(w.motion), float32(w.level)} }

func (w told) full() float64 { return weight{float64(w.motion), float64(w.level)}.full() }

const (
	topStop    = 98.5 // percent: a command above is at its upper end stop
	bottomStop = 1.5
)

// controls tells what the command does now.
func (m *memory) controls() controller {
	e := m.setpoint - m.feedback
	if math.Abs(e) <= m.set.Tolerance {
		return content
	}
	c, rising := m.command, m.command-m.commandSlow
	if e < 0 {
		c, rising = 100-c, -rising
	}
	switch {
	case c >= topStop || rising > 0.3:
		return acting
	case rising < -0.3:
		return opposing
	case c <= bottomStop && m.hold.seconds > m.tau:
		return opposing
	}
	return resting
}

// copies says that the command goes with a moving setpoint although the feedback is off: the loop runs open.
func (m *memory) copies() bool {
	const near = 1.2 // percent
	if m.command >= topStop || m.command <= bottomStop {
		return false // wound up, it stands where the setpoint may pass by
	}
	return m.control != content && math.Abs(m.command-m.setpoint) < near && m.aim.seconds < 2*m.tau+m.dt
}

// windUp is the weight of what the command does under a fault that leaves the controller sound: it winds up. Chosen: a
// command that rests for half a minute is e times, one that goes the wrong way e² times less likely than one that acts;
// slow integrators and unknown end stops forbid more.
func (m *memory) windUp() float64 {
	if m.askedKnown && !m.asked {
		return 0 // a controller that is not asked for light may rest anywhere
	}
	if m.copies() {
		return -2
	}
	switch m.control {
	case resting:
		return -1
	case opposing:
		return -2
	}
	return 0
}

// moving says that the feedback is on its way to another place against all that the command asks: while it is, nothing can
// be told apart.
func (m *memory) moving() bool { return m.movingSamples > 0 && m.movingSamples <= 3 }

// strays counts the samples for which the feedback has been on its way.
func (m *memory) strays() {
	if (m.rest.off > 0 || m.rest.n < 2) && math.Abs(m.residual) > 2*m.spread {
		m.movingSamples++
	} else {
		m.movingSamples = 0
	}
}

// views are weights that several explanations ask for, worked out once a sample.
type views struct {
	follows, rests, alive, windUp      float64
	lightPair, lightCommand, lightFull float64 // power where the light goes with the pair, with the command, or is full
}

// view works out the views of the newest sample.
func (m *memory) view() {
	v := &m.views
	v.follows = fit(m.residual, m.spread)
	v.rests = m.rests()
	v.alive = m.alive()
	v.windUp = m.windUp()
	v.lightPair, v.lightCommand, v.lightFull = m.powerFit(m.feedback), m.powerFit(m.command), m.powerFit(100)
}

// rests is the weight of the feedback where it stands still whatever the command does.
func (m *memory) rests() float64 {
	w := fit(m.feedback-m.rest.level, m.spread)
	switch {
	case m.rest.n >= 2 && m.rest.off == 1:
		return max(w, -2) // a wild reading, or the first of a new rest
	case m.rest.n < 2 && m.rest.off == 0 && m.placed && math.Abs(m.feedback-m.place) > 2*restBand:
		return notYet
	}
	return w
}

// notYet is the weight of a feedback that has come to a new place, and may go on. Measured: at half, ramps after lighting are
// taken for a pair that stands still; at double, pairs that are stuck and slide a little are told again.
const notYet = -3

// restLevel is where the feedback rests.
func (m *memory) restLevel() float64 {
	if m.rest.n >= 3 {
		return m.rest.level
	}
	return m.feedback
}

// alive is the weight of the feedback's signal where the transmitter is sound: its current is not in failure, and its newest
// value repeats the one before no more often than this zone's does.
func (m *memory) alive() float64 {
	if m.loopFailed() {
		return worst
	}
	return m.repeats()
}

// repeats is the weight of a value that repeats the one before to the bit, in a feedback that is alive.
func (m *memory) repeats() float64 {
	if !m.still.repeated || m.clipped() || m.coarse() && (math.Abs(m.residual) <= 2*m.spread || m.rest.highC-m.rest.lowC < 2*m.still.step+restBand) {
		return 0
	}
	return math.Log(m.repeatShare())
}

// coarse says whether the feedback's noise is less than the resolution of its converter: then it is where the pair rests
// between two of the converter's steps that makes it repeat or not, and what was learned at one level says nothing of another.
// That it repeats where the command lets it be, or while the command rests, is then no evidence.
func (m *memory) coarse() bool {
	noise := &m.learned.noise
	return m.region() > 0 && noise.n() >= 20 && noise.value() < float64(m.still.step)
}

// clipped says whether the feedback stands at the end of its range, where transmitters and converters hold it: at the
// least or the largest value that it ever kept for two samples, beyond what a lit pair should read.
func (m *memory) clipped() bool {
	return m.feedback < 2 && m.feedback <= m.lowest || m.feedback > 98 && m.feedback >= m.highest
}

// repeatShare is the share of samples that repeat the one before in a live feedback of this zone. Until it is known it is
// taken as high: coarse converters repeat often, and nearly always at the ends of their range.
func (m *memory) repeatShare() float64 {
	known := 20.0 // Chosen: 20 samples' worth of belief in a coarse converter
	unknown := 0.8
	if m.region() != 1 {
		unknown = 0.97
	}
	l := &m.learned.repeat[m.region()]
	if m.still.before >= 2 {
		// Noise comes and goes: how it goes on after two repetitions is another matter than how often one is met.
		l, unknown, known = &m.learned.again[m.region()], 0.95, 60
	}
	p := (l.value()*l.n() + unknown*known) / (l.n() + known)
	return min(0.97, max(0.03, p))
}

// powerFit is the weight of the power where the light is at a level.
func (m *memory) powerFit(level float64) float64 {
	if math.IsNaN(m.watts) {
		return 0
	}
	share, usual := m.powerAt(level)
	usual += 0.01 * (m.commandHigh - m.commandLow) // light trails the pair while it moves
	return fit(m.watts-share, usual)
}

// powerMinimum is the weight of the power where the light is at its minimum. Source: minimum light takes about a tenth to
// six tenths of full power, by kind of gear (common practice, no source).
func (m *memory) powerMinimum() float64 {
	if math.IsNaN(m.watts) {
		return 0
	}
	if share, usual := m.powerAt(10); usual < 0.1 {
		return fit(m.watts-share, max(usual, 0.07))
	}
	return within(m.watts, 0.07, 0.5, 0.03)
}

// powerOff is the weight of the power where the gear is not fed.
func (m *memory) powerOff() float64 {
	if math.IsNaN(m.watts) {
		return 0
	}
	return within(m.watts, -0.05, litShare, 0.02)
}
