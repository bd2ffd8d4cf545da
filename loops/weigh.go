package loops

import (
	"math"
	"slices"
)

// explanation is one row of the weighing: what a finding expects of the samples.
type explanation struct {
	id ID

	// prior is what the explanation owes before it is believed, in nats: for a level that it leaves open, and for being
	// rare. Chosen: 3 for a free level (a thirtieth of the range each), 1..3 for what is seldom met.
	prior float64

	weigh func(*memory) weight // of the newest sample; nil outside the loop's track

	traits trait
	track  track

	// sure is the share of findings with this name that turn out right, or one of those that the points can not tell from it.
	// Measured: on simulated zones and recordings, rounded down; what rests between floor and ceiling has most look-alikes.
	sure float64
}

// track is a group of explanations that compete for the same channels. A zone has at most one finding of each at a time:
// a sensor that has failed does not hide a pair that is shorted.
type track uint8

const (
	loopTrack     track = iota // setpoint, command, feedback and power from sample to sample
	gearTrack                  // power against light, over hours
	setpointTrack              // setpoint against daylight, over days
	tracks
)

// trait is what an explanation is like.
type trait uint8

const (
	// rests: it stands and falls with a feedback that does not move.
	rests trait = 1 << iota

	// errs: it accounts for an error that lasts although the pair obeys the command.
	errs

	// light: it speaks of lit gear, and has nothing to say of a zone that may simply be switched off.
	light

	// local: it shows at some levels only, and a loop that works at others proves nothing.
	local

	// mentioned: it competes and is mentioned beside others, but no finding is made of it alone.
	mentioned
)

// loopers are the explanations of the loop's track: the first so many of explanations.
const loopers = 16

// explanations compete within their track. Those of the loop come first, and the last of them that weighs each sample names no
// part; those of a track stand together, in the order in which the track's file keeps its figures (days.gained, nameGear).
var explanations = [...]explanation{
	{PairShort, 0, weighPairShort, 0, loopTrack, 0.96},
	{PairOpen, -0.5, weighPairOpen, 0, loopTrack, 0.96},
	{CircuitOff, -0.7, weighCircuitOff, 0, loopTrack, 0.96},
	{StuckDim, -0.5, weighStuckDim, rests | light, loopTrack, 0.96},
	{StuckMid, -2, weighStuckMid, rests | light | local, loopTrack, 0.82},
	{NotDimming, -0.5, weighNotDimming, rests | light, loopTrack, 0.92},
	{FeedbackFrozen, -1, weighFeedbackFrozen, errs, loopTrack, 0.94},
	{FeedbackLoopLow, 0, weighFeedbackLoopLow, 0, loopTrack, 0.97},
	{FeedbackLoopHigh, 0, weighFeedbackLoopHigh, 0, loopTrack, 0.97},
	{CommandHeld, -0.5, weighCommandHeld, errs | light, loopTrack, 0.92},
	{CeilingLow, -2.5, weighCeilingLow, light, loopTrack, 0.88},
	{FloorHigh, -2.5, weighFloorHigh, light, loopTrack, 0.88},
	{FeedbackDrift, -3, weighFeedbackDrift, light, loopTrack, 0.92},
	{ReversedAction, -1, weighReversedAction, errs | light, loopTrack, 0.95},
	{Sluggish, -2, weighSluggish, errs | light | local, loopTrack, 0.92},
	{TrackingError, -3, weighTrackingError, errs | light | local, loopTrack, 0.88},

	{PairIntermittent, 0, nil, 0, loopTrack, 0.95},
	{RepairIncomplete, 0, nil, 0, loopTrack, 0.94},
	{ZonesCrossed, 0, nil, 0, loopTrack, 0.94},
	{FeedbackNoisy, 0, nil, 0, loopTrack, 0.94},
	{Hunting, 0, nil, 0, loopTrack, 0.92},

	{SetpointFrozen, -1, nil, 0, setpointTrack, 0.93},
	{DaylightUnused, 0, nil, 0, setpointTrack, 0.93},

	// The gear's track (gear.go), which is tried anew every half hour and not every half minute: ln 60.
	{LampsOut, 4, nil, 0, gearTrack, 0.96},
	{GearStray, 4, nil, 0, gearTrack, 0.96},
	{FeedbackDrift, 4, nil, mentioned, gearTrack, 0.92},
}

