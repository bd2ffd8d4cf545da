package loops

import "math"

// zone is one zone under judgement.
type zone struct {
	memory memory
	sums   sums
	proof  proof // of the loop's finding
	lag    late  // of the command behind the feedback
	skew   skew
	days   days
	can    byExplanation[bool] `state:"-"` // those that the zone's points support
	h      float64             `state:"-"` // the evidence that raises

	open      [tracks]int         `state:"-"` // index in Judge.open of the finding of each track that stands, -1 for none
	named     [tracks]int8        `state:"-"` // the explanation that the finding of each track names
	dropped   byExplanation[bool] // named before in the incident of the loop that stands, and revised
	weighed   bool                // the newest sample was weighed
	crossed   bool                // its finding is that it is crossed with another zone
	due       bool                // a sample has come since the last decision
	judged    bool                // and it could be judged
	revisions int                 // of the incident that stands
	count     int                 // incidents so far: they number the causes

	reason        string // why it was not
	judgedSeconds float64
	calledSeconds float64
	tested        byFinding[uint32] // seconds since 1970, 0 never
}

func newZone(set *ZoneSettings) zone {
	z := zone{reason: "no sample yet"}
	for t := range z.open {
		z.open[t] = -1
	}
	z.memory.set, z.memory.tau = set, correlation(set.SettleSeconds)
	z.h = threshold(set.FalseFindings, z.memory.tau)
	for i, e := range explanations {
		z.can[i], _ = Support(e.id, set.Has)
	}
	return z
}

const (
	// lightUpSeconds is how long after switching on the pair is left alone: gear starts, and draws its power, within a minute.
	// Source: lamp preheat and start of fluorescent gear (common practice, no source).
	lightUpSeconds = 60.0

	// calmNats is the evidence below which a zone is taken as healthy and learned from. Measured: at half, restless zones are not
	// learned and six false findings come of it; at double, nothing changes.
	calmNats = 4.0
)

// observe takes a sample and weighs it.
func (z *zone) observe(newest *Sample) {
	m := &z.memory
	var room Sample
	s := z.align(newest, &room)
	m.take(s)
	if m.back {
		z.rewind()
	}
	z.judged, z.weighed = false, false
	if z.reason = z.unfit(s); z.reason != "" {
		return
	}
	m.call()
	m.loop()
	if m.has.Has(FeedbackLoop) && m.loopSamples == 0 {
		z.test(FeedbackLoopLow, FeedbackLoopHigh) // the current could have been in failure
	}
	called := m.lit || m.asked
	if called {
		z.calledSeconds += m.dt
	}
	if !m.litKnown && !m.askedKnown {
		z.reason = "not known whether light is asked for or on: give a lit point, power, or the site's hours"
	}
	if !m.complete() {
		if z.reason == "" {
			z.reason = "a reading is missing"
		}
		z.weighLoop()
		return
	}
	m.trace()
	m.wattsShare()
	switch {
	case !called:
		z.weighLoop()
		if z.open[loopTrack] < 0 {
			m.learnDark()
		}
		if z.reason == "" {
			z.reason = "switched off: says nothing"
		}
		return
	case m.changing || m.callSeconds < min(lightUpSeconds, m.set.SettleSeconds):
		z.judged = z.reason == ""
		z.count1()
		return
	}
	z.judged = z.reason == ""
	z.count1()
	if m.gap || !z.judged {
		return
	}
	z.weighed = true
	if m.fading {
		z.spell()
		z.relapse()
		return
	}
	if z.add() {
		z.put()
	}
	z.spell()
	z.relapse()
	z.weighNoise()
	z.weighPace()
	z.hunt()
	if z.open[loopTrack] >= 0 {
		z.prove(int(z.named[loopTrack]))
	}
	m.learnFull()
	if z.calm() {
		m.learn()
	}
	z.weighGear()
}

// idle takes a sample whose values may be old: time goes by, and whether the zone is called for.
func (z *zone) idle(s *Sample) {
	m := &z.memory
	m.take(s)
	if m.back {
		z.rewind()
	}
	z.judged, z.reason = false, "its device repeats old values"
	m.call()
	if m.lit || m.asked {
		z.calledSeconds += m.dt
	}
}

