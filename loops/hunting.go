package loops

import "math"

// The loop swings about its setpoint with a steady period: its gain is too high, its integral time too short, or the daylight
// sensor sees the light that it controls. Command, feedback and light swing together, and the setpoint does not.

const (
	// huntingLeast is the least amplitude that is called hunting, percent of level. Chosen: a dead band of 1..2 % makes sound
	// loops swing by as much; at half they would be reported, at double the eye would see it first.
	huntingLeast = 3.0

	// huntingTop and huntingBottom bound the levels, in percent, at which a loop can swing.
	huntingTop    = 96.0
	huntingBottom = 4.0

	// huntingStir is by how much the swings have to be larger than what the setpoint moves within some minutes: a loop that
	// trails a restless sky swings with it. Measured: at half, 24 sound loops are called hunting; at double, two are missed.
	huntingStir = 1.5

	// huntingRegular is how alike the half periods of a loop that hunts are at least, where the scan lets it be seen.
	// Chosen: clouds make swings of all lengths.
	huntingRegular = 0.5
)

// swing follows the command about the setpoint that a loop of this zone's pace would have reached.
type swings struct {
	oscillation oscillation
	middle      float64
	any         bool
	quiet       float64 // seconds since the last half period that counted in which the loop could have swung
	size        float32 // of the swings, percent of level
	since       int64   // when the first half period of the run that counts had ended
}

// hunt adds what the newest sample says for a loop that hunts.
func (z *zone) hunt() {
	m, s := &z.memory, &z.memory.swings
	i := explanationOf(Hunting)
	if !m.pace.any || math.Abs(m.residual) > 2*m.spread {
		s.interrupt() // the pair does not go with the command: the loop chases something else
		return
	}
	if m.expected > huntingTop || m.expected < huntingBottom {
		return // at its end stop no loop can swing: that says nothing
	}
	z.test(Hunting)
	usual, _ := m.jitter()
	integral := max(m.pace.constant(m), 2*m.tau, 2*m.set.CycleSeconds)
	e := m.expected - m.pace.setpoint[m.pace.usual(m)]
	if !s.any {
		s.any, s.middle = true, e
	}
	s.middle += (e - s.middle) * min(1, m.dt/(10*integral))
	before := s.oscillation.x
	least := max(huntingLeast, 3*usual, huntingStir*m.pace.stir)
	if least < float64(s.size) { // else the sky hides such swings
		s.quiet += m.dt
	}
	if s.oscillation.follow(e-s.middle, m.dt, least, integral) {
		s.quiet, s.size = 0, max(s.size, float32(s.oscillation.amplitude()))
		if before < 1 {
			s.since = m.at
		}
	}
	if !z.can[i] {
		return
	}
	stands := z.open[loopTrack] >= 0 && int(z.named[loopTrack]) == i
	switch {
	case s.calmed(m.tau):
		s.oscillation.x, s.size, z.sums.total[i] = 0, 0, 0
	case s.oscillation.x > 1 && (stands || s.regular(m)):
		z.sums.total[i] = min(topNats, z.h*s.oscillation.x/oscillationCounts)
		z.sums.since[i] = s.since
	case !stands:
		z.sums.total[i] = 0
	}
}

// interrupt forgets the swing under way: nobody watched, or it was another's.
func (s *swings) interrupt() {
	s.any = false
	s.oscillation.interrupt()
}

// calmed says whether the loop has not swung for long enough: twenty of its periods, and four hours at least.
// Chosen: hunting dies out at some levels and comes back with the afternoon; at half, it would be two findings.
func (s *swings) calmed(tau float64) bool {
	return s.quiet > max(480*tau, 20*s.oscillation.period())
}

// regular says whether the swings are those of a loop, or may be as the scan sees them.
func (s *swings) regular(m *memory) bool {
	o := &s.oscillation
	period := o.period()
	return o.n < 4 || period < 8*m.set.CycleSeconds || o.regularity() >= huntingRegular
}
