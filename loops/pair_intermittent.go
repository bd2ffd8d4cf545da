package loops

import "math"

// A conductor is loose or chafed: the pair jumps to 0 V, or to its open-circuit voltage, and back by itself, many times.
// Each spell looks like a short, an open pair or a dead interface while it lasts; what tells it from those is that it goes and
// comes again. Spells are counted as a Poisson process: one that returns after an hour is far more likely under a loose
// contact than under a sound pair.

const (
	// spellJump is by how much the pair has to miss what the command lets expect for a spell, percent of level. Chosen: a
	// quarter of the range; at half, clouds and ramps at slow scans would be spells; at double, those below 6 V were missed.
	spellJump = 22.0

	// soundSpellSeconds and wildReadingSeconds are how often a sound pair shows a spell of two samples and more, and of one:
	// once in a lit year, once in a lit month. Measured: wild single readings come once in some hundred days in recordings.
	soundSpellSeconds  = 3e7
	wildReadingSeconds = 2.6e6

	// sameLevel is by how much a contact's spells are apart in level, percent: the noise of the point.
	sameLevel = 1.5

	// looseSeconds is how often a loose contact shows a spell: once in two lit hours, but looseTimes as often at least as a
	// sound pair seems to. Chosen: at half, one that fails twice a day would not add up.
	looseSeconds = 7200.0
	looseTimes   = 10.0

	// spellNats is what the first spell says, whose rate nobody knows. Chosen: about the most that a sample may say.
	spellNats = 4.0

	// spellMemory is the lit time in seconds after which spells are forgotten: a day. Chosen: a contact that fails less than
	// once in a lit day is named by what it is each time.
	spellMemory = 86400.0

	// leastSpells is how many spells make a pair intermittent. Chosen: two may be a repair that did not hold.
	leastSpells = 3
)

// spells follow the pair's excursions to 0 V or to its open-circuit voltage.
type spells struct {
	now, zero        bool    // one is under way; it is at 0 V, not open
	counted          bool    // it was counted
	minimum          bool    // power showed minimum light in it
	odd              bool    // the last sample was off, but not at 0 V or open
	lastOff          bool    // the connector was off in the last one at 0 V
	relapsed         bool    // the pair is at 0 V again after a repair was tried
	samples, seconds float32 // of it, or of the last
	fine             float32 // samples in a row that follow the command again
	unplugs          float32 // samples with full light after minimum, pair at 0 V: the connector was off
	count            float32 // spells so far
	wild             float32 // single readings of that kind so far
	level, lastLevel float32 // of this one and the one before, percent
	place            float32 // the feedback when it last followed the command, percent
	lastLong         float32 // how long the last one at 0 V lasted, seconds
	gained           float32 // nats that it brought
	began            int64
	good             float64 // lit seconds that followed the command since the last
	watched          float64 // lit seconds watched
}

// spell follows the newest sample and adds to the evidence for a loose contact.
func (z *zone) spell() {
	m, s := &z.memory, &z.memory.spells
	if m.off() || m.changing || !(m.lit || m.asked) || m.askedKnown && !m.asked || m.setpoint < nothing {
		s.now = s.now && s.counted // being switched off is no spell
		return
	}
	if s.now && s.samples <= mostLate && float64(m.at-s.began)/1e9 > m.litSeconds {
		z.dropSpell() // it was the zone being switched off, of which its order or its power came later
	}
	s.watched += m.dt
	off := m.feedback - m.expected
	zero, open := m.feedback < shortHigh+1 && off < -spellJump, m.feedback > openLow && off > spellJump
	switch {
	case zero || open:
		s.fine = 0
		if !s.now && math.Abs(m.feedback-float64(s.place)) < jump {
			return // the pair has not moved: it is the command that did
		}
		if !s.now {
			s.begin(m, zero)
		} else {
			s.seconds += float32(m.dt)
		}
		s.samples++
		s.level = float32(m.feedback)
		s.zero = s.zero || zero
		s.light(m)
		if s.samples == 2 {
			z.countSpell(soundSpellSeconds)
		}
	case math.Abs(m.residual) <= 3*m.spread:
		s.place = float32(m.feedback)
		if s.odd {
			s.odd = false
			s.wild++
		}
		if !s.now {
			s.good += m.dt
			return
		}
		if s.fine == 0 && math.Abs(m.feedback-float64(s.level)) < jump {
			z.dropSpell()
			return
		}
		if s.fine++; s.fine < 2 && s.samples > 1 && m.dt < m.tau {
			return
		}
		if !s.counted {
			z.countSpell(s.wildSeconds())
		}
		s.lastLevel = s.level
		s.now, s.relapsed = false, false
		if s.zero && s.samples > 1 {
			s.lastLong, s.lastOff = s.seconds, s.unplugs >= 2
		}
		s.good = 0
	default:
		s.odd = !s.now && math.Abs(m.residual) > spellJump
	}
}

