package loops

import "math"

// A command that reaches the judge later than the feedback: a point that a gateway polls more seldom, or from another device,
// or that a controller writes after it has acted. The feedback is seen to leave its place first, and the command comes after it
// while it rests. It looks as if a command had left behind a pair that does not answer, once at every step. What tells the
// two apart is the order: under a fault of the pair or its interface the feedback does not go ahead of its command and is then
// met by it.

// late follows the feedback's leaving and the command's coming.
type late struct {
	away  bool // the feedback is not where the command lets expect
	led   bool // it was the feedback that left
	known bool // feedback and command are those of the sample before

	feedback, command float32
	oldest            float32          // the feedback as many samples before as a command may come late
	totals            [loopers]float32 // the sums when the feedback left

	rest uint8   // samples since the feedback last moved
	ramp int8    // in how many samples in a row the feedback has moved one way, negative where it fell
	seen float32 // how often the command came late, of late
}

const (
	// lateMost is by how many samples a command may be late. Chosen: a point behind a gateway is one or two polls old, one
	// of another device with half the pace as many. At half, two devices at 60 and 180 s would not be covered; at double, a
	// loop that winds up past a stuck pair would be taken for one.
	lateMost = 4

	// lateSeen is after how many of them a zone's commands are known to come late: then what the feedback does is not weighed
	// before a late command could have come. Chosen: a fault of the pair shows none, and the wait is short; at double, a
	// ramp may be taken for a fault on the first morning.
	lateSeen = 1
)

// late says whether the newest sample has to wait for a command that may come late. Where one has come, what had been gathered
// since the feedback left is taken back.
func (z *zone) late() (waits bool) {
	m, l := &z.memory, &z.lag
	byFeedback, byCommand := math.Abs(m.feedback-float64(l.feedback)), math.Abs(m.command-float64(l.command))
	before := l.feedback
	defer func() { l.oldest = z.skew.past[mostLate-1].feedback }()
	l.feedback, l.command = float32(m.feedback), float32(m.command)
	off := math.Abs(m.residual) > 2*m.spread
	if !l.known || m.gap {
		l.known, l.away, l.rest = true, false, lateMost
		return false
	}
	if byFeedback > restBand {
		l.rest = 0
		switch rises := m.feedback > float64(before); {
		case rises && l.ramp > 0:
			l.ramp = min(lateMost, l.ramp+1)
		case rises:
			l.ramp = 1
		case l.ramp < 0:
			l.ramp = max(-lateMost, l.ramp-1)
		default:
			l.ramp = -1
		}
	} else if l.rest < math.MaxUint8 {
		l.rest++
	}
	ahead := byFeedback > max(restBand, byCommand) || byFeedback > restBand && (m.feedback > float64(before)) == (m.residual > 0)
	switch {
	case off && l.away:
		l.led = l.led || ahead
	case off:
		l.away, l.led = true, ahead
		for i := range l.totals {
			l.totals[i] = float32(z.sums.total[i])
		}
	case !off && l.away:
		l.away = false
		switch {
		case !l.led:
		case byFeedback > byCommand:
			l.seen = max(0, l.seen-0.2) // it came back by itself
		case l.rest > 0 && l.rest <= lateMost:
			l.seen = min(l.seen+1, 10)
			for i := range l.totals {
				z.sums.total[i] = min(z.sums.total[i], float64(l.totals[i]))
			}
			z.sums.waiting, z.sums.left = 0, false
		}
	case !off && byFeedback > jump && byCommand > jump:
		l.seen = max(0, l.seen-0.05) // in step
	}
	if off && l.rest < lateMost && z.mayBeLate() {
		return true
	}
	return l.seen >= lateSeen && off && l.led && l.rest < lateMost
}

// mayBeLate says whether a command that comes late accounts for the newest sample of a zone of which nobody knows that yet:
// the feedback goes one way in steps, and was not long ago where the command has come to by now. Under a fault of the pair it
// has left its command at once, and rests.
func (z *zone) mayBeLate() bool {
	m, k := &z.memory, &z.skew
	if k.known(ofCommand) || z.lag.ramp > -rampSteps && z.lag.ramp < rampSteps || (m.residual > 0) != (z.lag.ramp > 0) {
		return false
	}
	goal := m.learned.follow.at(m.command)
	for _, p := range k.past[1:max(1, k.n)] {
		if math.Abs(goal-float64(p.feedback)) <= 2*m.spread {
			return true
		}
	}
	return k.n == mostLate && math.Abs(goal-float64(z.lag.oldest)) <= 2*m.spread
}

// rampSteps is how many steps in a row make a ramp.
const rampSteps = 2
