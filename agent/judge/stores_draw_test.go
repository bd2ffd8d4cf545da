package judge_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"dimwatch/agent/config"
)

// use is what a zone is for.
type use int

const (
	retail  use = iota // lit in hours
	stock              // switched by whoever comes and goes
	unlit              // off all day
	fullDay            // at full all day
)

var useNames = [...]string{"retail", "stock", "off all day", "full all day"}

// storeModel is one invented store as it runs, without a fault.
type storeModel struct {
	seed     uint64
	loc      *time.Location
	lat, lon float64
	from     time.Time
	days     int
	hours    config.Hours
	placed   bool
	sky      *sky
	zones    []*zoneModel
	points   []zonePoints
	devices  []deviceModel
}

// zonePoints are the points that a zone has, and how they come.
type zonePoints struct {
	use               use
	lit               int // 0 none, 1 order, 2 contact
	power, daylight   bool
	device, second    int // of the feedback; of setpoint and command
	setpoint, command coding
	feedback          coding
	watts             coding
	lux               coding
	late              int // polls by which power or command come late
	lateRole          config.Role
	meterEvery        float64 // s from one value of the meter to the next
	wild              float64 // share of readings
	rated             bool
	ballasts          bool
	settle            float64
}

// coding is how a number travels: counts = value/quantum, clipped.
type coding struct {
	quantum   float64 // of the raw number, in its own unit
	low, high float64 // the converter's ends, raw
	point     config.Point
}

type deviceModel struct {
	period, phase, jitter float64
	missing, twice        float64 // share of polls
	gaps                  []interval
	lost, stale           []interval // faults
}

var places = []struct {
	zone     string
	lat, lon float64
}{
	{"America/Denver", 39.9, -104.6}, {"Europe/Stockholm", 58.2, 14.9}, {"Australia/Sydney", -34.1, 150.4}, {"America/Halifax", 45.3, -62.8},
	{"Asia/Tokyo", 36.4, 138.9}, {"Africa/Johannesburg", -26.8, 27.7}, {"Europe/Athens", 38.6, 23.1}, {"Asia/Kolkata", 17.9, 77.2}, {"Europe/Lisbon", 40.1, -8.2},
}

// newStore draws a store that runs for some days. All of it follows from the seed.
func newStore(seed uint64, zones, days int) *storeModel {
	r := rand.New(rand.NewPCG(seed, 77))
	between := func(a, b float64) float64 { return a + (b-a)*r.Float64() }
	chance := func(p float64) bool { return r.Float64() < p }
	place := places[r.IntN(len(places))]
	loc, err := time.LoadLocation(place.zone)
	if err != nil {
		panic(err)
	}
	s := &storeModel{seed: seed, loc: loc, lat: place.lat + between(-2, 2), lon: place.lon + between(-2, 2), days: days, placed: chance(0.85)}
	s.from = time.Date(2026, 1, 1+r.IntN(365), 0, 0, 0, 0, loc)
	if chance(0.35) { // so that the clocks change in it, where they do at all
		for d := range 366 {
			day := time.Date(2026, 1, 1+d, 0, 0, 0, 0, loc)
			if day.AddDate(0, 0, 1).Sub(day) != 24*time.Hour && (r.IntN(2) == 0 || d > 200) {
				s.from = day.AddDate(0, 0, -min(days/2, 9))
				break
			}
		}
	}
	s.sky = newSky(r, s.from.Unix(), float64(days)+1, s.lat, s.lon)
	s.drawHours(r)
	s.drawDevices(r)
	limits := s.drawLimits(r)
	holiday := -1
	if chance(0.3) {
		holiday = r.IntN(days) // nobody has told the configuration
	}
	for i := range zones {
		s.drawZone(r, i, limits, holiday)
	}
	return s
}