const (
	// mostCorrelationSeconds is the time for which samples of a zone say the same again: evidence is counted per correlation
	// time, however often it is polled. A zone whose loop settles faster has half its settle time.
	// Chosen: clouds, controllers and switching move within half a minute to some minutes. At half, a hard fault needs 75 s
	// at 15 s sampling instead of 150; at double, 5 minutes.
	mostCorrelationSeconds  = 30.0
	leastCorrelationSeconds = 1.0

	// mostNats is the most that one correlation time can say for or against. Samples a minute and more apart may say
	// somewhat more, since readings are then independent of each other. Measured on recordings: at half, a hard fault takes three
	// times as long at 15 s sampling, and twice as long at minutes; at double, it is named no better.
	mostNats     = 5.0
	mostNatsSlow = 7.0

	// loopNats is the same for a current loop in certain failure: the signal that its transmitter was made to give. Measured: at
	// half, slow trends take twice as long; at double, nothing changes.
	loopNats = 12.0

	// topNats bounds the sum of evidence, and with it the time that proof of repair takes. Measured: at half, twice as many
	// findings end early and come again; at double, nothing is gained and proof takes longer.
	topNats = 60.0

	// fadeNats is what every explanation loses each correlation time: what is no better than healthy fades away.
	// Chosen: a hundredth of what clear evidence brings; at double, evidence seen in the morning is forgotten by night.
	fadeNats = 0.05

	// grossNats is how much worse than the best an explanation fits that does not fit at all. Measured: recordings are named
	// alike at half and at double.
	grossNats = 6.0

	// revisionNats is by how much another explanation must beat the one that was named to take its place. Measured: at half, an
	// incident has more names and one fault is lost under another; at double, wrong first names stay.
	revisionNats = 6.0
)

// sums are the evidence of one zone.
type sums struct {
	total byExplanation[float64] // each against healthy, never below 0
	since byExplanation[int64]   // when total last left 0
	now   byExplanation[told]
	sound weight // of healthy
	any   bool   // some total is not 0

	misses byExplanation[float32] // for how many correlation times it has not fitted at all

	waiting      float64 // evidence put aside while the feedback is on its way
	waitingSince int64
	left         bool // the feedback has left its old place

	askedAt int64 // when the explanations were last asked
}

// threshold is the evidence that raises a finding: so many nats that all explanations together, tried anew each correlation
// time, are expected to pass it falsely no more often than the stated number of times a year.
// Source: the one-sided CUSUM's mean time between false alarms grows as exp(threshold) (Lorden 1971); the bound
// exp(threshold) samples holds for any log-likelihood ratio.
func threshold(falseFindings, correlationSeconds float64) float64 {
	perYear := 365.25 * 86400 / correlationSeconds
	if falseFindings <= 0 {
		falseFindings = 0.001
	}
	return math.Log(float64(len(explanations)) * perYear / falseFindings)
}

// correlation gives the correlation time of a zone with a settle time, in seconds.
func correlation(settleSeconds float64) float64 {
	return max(leastCorrelationSeconds, min(mostCorrelationSeconds, settleSeconds/2))
}

// add weighs the newest sample and adds it to the sums; false where the explanations did not have to be asked.
func (z *zone) add() bool {
	m, s := &z.memory, &z.sums
	m.view()
	s.sound = weighHealthy(m)
	waits := z.late()
	if z.plain() {
		return false
	}
	off := m.off()
	best := math.Inf(-1)
	for i := range loopers {
		if !z.can[i] {
			continue
		}
		w := explanations[i].weigh(m)
		s.now[i] = w.kept()
		if off && explanations[i].traits&light != 0 {
			continue
		}
		best = max(best, w.full())
	}
	share, most := m.share()
	over := m.overdue()
	gain := bound(best-s.sound.full(), most) * share
	agrees := m.agrees()
	z.unrest(2 * most * share)
	if m.moving() || waits {
		s.wait(gain+over, m)
		return true
	}
	z.settle()
	for i := range loopers {
		if !z.can[i] {
			continue
		}
		if off && explanations[i].traits&light != 0 {
			continue
		}
		w, late := s.now[i], 0.0
		if explanations[i].traits&errs != 0 || math.Abs(m.residual) > 2*m.spread || m.loopSamples > 0 {
			if w.full() > best-3 && (explanations[i].id != Sluggish || m.aim.seconds >= m.set.SettleSeconds) {
				late = over // where another fits far better, the error is that one's; a loop is late once its setpoint rests
			}
		}
		fade := fadeNats
		if z.open[loopTrack] >= 0 && int(z.named[loopTrack]) == i {
			fade = 0 // a finding ends on proof
		}
		gain := gain
		if agrees && explanations[i].id != CommandHeld && explanations[i].id != TrackingError {
			gain = min(0, gain) // nothing is wrong but what is told by errors that come and go
		}
		step := gain + late - (min(best-w.full(), 2*most)+fade)*share
		z.step(i, step)
		z.forget(i, best-w.full(), share)
	}
	z.trim()
	return true
}

