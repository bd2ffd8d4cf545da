package loops

import (
	"math"
	"slices"
)

// The wires of two zones are exchanged: each controller sees the other zone's pair (feedback wires), or drives the other
// zone's interface (command wires). Either way the feedback of one zone follows the command of the other, and both loops
// run away: one winds up, the other down. Power tells the two apart: with exchanged feedback wires the light goes with its
// zone's command, with exchanged command wires with its feedback.
//
// All pairs need not be tried: only zones that have evidence against being healthy can be crossed, and of those only such
// whose newest samples fit. In a healthy store there are none.

// crossing is a pair of zones that may be crossed.
type crossing struct {
	a, b  int     // indices in Judge.zones, a below b
	total float64 // evidence of both zones against both being healthy, nats, never below 0
	since int64   // when total last left 0
	open  bool    // it is a finding

	// lead is by how much the crossing explains both zones better than the best explanation of each does, nats, its prior
	// included: between -mostLead and mostLead.
	lead float64
	need float64 // the lead that it takes to be named
}

const (
	// suspectNats is the evidence of a zone from which on it is tried with others. Chosen: a sample or two of clear evidence.
	suspectNats = 3.0

	// mostSuspects bounds the zones that are tried with each other in one round, and mostCrossings the pairs that are kept.
	// Chosen: where more zones misbehave at once it is no crossed pair.
	mostSuspects  = 16
	mostCrossings = 32

	// crossingPrior is what a crossing owes: wires are exchanged by hand, and the partner is one of some dozen.
	crossingPrior = -5.0

	// suddenSeconds is how long two zones have to be lit for a change in both to be one event: what broke in the dark shows
	// in all zones when they are switched on. Chosen: a quarter of an hour.
	suddenSeconds = 900.0

	mostLead = 30.0

	// coincidenceNats is how unlikely it is that two zones get faults of their own within a few samples. Chosen: one fault a
	// zone and year, sixty zones, two minutes: exp(-8). Where both were seen first when they were switched on, what
	// broke in the night is likelier two things than one by as much: a crossing then has to fit far better.
	coincidenceNats = 8.0
)

// cross weighs the pairs of suspects with the newest samples. Zones of other devices are polled at other times: a pair is
// weighed once a cycle, when a sample of its slower zone has come, with what the other one has shown last.
func (j *Judge) cross(at int64) {
	suspects := j.suspects[:0]
	for i := range j.zones {
		z := &j.zones[i]
		if z.shows(at) && len(suspects) < mostSuspects && (z.anyTotal() > suspectNats || z.crossed) {
			suspects = append(suspects, i)
		}
	}
	j.suspects = suspects
	for x, a := range suspects {
		for _, b := range suspects[x+1:] {
			slower := b
			if j.zones[a].memory.set.CycleSeconds > j.zones[b].memory.set.CycleSeconds {
				slower = a
			}
			if j.zones[slower].due {
				j.tryCrossing(a, b, &j.zones[slower].memory)
			}
		}
	}
	keep := j.crossings[:0]
	for _, c := range j.crossings {
		if c.total > 0 || c.open {
			keep = append(keep, c)
		}
	}
	j.crossings = keep
}

// shows says whether a zone's newest sample was weighed, and is of this cycle.
func (z *zone) shows(at int64) bool {
	return z.weighed && float64(at-z.memory.at)/1e9 < 1.5*z.memory.set.CycleSeconds
}

// tryCrossing adds what the newest samples say of two zones being crossed; the slower one says how much that counts.
func (j *Judge) tryCrossing(a, b int, slower *memory) {
	x, y := &j.zones[a], &j.zones[b]
	known := slices.IndexFunc(j.crossings, func(c crossing) bool { return c.a == a && c.b == b })
	if known < 0 && (len(j.crossings) == mostCrossings || !x.together(y)) {
		return
	}
	share, most := slower.share()
	cross := [...]float64{x.exchanged(&y.memory), y.exchanged(&x.memory)}
	step := bound(cross[0]+cross[1]-x.sums.sound.full()-y.sums.sound.full(), 2*most)*share - fadeNats*share
	lead := (bound(cross[0]-x.bestNow(), most) + bound(cross[1]-y.bestNow(), most)) * share
	if known >= 0 {
		c := &j.crossings[known]
		c.total = min(2*topNats, max(0, c.total+step))
		c.since = min(c.since, x.memory.at) // a clock may be set back
		c.lead = bound(c.lead+lead, mostLead)
		return
	}
	if step <= suspectNats*share {
		return
	}
	prior, need := crossingPrior, coincidenceNats
	if x.memory.atOnce(&y.memory) {
		prior, need = crossingPrior+coincidenceNats, 0
	}
	j.crossings = append(j.crossings, crossing{
		a: a, b: b, total: step + x.anyTotal() + y.anyTotal(), since: x.onset(), lead: prior + lead, need: need,
	})
}

// atOnce says whether two zones whose evidence began together left what their commands let expect in one event: where both
// jumped, at the same time. One that does not jump was at the level of the other, or its light fades slowly.
func (m *memory) atOnce(other *memory) bool {
	if m.callSeconds <= suddenSeconds || other.callSeconds <= suddenSeconds {
		return false
	}
	if math.Abs(m.residual) <= 2*m.spread || math.Abs(other.residual) <= 2*other.spread {
		return false
	}
	cycle := max(m.set.CycleSeconds, other.set.CycleSeconds)
	lately := max(10*m.tau, 5*cycle)
	a, b := float64(m.at-m.jumpedAt)/1e9 <= lately, float64(other.at-other.jumpedAt)/1e9 <= lately
	return !a || !b || math.Abs(float64(m.jumpedAt-other.jumpedAt))/1e9 <= 2.5*cycle
}

