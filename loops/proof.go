package loops

import "math"

// proof is what a zone has shown since the last sample that spoke for its finding: that the pair follows the command and
// the feedback meets the setpoint, where they did not.
type proof struct {
	nats     float64 // by which being healthy explained the samples better than the fault: the sum of repaired
	seconds  float64 // for how long
	away     float64 // seconds that the loop worked at setpoints at which the fault would not have shown
	from, to float32 // range of feedback over which it did
	worst    float64 // the largest error between setpoint and feedback that the fault has shown
	at       float64 // the setpoint at that time
}

// repaired decides between "it is as it was" and "it is repaired": a fault that goes on is taken for repaired once in a million
// times, and a repair goes unseen once in a hundred until the next hour.
var repaired = newSPRT(1e-6, 0.01)

const (
	// leastProof is the least time in seconds that a loop has to work: ten correlation times.
	leastProof = 300.0

	// awaySeconds and awaySpan are for how long and over how much of the range, percent of level, a loop has to work that
	// never comes back to where its fault was seen. Chosen: forty lit hours, three days of a store; at half, a
	// ceiling would clear between two winter evenings.
	awaySeconds = 40 * 3600.0
	awaySpan    = 20.0
)

// prove follows the newest sample for the finding that stands.
func (z *zone) prove(named int) {
	m, p := &z.memory, &z.proof
	w, sound := z.sums.now[named].full(), z.sums.sound.full()
	if w > sound+0.5 {
		p.nats, p.seconds, p.away = 0, 0, 0
		if e := math.Abs(m.setpoint - m.feedback); e > p.worst {
			p.worst, p.at = e, m.setpoint
		}
		return
	}
	if sound < -1 || m.control != content || Catalogue[explanations[named].id].Part == "controller" && !m.obeys() {
		return
	}
	share, most := m.share()
	beyond := sound - w
	if m.unlimited(explanations[named].id) {
		beyond = most // it went where the fault does not let it
		z.step(named, -beyond*share)
	}
	if beyond < 0.3 {
		return
	}
	if explanations[named].traits&local != 0 && p.beside(m.setpoint, m.set.Tolerance) {
		if p.away == 0 {
			p.from, p.to = float32(m.feedback), float32(m.feedback)
		}
		p.away += m.dt
		p.from, p.to = min(p.from, float32(m.feedback)), max(p.to, float32(m.feedback))
		return
	}
	test := repaired
	test.total = p.nats
	test.add(bound(beyond, most) * share)
	p.nats = test.total
	p.seconds += m.dt
}

// beside says whether a setpoint is none of those at which the fault showed best.
func (p *proof) beside(setpoint, tolerance float64) bool { return math.Abs(setpoint-p.at) > tolerance }

// obeys says whether the loop has followed a setpoint that moved within the last minutes, closely: what proves a controller.
func (m *memory) obeys() bool {
	half := m.set.Tolerance / 2
	return math.Abs(m.pace.setpoint[0]-m.pace.setpoint[2]) > half && math.Abs(m.setpoint-m.feedback) <= half
}

// unlimited says whether nothing is left of the figure that an explanation stands and falls with.
func (m *memory) unlimited(id ID) bool {
	switch id {
	case CeilingLow:
		return m.ceiling.n == 0
	case FloorHigh:
		return m.floor.n == 0 && m.sink.n == 0
	case FeedbackDrift:
		return m.offset.n == 0 && m.gain.n == 0
	}
	return false
}

// shown says whether the loop has shown that it works: within the range of setpoints where the fault was seen for as long
// as the finding asks, or for many hours beside it.
func (p *proof) shown(id ID, tau float64) bool {
	scale := tau / mostCorrelationSeconds
	if p.away >= awaySeconds*scale && p.to-p.from >= awaySpan {
		return true
	}
	test := repaired
	test.total = p.nats
	return test.says() == changed && p.seconds >= max(leastProof, Catalogue[id].ProofSeconds)*scale
}
