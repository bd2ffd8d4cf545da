package loops

// The current loop of a daylight sensor is in failure: at or below 3.6 mA it is open or the sensor is dead, at or above
// 21 mA it is shorted or the sensor has failed. The setpoint then follows a light that is not there: at a low current the
// zone stays at full by day, at a high one it is dimmed to its least at night. A current needs no light to be judged: it is
// day and night.
// Source: NAMUR NE 43 (secondary): failure at or below 3.6 and at or above 21.0 mA for 4 s at least.

// failure follows a current out of its range: it has failed when it was so for two samples and 4 s.
type failure struct {
	high    bool
	samples int
	seconds float64
}

// follow takes the next current.
func (f *failure) follow(milliamps, dt float64) {
	if RangeOf(milliamps) != CurrentFailed {
		*f = failure{}
		return
	}
	if high := milliamps > 12; f.samples == 0 || high != f.high {
		*f = failure{high: high, samples: 1}
		return
	}
	f.samples = min(f.samples+1, 1000)
	f.seconds += dt
}

// failed says whether the current is in failure for certain.
func (f *failure) failed() bool { return f.samples >= 2 && f.seconds >= 4 }

// weighLoop weighs the current, and says whether it is of no use as a measure of light.
func (s *sensor) weighLoop(m *memory) (useless bool) {
	began := s.failure.samples == 0
	s.failure.follow(s.milliamps, s.dt)
	if s.failure.samples == 0 {
		s.tested[loopLow], s.tested[loopHigh] = s.at, s.at
		share := min(1, s.dt/m.tau)
		most := mostNats
		if s.dt > 2*m.tau {
			most = mostNatsSlow
		}
		s.step(loopLow, -most*share)
		s.step(loopHigh, -most*share)
		return RangeOf(s.milliamps) != CurrentValid
	}
	at := loopLow
	if s.failure.high {
		at = loopHigh
	}
	if began && s.total[at] == 0 {
		s.since[at] = s.at
	}
	if s.failure.failed() {
		since := s.since[at]
		s.step(at, loopNats)
		s.since[at] = since
	}
	if s.total[at] >= s.h { // that explains whatever the reading did
		s.total[standsStill], s.total[againstTheDay], s.regime = 0, 0, [regimes]float64{}
	}
	return true
}