func (s *storeModel) drawHours(r *rand.Rand) {
	s.hours = config.Hours{Given: true, Closed: map[int]bool{}}
	open := 60*(5+r.IntN(5)) + 30*r.IntN(2)
	shut := 60*(18+r.IntN(6)) + 15*r.IntN(4)
	switch x := r.Float64(); {
	case x < 0.07:
		open, shut = 0, 1440
	case x < 0.17:
		shut = 1440 + 60
	}
	for d := range 7 {
		s.hours.Days[d] = []config.Span{{From: open, To: shut}}
	}
	if open > 0 {
		switch x := r.Float64(); {
		case x < 0.3:
			s.hours.Days[0] = nil
		case x < 0.6:
			s.hours.Days[0] = []config.Span{{From: open + 120, To: min(shut, 1080)}}
		}
		if r.Float64() < 0.1 { // closed at noon
			for d := 1; d < 6; d++ {
				s.hours.Days[d] = []config.Span{{From: open, To: 13 * 60}, {From: 15 * 60, To: shut}}
			}
		}
	}
	if s.days > 3 && r.Float64() < 0.35 {
		day := s.from.AddDate(0, 0, r.IntN(s.days))
		_, off := day.Zone()
		s.hours.Closed[int((day.Unix()+int64(off))/86400)] = true
	}
}

var periods = []float64{5, 7, 10, 15, 20, 30, 45, 60, 90, 120, 180, 240, 300}

func (s *storeModel) drawDevices(r *rand.Rand) {
	n := 1 + r.IntN(3)
	least := 0
	if s.days > 3 {
		least = 3
	}
	if s.days > 8 {
		least = 6
	}
	period := periods[least+r.IntN(len(periods)-least)]
	for range n {
		d := deviceModel{period: period, phase: period * r.Float64(), jitter: 0.3 * r.Float64() * period * r.Float64()}
		if r.Float64() < 0.3 {
			d.period = periods[least+r.IntN(len(periods)-least)]
		}
		if r.Float64() < 0.5 {
			d.missing = 0.02 * r.Float64()
		}
		if r.Float64() < 0.3 {
			d.twice = 0.01 * r.Float64()
		}
		for day := range s.days {
			if r.Float64() < 0.15 {
				at := 86400 * (float64(day) + r.Float64())
				d.gaps = append(d.gaps, interval{from: at, to: at + 60*math.Pow(10, 0.5+1.8*r.Float64())})
			}
		}
		s.devices = append(s.devices, d)
	}
}

// drawLimits draws the hours in which the utility asks the store for less.
func (s *storeModel) drawLimits(r *rand.Rand) (list []event) {
	if r.Float64() < 0.5 {
		return nil
	}
	for d := range s.days {
		if r.Float64() < 0.4 {
			at := 86400*float64(d) + 3600*(11+8*r.Float64())
			list = append(list, event{kind: "demand limit", from: at, to: at + 60*(15+165*r.Float64()), value: 45 + 30*r.Float64()})
		}
	}
	return list
}

// at gives seconds since the start for a local date and minutes from its midnight.
func (s *storeModel) at(day int, minutes float64) float64 {
	y, m, d := s.from.Date()
	return time.Date(y, m, d+day, 0, 0, int(60*minutes), 0, s.loc).Sub(s.from).Seconds()
}

