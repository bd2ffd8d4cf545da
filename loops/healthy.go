package loops

// Healthy: the pair does what the command says, within what is known of this zone; power goes with the pair; and setpoint
// and feedback meet within the settle time. What a healthy zone may do besides is someone at the command: a hand test takes
// minutes.

func weighHealthy(m *memory) weight {
	// Power that does not go with the pair may be the gear's (gear.go): it is no evidence against the loop.
	w := weight{motion: m.views.follows + m.views.alive, level: max(m.views.lightPair, gearLevel)}
	if m.dark() {
		doubt := m.darkDoubt()
		w.motion = max(w.motion, -doubt)
		w.level = max(w.level, -doubt)
	}
	return w
}

// gearLevel is the weight of a sound loop with gear of another power. Chosen: as far as a level goes that is still not beyond
// doubt (full).
const gearLevel = -4.0

// dark says whether light is asked for and none is seen: neither contact, power nor feedback shows any.
func (m *memory) dark() bool { return m.asked && !(m.lit && m.litSeen) && m.feedback < litLevel }

// off says that the zone may simply be switched off: its contact or power says so, or nothing speaks against it.
func (m *memory) off() bool {
	return m.litSeen && !m.lit || m.dark() && m.darkDoubt() < 6
}

// darkDoubt is how unlikely it is that a zone without any sign of light is simply switched off, where asked is only known
// from the site's hours. 0: no doubt at all that it may be.
func (m *memory) darkDoubt() float64 {
	switch {
	case m.askedFirm:
		return -worst
	case m.working:
		return 6 // its controller works on the error: it thinks that the zone is lit
	case m.othersLit >= 0.5:
		return 2
	case !m.othersKnown && m.wasLit:
		return 1 // nobody to ask, but it went out while light was asked for
	}
	return 0
}

// handTimes is the scale, in correlation times (270 s of 30 s), of the time for which a healthy zone is held off its setpoint by hand or by a slow controller
// beyond its settle time: the chance that it lasts t is exp(-(t/scale)²).
// Chosen: someone who tries a zone by hand is done within a quarter of an hour (1 in 60000 is not); a finding on the error
// alone then comes after some 20 minutes. At half, hand tests would be reported; at double, it comes after 45.
// It goes with the correlation time, so that a site whose loops settle in seconds is judged in its own time.
const handTimes = 9.0

// overdue is what the newest sample adds to the evidence against a zone that should have met its setpoint.
func (m *memory) overdue() float64 {
	late := m.errorSeconds - m.set.SettleSeconds
	if late <= 0 {
		return 0
	}
	before := max(0, late-m.dt)
	// Between two samples that lie far apart the zone may have met its setpoint: one more sample off it says no more than
	// that such a zone is caught so one time in ten.
	scale := handTimes * m.tau
	return min(2.3, (late*late-before*before)/(scale*scale))
}
