package loops

import "math"

// The loop arrives, but much later than it used to: a gain or a rate limit was changed, or its program runs seldom. The
// command goes the right way all the time, too slowly. Either the feedback is late by more than the settle time, or it is seen
// to follow a setpoint of some time ago far better than the one that this loop used to follow.

func weighSluggish(m *memory) weight {
	w := weight{motion: m.views.follows + m.views.alive, level: m.views.lightPair}
	switch m.control {
	case content:
		if m.pace.tells() {
			w.motion -= 0.3
		}
	case opposing:
		w.motion -= 3
	case resting:
		w.motion -= 0.05 // it may move by less than the point shows
	case acting:
		if m.command >= topStop || m.command <= bottomStop {
			w.motion -= 1
		}
	}
	if m.right < slowSteps {
		w.level -= 3
	}
	return w
}

const (
	paces = 5

	// fastest is the time constant in correlation times (20 s of 30 s) of the quickest loop that is told from slower ones;
	// each is four times as slow as the one before. Source: sensor filters and ramps are 5..120 s (common practice, no source).
	fastest = 0.667

	// paceApart is by how much setpoints of different age have to differ to tell loops apart, percent of level. Measured:
	// recordings are named alike at half and at double.
	paceApart = 4.0

	// paceNats is the most that ten correlation times (five minutes) can say of a loop's pace: what clouds do in that time is one
	// event. Chosen: a slow loop then needs an hour and a half of moving setpoint.
	paceNats = 1.6

	// slowSteps is in how many samples a command has to have gone the right way before it is one that arrives late. Measured: as above.
	slowSteps = 4
)

// pace follows how late the feedback is: setpoints as loops of different time constants would have reached them.
type pace struct {
	any      bool
	setpoint [paces]float64
	stir     float64        // how much the setpoint has moved within some minutes, of late, percent of level
	off      [paces]float32 // how far the feedback has been from each of late, percent of level
}

// constantOf is the time constant of a pace in seconds.
func constantOf(k int, tau float64) float64 {
	c := fastest * tau
	for range k {
		c *= 4
	}
	return c
}

// usual is the pace that this zone's loop has: as learned, else as its settle time says.
func (p *pace) usual(m *memory) int {
	best := -1
	for k := range paces {
		if l := &m.learned.pace[k]; l.n() >= 50 && (best < 0 || l.value() < m.learned.pace[best].value()-0.1) {
			best = k
		}
	}
	if best >= 0 {
		return best
	}
	for k := range paces {
		if constantOf(k, m.tau) >= m.set.SettleSeconds/3 {
			return k
		}
	}
	return paces - 1
}

// constant is the time constant of the zone's usual pace in seconds.
func (p *pace) constant(m *memory) float64 { return constantOf(p.usual(m), m.tau) }

// tells says whether the setpoint has moved enough of late to tell paces apart.
func (p *pace) tells() bool { return math.Abs(p.setpoint[0]-p.setpoint[paces-1]) > paceApart }

// follow takes the newest sample of a lit zone.
func (p *pace) follow(m *memory) {
	if !p.any || m.gap {
		*p = pace{any: true}
		for k := range paces {
			p.setpoint[k] = m.feedback
		}
		return
	}
	p.stir += (math.Abs(m.setpoint-p.setpoint[2]) - p.stir) * m.dt / (m.dt + 40*m.tau)
	for k := range paces {
		c := constantOf(k, m.tau)
		p.setpoint[k] += (m.setpoint - p.setpoint[k]) * m.dt / (m.dt + c)
		p.off[k] += (float32(math.Abs(m.feedback-p.setpoint[k])) - p.off[k]) * float32(m.dt/(m.dt+40*m.tau))
	}
}

// learn takes the newest sample as one of a healthy loop.
func (p *pace) learn(m *memory) {
	if !p.any || !p.tells() {
		return
	}
	for k := range paces {
		m.learned.pace[k].add(math.Abs(m.feedback-p.setpoint[k]), 1000)
	}
}

// stands says whether the command has stood still for some minutes.
func (m *memory) stands() bool { return m.hold.seconds > max(10*m.tau, 2.5*m.set.CycleSeconds) }

// weighPace adds what the newest sample says for a loop that has become slow.
func (z *zone) weighPace() {
	m, p := &z.memory, &z.memory.pace
	i := explanationOf(Sluggish)
	usual := p.usual(m)
	if !p.any || !p.tells() || usual == paces-1 || !z.can[i] || m.learned.pace[usual].n() < 50 {
		return
	}
	slow := usual + 1
	for k := slow; k < paces; k++ {
		if p.off[k] < p.off[slow] {
			slow = k
		}
	}
	size := max(1.5, 2*m.learned.pace[usual].value())
	late := max(0, math.Abs(m.feedback-p.setpoint[usual])-2*m.learned.pace[usual].value()) // beyond what this loop is off anyway
	gain := bound((late-math.Abs(m.feedback-p.setpoint[slow]))/size, paceNats)
	if m.stands() {
		gain = min(gain, 0) // it does not go at all
	}
	z.step(i, gain*min(1, m.dt/(10*m.tau)))
}