func (s *storeModel) drawZone(r *rand.Rand, i int, limits []event, holiday int) {
	between := func(a, b float64) float64 { return a + (b-a)*r.Float64() }
	decades := func(a, b float64) float64 { return math.Exp(between(math.Log(a), math.Log(b))) }
	chance := func(p float64) bool { return r.Float64() < p }
	p := zonePoints{power: chance(0.6), daylight: chance(0.6), device: r.IntN(len(s.devices)), rated: chance(0.5), ballasts: chance(0.4), wild: 0}
	switch x := r.Float64(); {
	case x < 0.4:
		p.lit = 1
	case x < 0.62:
		p.lit = 2
	}
	p.second = p.device
	if chance(0.2) {
		p.second = r.IntN(len(s.devices))
	}
	if chance(0.3) {
		p.wild = decades(0.00003, 0.0006)
	}
	switch x := r.Float64(); {
	case x < 0.2 && p.lit == 1:
		p.use = stock
	case x < 0.26 && p.lit == 1:
		p.use = unlit
	case x < 0.34:
		p.use = fullDay
	}

	z := &zoneModel{name: fmt.Sprintf("zone-%02d", i), r: rand.New(rand.NewPCG(s.seed, 1000+uint64(i))), sky: s.sky}
	g := &z.gear
	g.n, g.source, g.voc = float64(1+r.IntN(40)), decades(0.03, 2), between(10.3, 15)
	g.fade, g.log, g.least = decades(0.4, 60), chance(0.3), between(0.02, 0.15)
	g.rated, g.idle, g.exponent = g.n*between(25, 110), between(0.1, 0.35), between(0.8, 1.35)
	g.warm, g.warmTime, g.standby = between(-0.12, 0.06), between(60, 300), between(0, 0.025)
	g.startDelay = between(0, 3)
	if chance(0.12) {
		g.relampAt, g.relit = between(0, 86400*float64(s.days)), between(0.985, 1.08)
	}
	z.meterTau = decades(1, 40)
	p.meterEvery = 1
	if chance(0.3) {
		p.meterEvery = []float64{10, 15, 60}[r.IntN(3)]
	}
	if chance(0.25) {
		g.standby *= 0.4
		z.otherLoad, z.otherGap, z.otherFrom = between(0.005, 0.025), between(600, 5000), between(0, 5000)
	}

	x := &z.tx
	x.gain, x.offset, x.white, x.slow = 1+between(-0.015, 0.015), between(-0.12, 0.12), decades(0.002, 0.08), decades(0.001, 0.03)
	x.lag, x.low, x.high = between(0.05, 0.5), between(3.4, 4), between(20.3, 25)
	if chance(0.1) {
		x.lift = between(0.05, 0.4)
	}
	it := &z.itf
	it.floor, it.gain, it.offset = between(0.3, 1.2), 1+between(-0.03, 0.03), between(-0.1, 0.1)
	it.lag, it.backlash = decades(0.1, 10), max(0, between(-1, 1))
	it.imax = max(10, g.n*g.source*between(1.3, 4))
	it.ron = 0
	if chance(0.3) {
		it.floor = min(it.floor, 1)
		it.ron = between(0, 0.2) / (g.n * g.source)
	}
	if chance(0.1) {
		it.releases, x.high = true, between(20.3, 20.9) // met only after a lighting with the command at full: see drawSetpoint
	}

	p.feedback = s.drawFeedback(r, z)
	s.drawController(r, z)
	s.drawSensor(r, z)
	s.drawSetpoint(r, z, &p)
	p.setpoint, p.command = drawLevel(r, false), drawLevel(r, true)
	if z.ctl.kind == eightBit {
		p.command = coding{quantum: 1, low: 0, high: 255, point: config.Point{Quantity: config.Level, Scale: config.Through([2]float64{0, 255}, [2]float64{0, 100})}}
		z.ctl.commandQuantum = 100.0 / 255
	}
	w := []float64{1, 1, 2, 5, 10, 50}[r.IntN(6)]
	if w > g.rated/40 {
		w = 1
	}
	p.watts = coding{quantum: 1, low: 0, high: 65535, point: config.Point{Quantity: config.Watts, Scale: config.Line{Gain: w}}}
	if chance(0.25) {
		p.late, p.lateRole = 1+r.IntN(3), []config.Role{config.Power, config.Command}[r.IntN(2)]
		if s.devices[p.device].period > 60 {
			p.late = 1
		}
	}
	span := [2]float64{4, 20}
	p.lux = coding{quantum: 0.01, low: 0, high: 25, point: config.Point{Quantity: config.Lux, HasLoop: true, Loop: config.Unity, Scale: config.Through(span, [2]float64{0, z.sen.span})}}
	switch x := r.Float64(); {
	case x < 0.3:
		p.lux.quantum, p.lux.high = 1, 4095
		p.lux.point.Loop = config.Through([2]float64{0, 4095}, [2]float64{0, 24})
	case x < 0.5:
		p.lux = coding{quantum: 1, low: 0, high: 65535, point: config.Point{Quantity: config.Lux, Scale: config.Unity}}
	}
	s.drawLit(r, z, &p, holiday)
	s.drawEvents(r, z, &p, limits)
	base := 60 + 30*float64(r.IntN(7))
	p.settle = base
	z.setpoint, z.sp.raw, z.sp.ramped, z.sp.integral, z.command, z.ctl.sum = 100, 100, 100, 100, 100, 100
	s.zones, s.points = append(s.zones, z), append(s.points, p)
}

