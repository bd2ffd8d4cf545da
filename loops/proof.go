package loops

import "math"

// Proof is what a zone has shown of its loop since the last sample that spoke for its finding: in samples that tell the
// fault from being healthy, the pair followed the command and the feedback met the setpoint. Where Seconds is 0 nothing of it
// was seen: either nothing was repaired, or the finding ended on what its row in the catalogue says (Row.Ends).
type Proof struct {
	Seconds  float64 // for how long in all
	From, To float64 // the range of feedback over which it did, percent of level

	Last  int64   // when a sample last spoke for the finding, nanoseconds since 1970 UTC; 0 where its samples are not weighed one by one
	Quiet float64 // seconds of lit time since then that were judged
}

// NotYet names the ends of the range, "minimum" and "full", at which the loop has not been seen to work.
func (p Proof) NotYet() (ends []string) {
	// Source: 1 V is minimum light and 10 V full light (IEC 60929 annex E). Chosen: 5 % of level from them, half of what a
	// sound loop may be off; at half, sound zones never get there; at double, a ceiling at 9 V would be missed.
	const minimum, full, near = 10.0, 100.0, 5.0
	if p.Seconds == 0 {
		return nil
	}
	if p.From > minimum+near {
		ends = append(ends, "minimum")
	}
	if p.To < full-near {
		ends = append(ends, "full")
	}
	return ends
}

// with is what two zones have shown both.
func (p Proof) with(o Proof) Proof {
	both := Proof{Seconds: min(p.Seconds, o.Seconds), From: max(p.From, o.From), To: min(p.To, o.To), Last: max(p.Last, o.Last), Quiet: min(p.Quiet, o.Quiet)}
	if both.From > both.To {
		both.Seconds, both.From, both.To = 0, 0, 0
	}
	return both
}

// proof is what a zone has shown since the last sample that spoke for its finding: that the pair follows the command and
// the feedback meets the setpoint, where they did not.
type proof struct {
	nats     float64 // by which being healthy explained the samples better than the fault: the sum of repaired
	seconds  float64 // for how long
	away     float32 // seconds that the loop worked at setpoints at which the fault would not have shown
	from, to float32 // range of feedback over which it did
	worst    float32 // the largest error between setpoint and feedback that the fault has shown
	at       float32 // the setpoint at that time
	figures  figures // for people
	quiet    float32 // seconds that were judged since a sample last spoke for the fault
	last     int64   // when that was
}

// figures are a Proof in the room that a zone has for it.
type figures struct{ seconds, from, to float32 }

// unproved is a proof that begins with the newest sample.
func (z *zone) unproved() proof {
	m := &z.memory
	return proof{last: m.at, at: float32(m.setpoint), worst: float32(math.Abs(m.setpoint - m.feedback))}
}

// add takes a sample of a loop that works.
func (p *figures) add(m *memory) {
	f := float32(m.feedback)
	if p.seconds == 0 {
		p.from, p.to = f, f
	}
	p.from, p.to, p.seconds = min(p.from, f), max(p.to, f), p.seconds+float32(m.dt)
}

// repaired decides between "it is as it was" and "it is repaired": where nothing has spoken for the fault, what repeats it
// falsely is taken for repaired once in a million times. The other way it decides by no sum: the first sample that speaks for
// the fault begins the proof anew, which is more careful than Wald's lower threshold; samples that tell nothing are left out.
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

// proofOf is what the zones of a finding have shown since the last sample that spoke for it.
func (j *Judge) proofOf(f Finding) (shown Proof) {
	if f.Device >= 0 || explanationOf(f.ID) < 0 || explanations[explanationOf(f.ID)].track != loopTrack {
		return Proof{}
	}
	weighed := explanations[explanationOf(f.ID)].weigh != nil
	for i, at := range f.Zones {
		z := &j.zones[at].proof
		f := &z.figures
		p := Proof{Seconds: float64(f.seconds), From: float64(f.from), To: float64(f.to)}
		if weighed {
			p.Last, p.Quiet = z.last, float64(z.quiet)
		}
		if i == 0 {
			shown = p
		} else {
			shown = shown.with(p)
		}
	}
	return shown
}

// prove follows the newest sample for the finding that stands.
func (z *zone) prove(named int) {
	m, p := &z.memory, &z.proof
	w, sound := z.sums.now[named].full(), z.sums.sound.full()
	if w > sound+0.5 {
		p.nats, p.seconds, p.away, p.figures, p.quiet, p.last = 0, 0, 0, figures{}, 0, m.at
		if e := float32(math.Abs(m.setpoint - m.feedback)); e > p.worst {
			p.worst, p.at = e, float32(m.setpoint)
		}
		return
	}
	p.quiet += float32(m.dt)
	if m.overdue() > 0 {
		p.quiet, p.last = 0, m.at // setpoint and feedback are still apart
	}
	if sound < -1 || m.control != content || Catalogue[explanations[named].id].Part == "controller" && !m.obeys() {
		return
	}
	switch explanations[named].id {
	case Hunting, FeedbackNoisy:
		return // the loop works while they stand
	case PairIntermittent, ZonesCrossed:
		p.figures.add(m) // they are not weighed sample by sample: whatever follows the command speaks against them
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
	p.figures.add(m)
	if explanations[named].traits&local != 0 && p.beside(m.setpoint, m.set.Tolerance) {
		if p.away == 0 {
			p.from, p.to = float32(m.feedback), float32(m.feedback)
		}
		p.away += float32(m.dt)
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
func (p *proof) beside(setpoint, tolerance float64) bool {
	return math.Abs(setpoint-float64(p.at)) > tolerance
}

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
	if float64(p.away) >= awaySeconds*scale && p.to-p.from >= awaySpan {
		return true
	}
	test := repaired
	test.total = p.nats
	return test.says() == changed && p.seconds >= max(leastProof, Catalogue[id].ProofSeconds)*scale
}