// bestNow is how well the newest sample fits the explanation of the zone that has the most evidence.
func (z *zone) bestNow() float64 {
	at, top := -1, 0.0
	for i, total := range z.sums.total[:loopers] {
		if total > top && z.can[i] {
			at, top = i, total
		}
	}
	if at < 0 {
		return z.sums.sound.full()
	}
	return max(z.sums.now[at].full(), z.sums.sound.full())
}

// exchanged is the weight of a zone's feedback where it follows the command of another.
func (z *zone) exchanged(other *memory) float64 {
	low := other.commandLow - slopUnknown - slopGain*other.commandLow
	high := other.commandHigh + slopUnknown + slopGain*other.commandHigh
	if other.commandLow < 12 {
		low, high = min(low, -4), max(high, 14)
	}
	if other.commandHigh > topStop {
		low, high = min(low, topUnknown), 155
	}
	return within(z.memory.feedback, low, high, spreadUnknown) + z.memory.views.alive + z.memory.views.windUp
}

// commandsApart is by how much two commands have to differ for a feedback to tell which of them it follows, percent of level.
// Chosen: the tolerance of two loops; at half, offsets of sound pairs reach it; at double, zones of one hall never tell.
const commandsApart = 20.0

// uncrossed notes which zones could have been seen to be crossed now and are not: their feedback follows their own command,
// and that of another zone is elsewhere.
func (j *Judge) uncrossed(at int64) {
	low, high := math.Inf(1), math.Inf(-1)
	for i := range j.zones {
		if z := &j.zones[i]; z.shows(at) {
			low, high = min(low, z.memory.command), max(high, z.memory.command)
		}
	}
	for i := range j.zones {
		z := &j.zones[i]
		m := &z.memory
		if z.due && z.weighed && !z.crossed && math.Abs(m.residual) <= m.spread && max(high-m.command, m.command-low) > commandsApart {
			z.test(ZonesCrossed)
		}
	}
}

// mayBeCrossed gives the lead of the best crossing that a zone may be part of, and whether there is any.
func (j *Judge) mayBeCrossed(at int) (lead float64, ok bool) {
	lead = math.Inf(-1)
	for i := range j.crossings {
		if c := &j.crossings[i]; (c.a == at || c.b == at) && c.total >= j.zones[at].h {
			lead, ok = max(lead, c.lead), true
		}
	}
	return lead, ok
}

// crossingOf gives the crossing that explains a zone better than its own best explanation does, nil for none.
func (j *Judge) crossingOf(at int) *crossing {
	for i := range j.crossings {
		c := &j.crossings[i]
		if c.a != at && c.b != at || c.open {
			continue
		}
		x, y := &j.zones[c.a], &j.zones[c.b]
		if x.crossed || y.crossed {
			continue
		}
		if c.total >= x.h && c.lead > c.need {
			return c
		}
	}
	return nil
}

// together says whether the evidence against two zones began within three cycles.
func (z *zone) together(other *zone) bool {
	a, b := z.onset(), other.onset()
	return a != 0 && b != 0 && math.Abs(float64(a-b))/1e9 <= 3*max(z.memory.set.CycleSeconds, other.memory.set.CycleSeconds)
}

// onset is when the evidence of a zone's loop began, 0 where there is none.
func (z *zone) onset() int64 {
	at := int64(0)
	for i := range loopers {
		if z.sums.total[i] > suspectNats && (at == 0 || z.sums.since[i] < at) {
			at = z.sums.since[i]
		}
	}
	return at
}

// raiseCrossing makes a finding of two zones that are crossed; what was said of them before is revised.
func (j *Judge) raiseCrossing(c *crossing) {
	cause := ""
	for _, at := range [...]int{c.a, c.b} {
		if z := &j.zones[at]; z.open[loopTrack] >= 0 {
			if !j.leave(at, loopTrack) {
				if cause == "" {
					cause = j.open[z.open[loopTrack]].Cause
				}
				j.end(at, loopTrack, true)
			}
		}
	}
	first := c.a
	if j.zones[c.b].memory.set.Name < j.zones[c.a].memory.set.Name {
		first = c.b
	}
	z := &j.zones[first]
	if cause == "" {
		cause = z.newCause()
	}
	j.seq++
	f := Finding{
		Seq: j.seq, ID: ZonesCrossed, Cause: cause, Zones: []int{c.a, c.b}, Device: -1,
		Onset: c.since, Raised: z.memory.at, Confidence: explanations[explanationOf(ZonesCrossed)].sure,
	}
	j.describe(&f, z)
	c.open = true
	for _, at := range f.Zones {
		z := &j.zones[at]
		z.crossed = true
		z.proof = proof{at: float32(z.memory.setpoint)}
		z.open[loopTrack], z.named[loopTrack] = len(j.open), int8(explanationOf(ZonesCrossed))
	}
	j.open = append(j.open, f)
	j.changes = append(j.changes, f)
}

// endCrossings ends those that nothing speaks for any more: each zone follows its own command again.
func (j *Judge) endCrossings() {
	for i := range j.crossings {
		c := &j.crossings[i]
		if !c.open || c.total > 0 {
			continue
		}
		c.open = false
		x, y := &j.zones[c.a], &j.zones[c.b]
		y.open[loopTrack], x.crossed, y.crossed = -1, false, false
		y.starts(loopTrack)
		j.end(c.a, loopTrack, false)
	}
}