// drawLevel draws how a level travels.
func drawLevel(r *rand.Rand, command bool) coding {
	n := 4
	if command {
		n = 5
	}
	switch r.IntN(n) {
	case 0:
		return coding{quantum: 1, low: 0, high: 1000, point: config.Point{Quantity: config.Level, Scale: config.Line{Gain: 0.1}}}
	case 1:
		return coding{quantum: 1, low: 0, high: 100, point: config.Point{Quantity: config.Level, Scale: config.Unity}}
	case 2:
		return coding{quantum: 0.1, low: 0, high: 100, point: config.Point{Quantity: config.Duty, Scale: config.Unity}}
	case 3:
		return coding{quantum: 0.01, low: 0, high: 10, point: config.Point{Quantity: config.Volts, Scale: config.Unity}}
	}
	return coding{quantum: 1, low: 0, high: 255, point: config.Point{Quantity: config.Level, Scale: config.Through([2]float64{0, 255}, [2]float64{0, 100})}}
}

func (s *storeModel) drawFeedback(r *rand.Rand, z *zoneModel) coding {
	volts := config.Through([2]float64{4, 20}, [2]float64{0, 10})
	loop := func(bits int, top float64) coding {
		n := math.Pow(2, float64(bits)) - 1
		z.adc = top / n
		return coding{quantum: 1, low: 0, high: n, point: config.Point{Quantity: config.Volts, HasLoop: true, Loop: config.Through([2]float64{0, n}, [2]float64{0, top}), Scale: volts}}
	}
	switch r.IntN(8) {
	case 0:
		return loop(8, 25)
	case 1:
		return loop(10, 20)
	case 2:
		return loop(10, 25)
	case 3:
		return loop(12, 20)
	case 4:
		return loop(12, 24)
	case 5:
		z.adc = 0.001
		return coding{quantum: 0.01, low: 0, high: 25, point: config.Point{Quantity: config.Volts, HasLoop: true, Loop: config.Unity, Scale: volts}}
	case 6:
		z.adc = 0.005
		return coding{quantum: 0.01, low: 0, high: 12, point: config.Point{Quantity: config.Volts, Scale: config.Unity}}
	}
	z.adc = 0.01
	return coding{quantum: 1, low: 0, high: 110, point: config.Point{Quantity: config.Level, Scale: config.Unity}}
}

func (s *storeModel) drawController(r *rand.Rand, z *zoneModel) {
	between := func(a, b float64) float64 { return a + (b-a)*r.Float64() }
	c := &z.ctl
	c.kind, c.dark = controllerKind(r.IntN(int(controllerKinds))), darkMode(r.IntN(int(darkModes)))
	c.least, c.most, c.commandQuantum = 0, 100, 0.1
	if r.Float64() < 0.3 {
		c.least = between(0, 8)
	}
	lag := z.itf.lag + z.tx.lag
	quantum := max(z.adc/0.16, z.tx.white/0.16*1.5, z.itf.backlash*1.3, z.tx.slow)
	c.deadband = max(between(0.2, 2), quantum)
	c.scan = []float64{1, 1, 2, 5}[r.IntN(4)]
	t := (lag + c.scan) * between(3, 9)
	c.gain, c.rate = 1-math.Exp(-c.scan/t), between(0.3, 4)
	switch c.kind {
	case stepper:
		c.gain = between(0.4, 1.2)
		c.deadband = max(c.deadband, c.gain*(1+lag/c.scan)*0.7)
		if c.deadband > 5 {
			c.scan *= 3
			c.deadband = max(1.5, quantum, c.gain*(1+lag/c.scan)*0.7)
		}
	case velocity:
		c.gain, c.rate = min(1, 2*c.gain), between(0.15, 0.8)
	case sampled:
		c.scan, c.gain, c.rate = max(30, 30*float64(1+r.IntN(2)), 2*lag), between(0.4, 0.8), 10
	case eightBit:
		c.deadband = max(c.deadband, 0.7)
		c.commandQuantum = 100.0 / 255
		if c.gain*c.deadband < c.commandQuantum {
			c.gain = 1.2 * c.commandQuantum / c.deadband
			if c.gain > c.scan/(lag+c.scan)/3 {
				c.deadband *= 2
				c.gain /= 2
			}
		}
	case proportional:
		c.gain *= 0.8
	}
}