// wildSeconds is how often a single wild reading of this zone falls where a spell would be: as often as wild readings were
// seen elsewhere in the range, which is about as wide; once a day as long as none was.
func (s *spells) wildSeconds() float64 {
	seconds := min(wildReadingSeconds, (s.watched+8640)/(float64(s.wild)+0.1))
	if apart := math.Abs(float64(s.level - s.lastLevel)); apart > 0 && apart < sameLevel {
		seconds *= 100 / (2 * sameLevel) // wild readings lie anywhere, or are the same to the bit
	}
	return seconds
}

// begin starts a spell.
func (s *spells) begin(m *memory, zero bool) {
	s.now, s.zero, s.samples, s.seconds, s.began, s.fine, s.counted = true, zero, 0, 0, m.at, 0, false
	s.minimum, s.unplugs, s.odd = false, 0, false
}

// light notes what the power says of the light within a spell at 0 V.
func (s *spells) light(m *memory) {
	switch {
	case m.watts < 0.6:
		s.minimum = s.minimum || s.samples > 1
	case m.watts > 0.8 && s.minimum:
		s.unplugs++
	}
}

// countSpell counts the spell that is under way. sound is how many seconds a sound pair has between two such.
func (z *zone) countSpell(sound float64) {
	s := &z.memory.spells
	i := explanationOf(PairIntermittent)
	s.counted = true
	if s.count > 0 && s.good > spellMemory {
		s.count, z.sums.total[i] = 0, 0
	}
	nats := spellNats
	if s.count > 0 {
		rate := max(1/looseSeconds, looseTimes/sound)
		nats = math.Log(rate*sound) - (rate-1/sound)*s.good
	} else if s.samples < 2 {
		nats = 0.1
	}
	if s.count++; s.count == 1 || z.sums.total[i] == 0 {
		z.sums.since[i] = s.began
	}
	before := z.sums.total[i]
	if z.sums.total[i] = min(topNats, max(0, before+nats)); z.sums.total[i] == 0 {
		s.count = 0
	}
	s.gained = float32(z.sums.total[i] - before)
}

// dropSpell takes back the spell that is under way. It was none: the pair was sent where it is, and what sent it reaches the
// judge later than the feedback.
func (z *zone) dropSpell() {
	s := &z.memory.spells
	if s.counted {
		i := explanationOf(PairIntermittent)
		s.count = max(0, s.count-1)
		z.sums.total[i] = max(0, z.sums.total[i]-float64(s.gained))
	}
	s.now, s.counted, s.relapsed = false, false, false
}

// loose says whether the spells are enough to call the contact loose; what goes on in one of them is explained by that.
func (z *zone) loose() bool {
	return z.memory.spells.count >= leastSpells && z.sums.total[explanationOf(PairIntermittent)] >= z.h
}

// number is how many spells there were, the one under way included.
func (s *spells) number() float32 {
	if s.now && !s.counted {
		return s.count + 1
	}
	return s.count
}

// returned says whether this is the second fault of the pair within a lit day, and nobody worked at it in between.
func (z *zone) returned() bool {
	s := &z.memory.spells
	return s.now && s.number() > 1 && float64(s.lastLong) > shortShort*z.memory.tau && !s.lastOff && !s.stayed(z.memory.tau)
}

// looseScore is what a loose contact scores, given its own evidence: more than any of its spells looks like once it is
// certain; in a spell before that, less by what speaks for a fault that came to stay.
// Chosen: one sudden fault in twenty is the first spell of a loose contact, one in three where there were spells before.
func (z *zone) looseScore(own float64) float64 {
	const first, second = 3.0, 0.7
	s := &z.memory.spells
	top := math.Inf(-1)
	for i := range loopers {
		if z.can[i] && z.sums.total[i] > 0 {
			top = max(top, z.sums.total[i]+float64(z.sums.now[i].level)+explanations[i].prior)
		}
	}
	switch {
	case z.loose(), s.now && z.open[loopTrack] >= 0 && explanations[z.named[loopTrack]].id == PairIntermittent:
		return max(own, top+revisionNats+1)
	case z.returned():
		return max(own, top+second)
	case s.now && s.number() > 1:
		return max(own, top-second)
	case s.now && s.counted:
		return max(own, top-first)
	}
	return own
}

// quiet says whether a contact that was called loose has been quiet long enough: eight times as long as it was between its
// spells on the average, of lit time that followed the command; an hour at least, six at most.
// Chosen: at a steady rate so long a quiet comes by chance once in 3000 times. At half, loose contacts would clear over lunch.
func (s *spells) quiet(tau, mean float64) bool {
	scale := tau / mostCorrelationSeconds
	return !s.now && s.good >= min(6*3600*scale, max(3600*scale, 8*mean))
}