// agrees says that setpoint, command and feedback are where each lets the others be, by half the tolerance: whatever else was
// learned of this zone, that speaks for no fault of its loop.
func (m *memory) agrees() bool {
	half := m.set.Tolerance / 2
	return math.Abs(m.setpoint-m.feedback) <= half && math.Abs(m.command-m.feedback) <= half
}

// rewind keeps what is remembered of times from lying after a clock that was set back.
func (s *sums) rewind(at int64) {
	for i := range s.since {
		s.since[i] = min(s.since[i], at)
	}
	s.waitingSince, s.askedAt = min(s.waitingSince, at), min(s.askedAt, at)
}

// rewind does the same for all that a zone remembers.
func (z *zone) rewind() {
	m := &z.memory
	z.sums.rewind(m.at)
	m.gear.rewind(m.at)
	m.jumpedAt, m.loopSince, m.swings.since, m.spells.began = min(m.jumpedAt, m.at), min(m.loopSince, m.at), min(m.swings.since, m.at), min(m.spells.began, m.at)
}

// forget halves, each correlation time, what an explanation has gathered if the samples of late do not fit it at all: what
// was true of the zone before something else happened to it must not stand in the way of naming that.
func (z *zone) forget(i int, misfit, share float64) {
	s := &z.sums
	if misfit < grossNats {
		s.misses[i] = 0
		return
	}
	if s.misses[i] += float32(share); s.misses[i] > 1 {
		s.total[i] *= math.Pow(0.5, share)
	}
}

// wait puts evidence aside while the feedback is on its way: it counts for all alike if it stays away, and for none if the
// reading was only a wild one.
func (s *sums) wait(nats float64, m *memory) {
	if s.waiting == 0 {
		s.waitingSince = m.at - int64(m.dt*1e9)
	}
	s.waiting += max(0, nats)
	s.left = s.left || m.rest.broke
}

// settle adds what was put aside, or drops it.
func (z *zone) settle() {
	s := &z.sums
	if s.waiting > 0 && s.left {
		for i := range loopers {
			if z.can[i] {
				if s.total[i] == 0 {
					s.since[i] = s.waitingSince
				}
				s.total[i] += s.waiting
			}
		}
		s.any = true
	}
	s.waiting, s.left = 0, false
}

// plain says that the newest sample is that of a healthy zone with no evidence against it, and that the explanations were
// asked within the last minute: then they need not be asked again.
func (z *zone) plain() bool {
	const enough = -0.1 // nats: no explanation could gain more
	if z.sums.any || z.open[loopTrack] >= 0 || z.sums.waiting > 0 || z.sums.sound.full() < enough || z.memory.overdue() > 0 || z.memory.movingSamples > 0 {
		z.sums.askedAt = z.memory.at
		return false
	}
	if z.memory.at-z.sums.askedAt >= 60e9 {
		z.sums.askedAt = z.memory.at
		return false
	}
	return true
}

// unrest takes from explanations that stand and fall with a place what they had gathered at the old one: it moved. Left is
// what they may keep.
func (z *zone) unrest(left float64) {
	m := &z.memory
	for i := range loopers {
		e := &explanations[i]
		switch {
		case e.id != FeedbackDrift && m.limitIs(e.id, gone) && !(z.open[loopTrack] >= 0 && int(z.named[loopTrack]) == i):
			z.sums.total[i] = 0 // it was none
		case e.traits&rests != 0 && m.moved || m.limitIs(e.id, moved):
			z.sums.total[i] = min(z.sums.total[i], left)
		}
	}
}

