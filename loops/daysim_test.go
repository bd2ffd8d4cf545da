package loops

import (
	"math"
	"math/rand/v2"
	"slices"
)

// daySite is a store as the tests of days imagine it: a sun, a sky with weather, rooflights and windows that look somewhere,
// sensors that see daylight and perhaps the lamps, and setpoints that follow them. Its loops are sound. It is plain on
// purpose; the recordings have models of their own.
type daySite struct {
	rand                *rand.Rand
	latitude, longitude float64
	start               int64   // nanoseconds
	cycle               float64 // seconds
	open, shut          float64 // hours of local time
	shift               func(day int) float64
	closed              func(day int) bool
	grey                func(day int) float64 // 0 clear, 1 overcast
	cover               func(day int) float64 // what is left of the light on all rooflights
	zones               []*dayZone
	set                 Settings

	at     float64 // seconds since the start
	cloud  float64
	target float64
}

// dayZone is one zone with its sensor.
type dayZone struct {
	factor   float64 // lux in the store at a high clear sun
	side     float64 // 0 rooflight, -1 looks east, 1 west
	lamps    float64 // lux of its own lamps at the sensor
	noise    float64
	step     float64 // resolution of the sensor, lux
	deadband float64 // it reports only changes beyond this
	top      float64 // lux at which it is clipped
	bright   float64 // lux at which the setpoint is lowest
	low      float64
	high     float64
	constant bool // its setpoint never follows
	slow     float64
	offValue float64 // setpoint while the store is shut; below 0: it goes on following
	night    float64 // setpoint of the first hour, 0 for none
	has      Channels

	local, shown, value float64
	fed                 bool
	setpoint            float64
	sensor              func(z *dayZone, lux, elevation, lit float64) float64 // a fault of the sensor
	loop                float64                                               // mA, where its loop has failed
	stop                bool                                                  // the setpoint's program has stopped
	unused              bool
	limit               func(at float64) (float64, bool) // another program that moves the setpoint
}

const dayHour = 3600.0

func newDaySite(seed uint64, latitude float64, month int, cycle float64, zones int) *daySite {
	r := rand.New(rand.NewPCG(seed, 77))
	s := &daySite{
		rand: r, latitude: latitude, longitude: 300*r.Float64() - 150, cycle: cycle, open: 6 + math.Floor(3*r.Float64()), shut: 20 + math.Floor(3*r.Float64()),
		start: (1767225600 + int64(month-1)*30*86400) * 1e9, // 2026-01-01
		shift: func(int) float64 { return 0 }, closed: func(int) bool { return false }, cover: func(int) float64 { return 1 },
		cloud: 0.3,
	}
	dull := make([]float64, 400)
	for i := range dull {
		dull[i] = r.Float64()
	}
	s.grey = func(day int) float64 { return dull[day] }
	for range zones {
		z := &dayZone{
			factor: 300 + 1500*r.Float64(), side: float64(r.IntN(3)-1) * r.Float64(), noise: 0.5 + 4*r.Float64(), step: []float64{0.1, 1, 5}[r.IntN(3)],
			top: 2500, low: 15 + 20*r.Float64(), high: []float64{100, 100, 95, 90}[r.IntN(4)], slow: 900 * r.Float64(), offValue: []float64{-1, 0, 100}[r.IntN(3)],
			has: loopPoints | Power | Order | Daylight | Sun,
		}
		z.bright = z.factor * (0.35 + 0.4*r.Float64())
		s.zones = append(s.zones, z)
	}
	return s
}

// settle makes the settings; it comes after the zones were changed to what a test wants.
func (s *daySite) settle() {
	s.set = Settings{Devices: []string{"north"}, Placed: true, Latitude: s.latitude, Longitude: s.longitude}
	for i, z := range s.zones {
		s.set.Zones = append(s.set.Zones, ZoneSettings{
			Name: string(rune('a' + i)), Has: z.has, CycleSeconds: s.cycle, Tolerance: 10, SettleSeconds: 90, FalseFindings: 0.001, RatedPower: 1500,
		})
		if z.has.Has(Daylight) {
			s.set.Sensors = append(s.set.Sensors, SensorSettings{Zones: []int{i}})
		}
	}
}

