package loops

import "math"

// The daylight sensor does not see the day: it is covered or dirty and dark at noon, it is turned round, or it sees the
// electric light and is bright at night. The setpoint follows it: full light through the day, or dimmed through the night.
//
// What a sensor sees by day is compared with what it usually saw at that height of the sun, less what the other sensors of the
// site show: weather and snow on all rooflights darken all. Where there is no other sensor, only a day that is darker than any
// weather counts. At night it is compared with what it saw at night before, without and with the electric light: what a lit
// shop floor always gave is no fault. A sensor that never saw the day (a store without windows) is not judged.

// The times at which a sensor shows that it does not see the day, each with evidence and proof of its own: a sensor that is
// covered is right at night, one that sees the lamps is right in the dark.
const (
	atNight = iota // unlit
	atNightLit
	byDay
	regimes
)

const (
	// daysStep is how often, in seconds, what takes hours is weighed. Chosen: clouds move within minutes.
	daysStep = 60.0

	// usualHours is how much of a stretch of the sun's way, or of the night, has to be known. Chosen: half an hour is passed
	// in each on the first day; at double, a store needs three days before it is judged.
	usualHours = 0.5

	// dimmer is how much darker than the others, in nats, a sensor may be: a factor of 3.3, beyond which it counts.
	// Chosen: under a grey sky one that faced the sun loses up to five sixths, one that did not next to nothing.
	dimmer = 1.2

	// dimmest is the same where there is no other sensor: a factor of 9. Source: heavy cloud leaves 3 to 10 % of the clear
	// sky's light (common practice, no source).
	dimmest = 2.2

	// brightShare is how much of the day's reach a sensor may show at night above what it usually does.
	// Chosen: a new sign or a lit car park gives some per cent; at half these count, at double a turned sensor does not.
	brightShare = 0.08
)

// darkest is what the sensor sees when it is dark.
func (s *sensor) darkest() float64 {
	d := math.Inf(1)
	for i := range s.nights {
		if s.nights[i].hours >= usualHours {
			d = min(d, s.nights[i].mean)
		}
	}
	if math.IsInf(d, 1) {
		return s.lowest
	}
	return d
}

// reach is how much the brightest stretch of the day usually gives beyond the dark; known where the sensor sees the day.
func (s *sensor) reach() (float64, bool) {
	top, dark, rough := 0.0, s.darkest(), 0.0
	for i := range s.usually {
		if s.usually[i].hours >= usualHours {
			top = max(top, s.usually[i].mean-dark)
		}
	}
	for i := range s.nights {
		rough = max(rough, s.nights[i].off)
	}
	return top, top > 5*rough && top > 0
}

// expects is what the sensor usually sees now.
func (s *sensor) expects(sky *sky) (float64, bool) {
	if sky.up() {
		u := &s.usually[sky.bin()]
		return u.mean, u.hours >= usualHours
	}
	return s.darkest(), sky.night()
}

// weighDay weighs the reading against the sun, once a minute.
func (s *sensor) weighDay(m *memory, sky *sky, alive bool) {
	dt := float64(s.at-s.daysAt) / 1e9
	if s.daysAt != 0 && dt >= 0 && dt < daysStep {
		return
	}
	s.daysAt = s.at
	if dt > m.longest()+daysStep {
		dt = 0
	}
	if !sky.placed {
		return
	}
	if sky.day != s.day {
		s.day, s.gained = sky.day, 0
	}
	hours := dt / 3600
	s.compared = false
	reach, sees := s.reach()
	switch {
	case sky.up():
		s.weighNoon(sky, hours, sees, alive)
	case sky.night() && (m.litKnown || m.askedKnown) && !m.changing:
		s.weighMidnight(m, hours, reach, sees, alive)
	}
}