// count1 counts the time that was judged.
func (z *zone) count1() {
	if z.judged {
		z.judgedSeconds += z.memory.dt
	}
}

// unfit says why a sample can not be used at all, "" where it can.
func (z *zone) unfit(s *Sample) string {
	switch {
	case z.memory.set.OutOfService:
		return "out of service"
	case s.Suspended:
		return "a point is out of service or overridden"
	}
	return ""
}

// weighLoop weighs the feedback's current alone, where nothing else can be judged.
func (z *zone) weighLoop() {
	m := &z.memory
	if m.gap || m.changing {
		return
	}
	for i := range loopers {
		e := &explanations[i]
		if !z.can[i] {
			continue
		}
		switch {
		case e.id == FeedbackFrozen && m.complete() && m.learned.repeat[0].n() >= 50:
			z.weighStill(i)
		case !m.has.Has(FeedbackLoop):
		case e.id == FeedbackLoopLow && m.loopFailsLow(), e.id == FeedbackLoopHigh && m.loopFailsHigh():
			if m.loopFailed() {
				z.step(i, loopNats)
			}
		case e.id == FeedbackLoopLow, e.id == FeedbackLoopHigh:
			share, most := m.share()
			z.step(i, -most*share)
		case e.id == NotDimming && m.loopFailed() && m.loopFailsHigh() && m.litKnown && !m.lit:
			z.step(i, -loopNats) // dark gear can not hold a pair up
		}
	}
	z.trim()
}

// darkMostNats is the most that a feedback that stands still in the dark is held against it: light has to confirm it. Measured:
// at half, nothing changes; at double, nine quiet converters were called frozen by night.
const darkMostNats = 15.0

// weighStill weighs a feedback that repeats itself in the dark, where the noise that it has there is known.
func (z *zone) weighStill(i int) {
	m := &z.memory
	share, most := m.share()
	if !m.still.repeated {
		z.step(i, -most*share)
		return
	}
	if z.sums.total[i] < darkMostNats {
		z.step(i, -math.Log(m.repeatShare())*share)
	}
}

// calm says whether nothing speaks against the zone being healthy.
func (z *zone) calm() bool {
	m := &z.memory
	if !m.lit || math.Abs(m.residual) > 2.5*m.spread {
		return false
	}
	for i := range explanations {
		if explanations[i].track == loopTrack && z.sums.total[i] > calmNats {
			return false
		}
	}
	return z.open[loopTrack] < 0
}

// floorSeen is the level in percent at and below which a pair that follows its command has no floor. Chosen: sound pairs come
// down to 10 to 15 %; at half, none is ever tested; at double, a floor at 3 V is taken for tested.
const floorSeen = 20.0

// put notes which findings the newest sample could have contradicted.
func (z *zone) put() {
	m, sound := &z.memory, z.sums.sound.full()
	if m.lit && math.Abs(m.residual) <= m.spread {
		// A pair that gets where a stop would have kept it from: that needs no stop to be suspected before.
		if m.feedback >= ceilingHigh {
			z.test(CeilingLow)
		}
		if m.feedback <= floorSeen && m.feedback > litLevel {
			z.test(FloorHigh)
		}
	}
	for i := range loopers {
		if z.can[i] && sound-z.sums.now[i].full() > 1 {
			z.test(explanations[i].id)
			if explanations[i].id == PairShort {
				z.test(PairIntermittent, RepairIncomplete) // a short that is back, or comes and goes, is one while it lasts
			}
		}
	}
	if m.learned.follow.n >= driftLearned && math.Abs(m.residual) <= 2*m.spread {
		z.test(FeedbackDrift)
	}
	if m.control == content && m.pace.tells() {
		z.test(Sluggish, ReversedAction)
	}
}

// test notes that the newest sample could have contradicted findings.
func (z *zone) test(ids ...ID) {
	for _, id := range ids {
		z.tested[id] = uint32(z.memory.at / 1e9)
	}
}