// weather moves the clouds on.
func (s *daySite) weather(day int) {
	grey := s.grey(day)
	if s.rand.Float64() < s.cycle/1500 {
		s.target = 0
		if s.rand.Float64() < grey {
			s.target = 0.5 + 0.4*s.rand.Float64()
		}
		if grey > 0.9 {
			s.target = 0.85 + 0.1*s.rand.Float64() // an overcast day has no gaps
		}
	}
	s.cloud = approach(s.cloud, s.target, s.cycle, 400)
}

// next makes the samples of one round.
func (s *daySite) next(observe func(zone int, sample *Sample)) int64 {
	at := s.start + int64(s.at*1e9)
	elevation, azimuth := SunPosition(at, s.latitude, s.longitude)
	local := math.Mod(s.at/dayHour+float64(s.start/1e9%86400)/dayHour+s.longitude/15+48, 24)
	day := int(s.at / 86400)
	s.weather(day)
	open := !s.closed(day) && local >= s.open+s.shift(day) && local < s.shut+s.shift(day)
	for i, z := range s.zones {
		sample := z.next(s, at, elevation, azimuth, open, local-s.open-s.shift(day))
		observe(i, &sample)
	}
	s.at += s.cycle
	return at
}

func (z *dayZone) next(s *daySite, at int64, elevation, azimuth float64, open bool, since float64) Sample {
	r := s.rand
	height := math.Max(0, math.Sin(elevation*math.Pi/180))
	glow := math.Max(0, math.Min(1, (elevation+6)/12)) * 0.04 // twilight
	z.local += (r.NormFloat64()*0.1 - z.local) * s.cycle / 3000
	beam := 1 + z.side*-math.Sin(azimuth*math.Pi/180)*0.9
	light := z.factor * s.cover(int(s.at/86400)) * (glow + (1-s.cloud)*height*beam + 0.35*s.cloud*height) * (1 + z.local)
	lit := 0.0
	if open {
		lit = z.setpoint / 100
	}
	lux := light + z.lamps*lit
	if z.sensor != nil {
		lux = z.sensor(z, lux, elevation, lit)
	}
	lux = math.Min(z.top, math.Max(0, lux+z.noise*r.NormFloat64()))
	lux = math.Round(lux/z.step) * z.step
	if math.Abs(lux-z.shown) > z.deadband {
		z.shown = lux
	}
	if z.fed {
		z.value = approach(z.value, z.shown-z.lamps*lit, s.cycle, math.Max(1, z.slow))
	} else {
		z.value, z.fed = z.shown, true
	}
	want := z.high - (z.high-z.low)*math.Min(1, math.Max(0, z.value/z.bright))
	switch {
	case z.constant || z.unused:
		want = z.high
	case !open && z.offValue >= 0:
		want = z.offValue
	}
	if z.unused && !open && z.offValue >= 0 {
		want = z.offValue
	}
	if z.night > 0 && open && since < 1 {
		want = z.night
	}
	if z.limit != nil {
		if x, on := z.limit(s.at); on {
			want = math.Min(want, x)
		}
	}
	if !z.stop {
		z.setpoint = math.Round(want*2) / 2
	}
	f := 0.0
	if open {
		f = z.setpoint
	}
	f = math.Round((f+0.3*r.NormFloat64())*10) / 10
	milliamps := 4 + 16*z.shown/5000
	shown := z.shown
	if z.loop != 0 {
		milliamps = z.loop + 0.01*r.NormFloat64()
		shown = (milliamps - 4) / 16 * 5000
	}
	out := Sample{
		At: at, Has: z.has &^ Sun, Setpoint: z.setpoint, Command: z.setpoint, Feedback: f, Order: open,
		Daylight: shown, DaylightMilliamps: milliamps, Power: 1500 * powerCurve(z.setpoint),
	}
	if !open {
		out.Power, out.Command = 0, z.setpoint
	}
	return out
}

// live lets the store live for so many days and gives the findings as they last stood.
func (s *daySite) live(j *Judge, days float64, list []Finding) []Finding {
	for end := s.at + days*86400; s.at < end; {
		at := s.next(func(i int, sample *Sample) { j.Observe(i, sample) })
		j.Answered(0, at, true)
		j.EndRound(at)
		j.Changes(func(f Finding) {
			k := slices.IndexFunc(list, func(o Finding) bool { return o.Seq == f.Seq })
			if k < 0 {
				list = append(list, f)
			} else {
				list[k] = f
			}
		})
	}
	return list
}
