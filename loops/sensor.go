package loops

import "math"

// Daylight sensors are judged as devices are, not zone by zone: one sensor may serve several zones, and sensors on one supply
// fail together. Each has an own sum of evidence for each of its findings; what is seen is in the files named after them.
// The current's failure is hard evidence and counts in seconds. A reading that stands still while the sun moves counts in
// hours. A reading that does not go with the day counts in days: no single day is enough, whatever happens on it.

// SensorSettings are what the configuration says of one daylight sensor.
type SensorSettings struct {
	Device int   // index in Settings.Devices
	Zones  []int // indices in Settings.Zones of the zones that have it as their daylight point, rising
}

// The findings of a sensor, as indices of its sums.
const (
	loopLow = iota
	loopHigh
	standsStill
	againstTheDay
	sensorFindings
)

var sensorIDs = [sensorFindings]ID{SensorLoopLow, SensorLoopHigh, SensorFrozen, SensorImplausible}

// sensor is what is remembered of one daylight sensor. Its size is fixed.
type sensor struct {
	open  int `state:"-"` // index in Judge.open of its finding, -1 for none
	count int
	h     float64 `state:"-"` // the evidence that raises
	loop  bool    `state:"-"` // it comes as a current

	at               int64
	seen             bool
	dt               float64
	value, milliamps float64    // lux, mA
	earlier          [2]float64 // the two readings before
	level            float64    // the middle of the last three: one may be nonsense

	failure failure // of its current
	hold    hold    // stillness of its reading

	lowest, highest float64 // readings seen twice in a row
	ranged          bool

	total bySensorFinding[float64]
	since bySensorFinding[int64]

	// What it usually sees: by the sun's way, and at night without and with the electric light.
	usually [sunBins]usual
	nights  [2]usual

	daysAt     int64
	regime     [regimes]float64 // evidence of sensor-implausible by when it shows
	day        int64
	gained     float64 // that evidence on this day
	light      float64 // how bright it is beside what it usually sees, nats
	compared   bool    // whether that is known
	mixed      bool    // it is in the sky's sum
	mixedLight float64 // with this much

	tested bySensorFinding[int64]
}

// usual is what is usual of a value: its mean, how far it is off that, and how many hours were seen.
type usual struct{ hours, mean, off float64 }

// add takes a value that lasted so many hours; at most most hours are remembered.
func (u *usual) add(x, hours, most float64) {
	if hours <= 0 {
		return
	}
	u.hours = min(most, u.hours+hours)
	part := min(1, hours/u.hours)
	u.off += (math.Abs(x-u.mean) - u.off) * part
	if u.hours == hours {
		u.off = 0
	}
	u.mean += (x - u.mean) * part
}

const (
	// sensorTopNats bounds a sum, and with it the time that proof of repair takes. Chosen: the default threshold is 24; at
	// half, nothing would be named, at double, proof takes twice as long.
	sensorTopNats = 40.0

	// dayMostNats is the most that one day says against a sensor or a setpoint. Chosen: more than half of the threshold, so
	// that two days of the same are needed and enough; at double, one odd day would do; at half, four days are needed.
	dayMostNats = 13.0

	// daysSeconds is how long what is named after days has to last at least, 30 h: a day by hand is over by then, also where it
	// is light around the clock. Chosen: at half, a long summer day would be two; at double, a third day is needed.
	daysSeconds = 108000.0

	// hourMostNats is the most that one hour says. Source of the hour: clouds that pass are alike for tens of minutes (common
	// practice, no source). Chosen: four to five clear hours fill a day's measure; at half, short winter days would not.
	hourMostNats = 3.0

	// slackNats is what one hour has to say before it counts. Chosen: what is usual is learned from days, not years; at half,
	// a sensor that weather hits harder than others is suspected for weeks; at double, a poster over a sensor is missed.
	slackNats = 0.7

	// rememberedHours is how much of a stretch of the sun's way is remembered. Chosen: two to four weeks; at half, a grey week
	// is taken for the usual; at double, the season runs ahead of it.
	rememberedHours = 20.0

	// companyCycles is how many samples sensors may fail apart to have failed together. Chosen: devices are polled in turn.
	companyCycles = 3.0
)