// limitIs says whether something is so of the figure that an explanation stands and falls with; where either of two may be that
// figure, of both that are known.
func (m *memory) limitIs(id ID, so func(*limit) bool) bool {
	switch id {
	case CeilingLow:
		return so(&m.ceiling)
	case FloorHigh:
		return so(&m.floor) && (so(&m.sink) || m.sink.n < 2) || so(&m.sink) && m.floor.n < 2
	case FeedbackDrift:
		return so(&m.offset) && (so(&m.gain) || m.gain.n < 2)
	}
	return false
}

func moved(l *limit) bool { return l.moved }

func gone(l *limit) bool { return l.gone }

// full is the weight that goes into the sums: motion, and of the level only what is beyond doubt.
func (w weight) full() float64 { return w.motion + min(0, w.level+4) }

func bound(x, most float64) float64 { return max(-most, min(most, x)) }

// share is the part of a correlation time that the newest sample stands for, and the most nats that it may say.
func (m *memory) share() (share, most float64) {
	if m.loopFailed() {
		return 1, loopNats
	}
	if m.dt >= m.tau {
		x := min(1, (m.dt-m.tau)/m.tau)
		return 1, mostNats + (mostNatsSlow-mostNats)*x
	}
	return m.dt / m.tau, mostNats
}

// step adds to one sum.
func (z *zone) step(i int, nats float64) {
	s := &z.sums
	c := cusum{s.total[i], s.since[i]}
	c.add(nats, z.memory.at-int64(z.memory.dt*1e9))
	s.total[i], s.since[i] = c.total, c.since
}

// trim takes from all sums what the largest has too much.
func (z *zone) trim() {
	top := 0.0
	for _, total := range z.sums.total[:loopers] {
		if total > top {
			top = total
		}
	}
	z.sums.any = top > 0
	if top <= topNats {
		return
	}
	for i := range loopers {
		z.sums.total[i] = max(0, z.sums.total[i]-(top-topNats))
	}
}

// score is what an explanation can be named for: its evidence, the level where things rest now, and what it owes.
func (z *zone) score(i int) float64 {
	if z.sums.total[i] <= 0 {
		return math.Inf(-1)
	}
	own := z.sums.total[i] + float64(z.sums.now[i].level) + explanations[i].prior
	if explanations[i].id == PairIntermittent {
		return z.looseScore(own)
	}
	return own
}

// span is where the explanations of each track are: from the first to before the last.
var span = func() (at [tracks]struct{ from, to int }) {
	for t := range at {
		of := func(e explanation) bool { return e.track == track(t) }
		if at[t].from = slices.IndexFunc(explanations[:], of); at[t].from < 0 {
			at[t].from = 0
			continue
		}
		for at[t].to = at[t].from; at[t].to < len(explanations) && of(explanations[at[t].to]); at[t].to++ {
		}
	}
	return at
}()

// name tells explanations apart: that of the finding, and of the gear's track beside it where another track has one too.
func (e *explanation) name() string {
	if e.track == gearTrack && explanationOf(e.id) < span[gearTrack].from {
		return "gear/" + e.id.String()
	}
	return e.id.String()
}

// unknown is the explanation that names no part.
const unknown = loopers - 1

// best gives the explanation of a track with the highest score of those that findings are made of, or the one that names no
// part where one that is only mentioned stands far above them; -1 where none has any evidence.
func (z *zone) best(t track) (int, float64) {
	const far = 3.0
	at, top, mention := -1, math.Inf(-1), math.Inf(-1)
	for i := span[t].from; i < span[t].to; i++ {
		e := &explanations[i]
		if !z.can[i] {
			continue
		}
		s := z.score(i)
		if e.traits&mentioned != 0 {
			mention = max(mention, s)
		} else if s > top {
			at, top = i, s
		}
	}
	if mention > top+far {
		// What it is has no finding of its own yet; that the loop is off its setpoint may be one.
		return unknown, z.score(unknown)
	}
	return at, top
}