func (s *storeModel) drawSensor(r *rand.Rand, z *zoneModel) {
	between := func(a, b float64) float64 { return a + (b-a)*r.Float64() }
	e := &z.sen
	e.exposure = r.IntN(5)
	e.span = []float64{1000, 2000, 5000, 10000}[r.IntN(4)]
	e.share = e.span / 60000 * between(0.4, 2)
	if e.exposure > 0 {
		e.share *= 1.6
	}
	if r.Float64() < 0.5 {
		e.electric = e.span * between(0.01, 0.1)
	}
	if r.Float64() < 0.2 {
		e.yard = e.span * between(0.002, 0.02)
	}
	e.tau, e.noise, e.top = math.Exp(between(math.Log(2), math.Log(300))), between(0.0005, 0.01), between(20.1, 20.9)
}

func (s *storeModel) drawSetpoint(r *rand.Rand, z *zoneModel, p *zonePoints) {
	between := func(a, b float64) float64 { return a + (b-a)*r.Float64() }
	chance := func(p float64) bool { return r.Float64() < p }
	q := &z.sp
	switch x := r.Float64(); {
	case p.use == fullDay:
		q.kind = full
	case x < 0.45:
		q.kind = linear
	case x < 0.7:
		q.kind = stepped
	case x < 0.85:
		q.kind = closedLoop
	default:
		q.kind = schedule
	}
	q.dim, q.bright = z.sen.electric*1.1+z.sen.yard+z.sen.span*between(0.02, 0.12), 0
	q.bright = q.dim + z.sen.span*between(0.15, 0.7)
	q.least, q.most = max(10*z.itf.floor-6, between(5, 50)), between(85, 100)
	if chance(0.6) {
		q.most = 100
	}
	if z.itf.releases { // a loop that asks for full from it would hunt
		q.most = between(80, 92)
		if q.kind == full {
			z.itf.releases = false
		}
	}
	q.tau, q.scan = between(5, 240), []float64{1, 2, 5, 15, 30}[r.IntN(5)]
	if chance(0.5) {
		q.ramp = math.Exp(between(math.Log(0.05), math.Log(2)))
	}
	q.deadband = max(0, between(-2, 3))
	q.quantum = []float64{0.1, 0.1, 0.5, 1, 5}[r.IntN(5)]
	q.levels, q.hold = 2+r.IntN(4), between(60, 900)
	if q.kind == closedLoop {
		q.dim = z.sen.electric*between(0.5, 1) + z.sen.span*between(0.03, 0.15)
		q.bright = q.dim * between(4, 15)
		q.tau = min(q.tau, 60)
	}
	q.darkFollows = chance(0.5)
	level := between(40, 100)
	for h := range q.hourly {
		if chance(0.2) {
			level = 10 * math.Round(between(3, 10))
		}
		q.hourly[h] = min(q.most, max(level, 10*z.itf.floor))
	}
	if chance(0.1) && q.kind == linear {
		q.changeAt, q.changedLeast = 86400*(float64(r.IntN(s.days))+0.1), max(10*z.itf.floor-6, q.least+between(-15, 15))
	}
}