// dayTopNats bounds a sum of what is named after days, for a threshold: proof is slow, since it needs day or night.
func dayTopNats(h float64) float64 { return max(0.75*sensorTopNats, h+2) }

// daylight weighs a zone's newest sample against the sky: its sensor's reading, and its setpoint.
func (j *Judge) daylight(at int, s *Sample) {
	z := &j.zones[at]
	m, own := &z.memory, j.sensorOf[at]
	j.sky.turn(m.at)
	d := &j.devices[m.set.Device]
	window := max(aliveSeconds, 5*m.set.CycleSeconds)
	d.news = approach(d.news, 0, max(0, float64(m.at-d.newsAt)/1e9), window)
	d.newsAt = m.at
	if z.days.news(m, s) {
		d.news++
	}
	if z.unfit(s) != "" {
		return
	}
	alive := d.news > aliveNews
	var sensor *sensor
	if own >= 0 {
		sensor = &j.sensors[own]
		if j.lead(own) == at && m.has.Has(Daylight) {
			sensor.observe(s, m, &j.sky, alive)
		}
	}
	z.days.named = None
	if k := z.open[setpointTrack]; k >= 0 {
		z.days.named = j.open[k].ID
	}
	z.weighDays(s, &j.sky, sensor, alive)
}

// A device is alive while more than aliveNews readings were new in about the last aliveSeconds. Where all its points stand
// still, nothing is made of one that does: the device holds old values, not the point. Chosen: noise alone moves the readings
// of a live device within minutes; one reading that is nonsense is no sign of life.
const (
	aliveSeconds = 900.0
	aliveNews    = 1.5
)

// mostLux bounds what is taken for a reading. Source: full sun gives some 130 klx (common practice, no source).
const mostLux = 1e6

// observe weighs one reading.
func (s *sensor) observe(sample *Sample, m *memory, sky *sky, alive bool) {
	s.dt = float64(sample.At-s.at) / 1e9
	if !s.seen || s.dt < 0 || s.dt > m.longest() {
		s.dt = 0
		for i := range s.since {
			s.since[i] = min(s.since[i], sample.At)
		}
		s.daysAt, s.hold.since = min(s.daysAt, sample.At), min(s.hold.since, sample.At)
		s.failure.seconds = 0
	}
	if !s.seen {
		s.value = bound(sample.Daylight, mostLux)
		s.earlier[0] = s.value
	}
	s.earlier[0], s.earlier[1] = s.value, s.earlier[0]
	s.seen, s.at = true, sample.At
	s.value, s.milliamps = bound(sample.Daylight, mostLux), bound(sample.DaylightMilliamps, 1000)
	if s.loop && m.has.Has(DaylightLoop) && s.weighLoop(m) {
		return // a current out of its range is no light
	}
	a, b, c := s.value, s.earlier[0], s.earlier[1]
	s.level = max(min(a, b), min(max(a, b), c))
	if a != b {
		s.reaches(max(a, b), min(a, b))
	}
	s.weighStill(sky, alive)
	s.weighDay(m, sky, alive)
}

// reaches widens the range seen: two readings in a row have to be beyond it, one may be nonsense, and a reading that only
// repeats itself shows nothing.
func (s *sensor) reaches(high, low float64) {
	if !s.ranged {
		s.ranged, s.lowest, s.highest = true, high, low
	}
	s.lowest, s.highest = min(s.lowest, high), max(s.highest, low)
}

// step adds to one sum.
func (s *sensor) step(i int, nats float64) {
	was := s.total[i]
	s.total[i] = min(sensorTopNats, max(0, was+nats))
	if was == 0 && s.total[i] > 0 {
		s.since[i] = s.at - int64(s.dt*1e9)
	}
}

// suspect says that something speaks against the sensor: nothing is learned from it or by it.
func (s *sensor) suspect() bool {
	for _, t := range s.total {
		if t > calmNats {
			return true
		}
	}
	return s.open >= 0
}

// best gives the finding that stands highest.
func (s *sensor) best() (at int) {
	for i := range s.total {
		if s.total[i] > s.total[at] {
			at = i
		}
	}
	return at
}