// weighNoon weighs a reading by day, and learns from it.
func (s *sensor) weighNoon(sky *sky, hours float64, sees, alive bool) {
	if !alive {
		return
	}
	u := &s.usually[sky.bin()]
	learned := hours
	if sees && u.hours >= usualHours {
		dark, typical := s.darkest(), u.mean-s.darkest()
		const least = 0.03 // of what is usual: where it is darker, noise is compared
		s.light = math.Log((max(0, s.level-dark) + least*typical) / ((1 + least) * typical))
		if s.compared = typical > 0.05*math.Abs(dark); s.compared && s.dim(sky, hours) {
			learned /= oddShare
		}
	}
	if !s.suspect() {
		u.add(s.level, learned, rememberedHours)
	}
}

// dim weighs how much darker the sensor is than it usually is and than the others are now, and says whether that is odd.
func (s *sensor) dim(sky *sky, hours float64) (odd bool) {
	others, light := sky.lights, sky.light
	if s.mixed {
		others, light = others-1, light-s.mixedLight
	}
	allowed, spread := dimmest, 0.5
	if others >= 1 {
		light /= others
		allowed, spread = dimmer-min(0, light), 0.4+0.3/others
	}
	x := s.light + allowed
	const proof = 0.4 // nats above what is allowed: as bright as the others
	switch {
	case x > proof:
		s.tested[againstTheDay] = s.at
		s.proves(byDay, hours)
	case x > 0:
		s.against(byDay, -slackNats*hours)
	default:
		s.against(byDay, (min(hourMostNats, -fit(x, spread))-slackNats)*hours)
	}
	return x < 0
}

// weighMidnight weighs a reading at night, and learns from it.
func (s *sensor) weighMidnight(m *memory, hours, reach float64, sees, alive bool) {
	at := atNight
	if m.lit || m.asked && !m.litKnown {
		at = atNightLit
	}
	u := &s.nights[at]
	learned := hours
	most := u.mean + 4*u.off + s.hold.least
	usually := u.hours >= usualHours && s.level < most
	if sees && u.hours >= usualHours && alive {
		x := (s.level-most)/(brightShare*reach) - 1
		if x <= 0 {
			s.tested[againstTheDay] = s.at
			s.proves(at, hours)
		} else {
			learned /= oddShare
			s.against(at, (min(hourMostNats, -fit(x, 1))-slackNats)*hours)
		}
	}
	if !s.suspect() && (alive || usually) {
		u.add(s.level, learned, rememberedHours)
	}
}

// oddShare is how many times slower is learned what is odd. Chosen: what has changed for good is usual after some weeks; at
// half, a day's fault bends what is known of the night; at double, a new lamp is named.
const oddShare = 20.0

// against adds to the evidence of one of the times at which the sensor does not see the day. A day counts so much and no
// more. A reading that stands still all the while may be held; then it is that. Against a finding that stands only proof
// counts.
func (s *sensor) against(regime int, nats float64) {
	switch {
	case nats > 0:
		s.stands(nats)
		if s.open >= 0 && s.total[standsStill] > s.h {
			return // it is known to stand still, and that explains it
		}
		nats = min(nats, dayMostNats-s.gained)
		s.gained += nats
	case s.open >= 0:
		return
	}
	s.weighs(regime, nats)
}

// proves takes proof that the sensor sees the day, or the night, for what it is.
func (s *sensor) proves(regime int, hours float64) { s.weighs(regime, -proofNats*hours) }

// proofNats is what one hour of proof takes back. Chosen: a repair is acknowledged after half a day, a few hours of which
// prove something; at half, the next day; at double, a gap in the clouds would do.
const proofNats = 6.0

func (s *sensor) weighs(regime int, nats float64) {
	most := dayTopNats(s.h)
	sum := -s.regime[regime]
	for _, x := range s.regime {
		sum += x
	}
	s.regime[regime] = max(0, min(most-sum, s.regime[regime]+nats))
	sum += s.regime[regime]
	if s.total[againstTheDay] == 0 && sum > 0 {
		s.since[againstTheDay] = s.at - int64(s.dt*1e9)
	}
	s.total[againstTheDay] = sum
}