// drawLit draws when the zone is switched on. A zone that nothing but the hours can say of has its light on in them.
func (s *storeModel) drawLit(r *rand.Rand, z *zoneModel, p *zonePoints, holiday int) {
	between := func(a, b float64) float64 { return a + (b-a)*r.Float64() }
	chance := func(p float64) bool { return r.Float64() < p }
	if p.use == unlit {
		return
	}
	lead, lag := between(0, 45), between(0, 45)
	late := 0.0
	if p.lit == 1 && chance(0.3) {
		late = between(0, 30)
	}
	night := chance(0.25)
	crew := chance(0.3)
	quiet := z.ctl.dark == darkZero && !z.sp.darkFollows // says itself that nothing is asked for
	dst := p.lit == 1 && chance(0.3)
	for day := -1; day <= s.days; day++ {
		date := s.from.AddDate(0, 0, day)
		_, off := date.Add(12 * time.Hour).Zone()
		spans := s.hours.Days[int(date.Weekday())]
		if s.hours.Closed[int((date.Unix()+12*3600+int64(off))/86400)] {
			spans = nil
		}
		if day == holiday && (p.lit == 1 || quiet) {
			continue
		}
		shift := 0.0
		if dst { // its controller's clock is an hour off for a day after the change
			_, before := date.AddDate(0, 0, -1).Add(12 * time.Hour).Zone()
			shift = float64(off-before) / 60
		}
		for _, span := range spans {
			from, to := s.at(day, float64(span.From)-lead+late+shift+between(-2, 0)), s.at(day, float64(span.To)+lag+shift+between(0, 3))
			if p.use == stock {
				for t := from; t < to; {
					t += 60 * math.Exp(between(math.Log(3), math.Log(120)))
					l := 60 * math.Exp(between(math.Log(2), math.Log(150)))
					if t+l < to {
						z.lit = append(z.lit, interval{t, t + l, math.NaN()})
					}
					t += l
				}
				continue
			}
			z.lit = append(z.lit, interval{from, to, math.NaN()})
			if night && chance(0.7) {
				z.lit = append(z.lit, interval{to, to + 60*between(20, 120), math.Round(between(15, 50))})
				to = z.lit[len(z.lit)-1].to
			}
			if crew && chance(0.5) {
				at := to + 60*between(10, 90)
				z.lit = append(z.lit, interval{at, at + 60*between(15, 100), []float64{math.NaN(), 100, 60}[r.IntN(3)]})
			}
		}
	}
	slices.SortFunc(z.lit, func(a, b interval) int { return int(a.from - b.from) })
	out := z.lit[:0]
	for _, l := range z.lit {
		if n := len(out); n > 0 && l.from < out[n-1].to {
			if math.IsNaN(l.level) && !math.IsNaN(out[n-1].level) {
				out[n-1].to = l.from // the day takes over from the night
			} else {
				l.from = out[n-1].to
			}
		}
		if l.to > l.from {
			out = append(out, l)
		}
	}
	z.lit = out
}

func (s *storeModel) drawEvents(r *rand.Rand, z *zoneModel, p *zonePoints, limits []event) {
	if r.Float64() < 0.8 {
		z.events = append(z.events, limits...)
	}
	for d := range s.days {
		day := 86400 * float64(d)
		at := func() float64 { return day + 3600*(7+13*r.Float64()) }
		if r.Float64() < 0.12 { // a hand test: a few levels one after the other
			t, left := at(), 60*(2+16*r.Float64())
			for left > 0 {
				l := min(left, 60*(1+10*r.Float64()))
				z.events = append(z.events, event{"command by hand", t, t + l, 10 * float64(r.IntN(11))})
				t, left = t+l, left-l
			}
		}
		if r.Float64() < 0.1 {
			t := at()
			z.events = append(z.events, event{"setpoint by hand", t, t + 60*(5+80*r.Float64()), max(10*z.itf.floor, 10*float64(2+r.IntN(9)))})
		}
		if r.Float64() < 0.1 {
			t := day + 86400*r.Float64()
			z.events = append(z.events, event{"reboot", t, t + 20 + 80*r.Float64(), 0})
		}
	}
	z.events = slices.DeleteFunc(z.events, func(e event) bool { // nobody tests in the dark
		return e.kind == "command by hand" && !slices.ContainsFunc(z.lit, func(l interval) bool { return l.from < e.from-60 && l.to > e.to+60 })
	})
	slices.SortFunc(z.events, func(a, b event) int { return int(a.from - b.from) })
}
