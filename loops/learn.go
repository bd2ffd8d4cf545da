package loops

import "math"

// What is learned of a zone while it is healthy.

// learned is what was learned of a zone while it was healthy.
type learned struct {
	follow line        // feedback over command
	top    mean        // feedback at full command
	size   mean        // distance from that line
	again  [3]mean     // the same after two repetitions in a row
	repeat [3]mean     // share of samples whose feedback repeats the one before: near 0, between, near full
	noise  mean        // size of the step from one feedback to the next while nothing moves
	jitter [bands]mean // jitter of the feedback, see noise
	pace   [paces]mean // distance of the feedback from the setpoint as loops of each pace would have reached it
	watts  [11]mean    // power by tenth of feedback
	watt1  float64     // power at full as the powers seen let expect, 0 where none was
}

// mean is a running mean with a limited memory.
type mean struct{ count, middle float32 }

func (m *mean) add(x, most float64) {
	if m.count < float32(most) {
		m.count++
	}
	m.middle += (float32(x) - m.middle) / m.count
}

func (m *mean) n() float64     { return float64(m.count) }
func (m *mean) value() float64 { return float64(m.middle) }

// learnDark takes the newest sample as one of a zone that is switched off.
func (m *memory) learnDark() {
	if !m.gap && m.region() == 0 && m.still.run < 10 {
		repeated := 0.0
		if m.still.repeated {
			repeated = 1
		}
		m.learned.repeats(m, repeated)
	}
}

// repeats learns whether a live feedback repeated itself.
func (l *learned) repeats(m *memory, repeated float64) {
	if m.still.before >= 2 {
		l.again[m.region()].add(repeated, 2000)
	} else {
		l.repeat[m.region()].add(repeated, 2000)
	}
}

// region tells where the feedback is: near the ends of their range converters clip, and repeat more often.
func (m *memory) region() int {
	switch {
	case m.feedback < 2:
		return 0
	case m.feedback > 98:
		return 2
	}
	return 1
}

// learn takes the newest sample as one of a healthy zone.
func (m *memory) learn() {
	l := &m.learned
	settled := m.commandHigh-m.commandLow < 1 && !m.gap
	switch {
	case !settled:
	case m.command > topStop:
		l.top.add(m.feedback, 400)
	case m.command > 12 && m.command < 88 && m.feedback > 12 && m.rest.off == 0 && m.rest.n >= 3 && m.rest.highC-m.rest.lowC < 3:
		l.size.add(math.Abs(m.feedback-m.expected), 400)
		l.follow.add(m.command, m.feedback)
	}
	if m.hold.seconds > m.tau && !m.gap && (m.region() == 0 || !m.clipped()) {
		repeated := 0.0
		if m.still.repeated {
			repeated = 1
		}
		l.repeats(m, repeated)
		if m.rest.off == 0 && m.rest.n > 3 {
			l.noise.add(math.Abs(m.feedback-m.rest.level), 400)
		}
	}
	if m.noise.known {
		l.jitter[band(m.feedback)].add(math.Abs(m.noise.x), 2000)
	}
	m.pace.learn(m)
	if m.powerSteady() && settled && m.feedback > 8 {
		w := &l.watts[tenth(m.feedback)]
		if w.n() < 10 || math.Abs(m.power-w.value()) < 0.3*w.value() {
			w.add(m.power, 400)
		}
	}
}

// powerSteady says whether the power can be learned from: it is there, agrees with the sample before, and is no more than
// the zone can draw by what the configuration says of it. One wild reading teaches nothing.
func (m *memory) powerSteady() bool {
	if !m.has.Has(Power) || m.power <= noWatts || !(math.Abs(m.power-float64(m.powerBefore)) <= 0.05*m.power) {
		return false
	}
	most := math.Inf(1)
	switch {
	case m.set.RatedPower > 0:
		most = 2 * m.set.RatedPower
	case m.set.Ballasts > 0:
		most = guessFactor * ballastWatts * float64(m.set.Ballasts)
	}
	return m.power < most
}

// learnFull learns the power at full from any light that agrees with the command. It rises quickly and sinks slowly, so
// that neither a low level nor a wild reading is taken for it for long.
func (m *memory) learnFull() {
	if !m.powerSteady() || m.feedback < 30 || m.residual != 0 || m.commandHigh-m.commandLow > 1 {
		return
	}
	l, full := &m.learned, m.power/powerCurve(m.feedback)
	switch {
	case l.watt1 == 0:
		l.watt1 = full // on its way up from nothing it would take what an unlit zone draws for light
	case full > l.watt1:
		l.watt1 += (full - l.watt1) / 4
	default:
		l.watt1 += (full - l.watt1) / 100
	}
}

// tenth gives the tenth of the range that a level is nearest to, 0..10.
func tenth(x float64) int { return max(0, min(10, int(x/10+0.5))) }
