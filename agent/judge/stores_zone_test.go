package judge_test

import (
	"math"
	"math/rand/v2"

	"dimwatch/loops"
)

// What a zone of the model is made of. Units: volts of the pair, milliamperes, percent of level, watts, lux, seconds. The
// ranges are those of a simulation model of the trade (circuit notes): assumed or common practice, no source.

type gear struct {
	n               float64 // how many
	source          float64 // mA each
	voc             float64 // V, open circuit
	fade            float64 // s, light after the pair
	log             bool    // light curve
	least           float64 // light at minimum, 0..1
	rated           float64 // W at full
	idle, exponent  float64 // power at no light as a share, and the curve
	warm, warmTime  float64 // how far from its power a cold start is, and for how long
	standby         float64 // share of rated that remains when off
	startDelay      float64 // s until fed gear sources current
	stray, out      float64 // share that stays at full; share that is dead
	relampAt, relit float64 // time, and power after it
}

type iface struct {
	floor, gain, offset float64 // V, -, V
	lag, backlash       float64 // s, % of level
	releases            bool    // at 100 % it lets go
	imax                float64 // mA
	ron                 float64 // kohm
}

type transmitter struct {
	gain, offset    float64 // -, mA
	white, slow     float64 // mA rms
	lag             float64
	low, high       float64 // limits, mA
	lift            float64 // V: tapped at the gear
	wander, current float64
}

type controllerKind int

const (
	integrator controllerKind = iota
	stepper
	velocity
	proportional // and integral
	sampled      // holds for a minute
	eightBit
	controllerKinds
)

var controllerNames = [...]string{"integrator", "stepper", "velocity", "PI", "sample-and-hold", "8-bit"}

type controller struct {
	kind           controllerKind
	scan, next     float64
	gain, rate     float64 // per scan; % per second
	deadband       float64
	least, most    float64
	dark           darkMode
	sum            float64
	mean, meanN    float64
	commandQuantum float64
}

type darkMode int

const (
	darkHold darkMode = iota
	darkZero
	darkFull
	darkRuns
	darkModes
)

type setpointKind int

const (
	linear setpointKind = iota
	stepped
	closedLoop
	schedule
	full
	setpointKinds
)

var setpointNames = [...]string{"linear", "stepped", "closed loop", "schedule", "full"}

type setpointer struct {
	kind         setpointKind
	dim, bright  float64 // lux at which dimming begins and ends
	least, most  float64 // %
	tau, scan    float64
	ramp         float64 // %/s, 0 none
	deadband     float64
	levels       int
	hold         float64 // s at least between steps
	quantum      float64
	darkFollows  bool // goes on in the dark; else 0
	next, last   float64
	lux, raw     float64
	integral     float64
	ramped       float64
	hourly       [24]float64
	changeAt     float64 // program change: time
	changedLeast float64
}

type sensor struct {
	exposure   int
	share      float64 // of the outside light
	electric   float64 // lux of the zone's own light at full
	yard       float64 // lux at night
	tau        float64
	span       float64 // lux at 20 mA
	noise      float64 // share
	top        float64 // mA
	lux        float64
	held       float64 // fault: reading that stands, NaN none
	heldActive bool
}

// event is something that happens to a zone and is no fault.
type event struct {
	kind     string
	from, to float64
	value    float64
}

// interval is a stretch in which a zone is switched on.
type interval struct {
	from, to float64
	level    float64 // setpoint asked for by hand or program in it, NaN where none
}

type zoneModel struct {
	name string
	r    *rand.Rand // of what happens while it runs
	gear gear
	itf  iface
	tx   transmitter
	ctl  controller
	sp   setpointer
	sen  sensor

	lit    []interval
	litAt  int
	events []event
	evAt   int
	active []event

	sky *sky

	// state
	t                   float64
	on, fed             bool
	onSince             float64
	setpoint, command   float64
	wire                float64 // command as the interface has it, after backlash
	target              float64 // V the interface holds, after its lag
	pair, atGear        float64 // V, at the interface and at the gear
	released            bool
	drive               float64 // of the gear's power, 0..1
	milliamps           float64 // of the feedback, through its converter
	light, power, meter float64
	meterTau            float64
	otherLoad           float64 // share of rated
	otherFrom, otherGap float64
	adc                 float64 // bits of the feedback's converter: quantum in mA
	seen                float64 // feedback as the controller has it, %

	fault *fault
	peer  *zoneModel // of crossed wires
	wires int        // 1: commands exchanged, 2: feedbacks
}

func (z *zoneModel) has(kind string) (event, bool) {
	for _, e := range z.active {
		if e.kind == kind {
			return e, true
		}
	}
	return event{}, false
}

// advance runs the zone to a time.
func (z *zoneModel) advance(to float64) {
	for z.t+1 <= to {
		z.t++
		z.step(1)
	}
}

func (z *zoneModel) step(dt float64) {
	z.happen()
	f := z.fault
	faulty := f.is(z.t)

	for z.litAt < len(z.lit) && z.t >= z.lit[z.litAt].to {
		z.litAt++
	}
	level := math.NaN()
	on := z.litAt < len(z.lit) && z.t >= z.lit[z.litAt].from
	if on {
		level = z.lit[z.litAt].level
	}
	if on != z.on {
		z.on, z.onSince = on, z.t
		if on {
			z.meter = z.gear.standby * z.gear.rated
		}
	}
	fed := on
	if faulty && f.id == loops.CircuitOff {
		fed = false
	}
	if fed && !z.fed {
		z.onSince = z.t
	}
	z.fed = fed

	z.daylight(dt, faulty)
	z.ask(dt, level, faulty)
	z.control(dt, faulty)
	z.hold(dt, faulty)
	z.shine(dt, faulty)
	z.transmit(dt, faulty)
}

// happen keeps the list of the events that are on.
func (z *zoneModel) happen() {
	for z.evAt < len(z.events) && z.events[z.evAt].from <= z.t {
		z.active = append(z.active, z.events[z.evAt])
		z.evAt++
	}
	keep := z.active[:0]
	for _, e := range z.active {
		if e.to > z.t {
			keep = append(keep, e)
		}
	}
	z.active = keep
}

func (z *zoneModel) daylight(dt float64, faulty bool) {
	s := &z.sen
	day := z.sky.at(s.exposure, z.t) * s.share
	if faulty {
		switch z.fault.id {
		case loops.SensorImplausible:
			switch z.fault.variant {
			case 0: // covered
				day *= 0.02
			case 1: // sees electric light from elsewhere
				day = 0.05*day + z.fault.value
			case 2: // turned scale
				day = max(0, 0.8*s.span-day)
			}
		}
	}
	lux := day + s.electric*z.light + s.yard
	s.lux += (lux - s.lux) * min(1, dt/s.tau)
}

// sensed is what the sensor's signal is worth, in mA, without its noise.
func (z *zoneModel) sensed() float64 {
	s := &z.sen
	mA := min(s.top, 4+16*s.lux/s.span)
	if z.fault.is(z.t) {
		switch z.fault.id {
		case loops.SensorLoopLow, loops.SensorLoopHigh:
			return z.fault.value
		case loops.SensorFrozen:
			if !s.heldActive {
				s.heldActive, s.held = true, mA
			}
			return s.held
		}
	}
	return mA
}

func (z *zoneModel) ask(dt, level float64, faulty bool) {
	s := &z.sp
	if s.next -= dt; s.next > 0 {
		return
	}
	s.next = s.scan
	lux := (z.sensed() - 4) / 16 * z.sen.span
	s.lux += (lux - s.lux) * min(1, s.scan/s.tau)
	least, most := s.least, s.most
	if s.changeAt > 0 && z.t > s.changeAt {
		least = s.changedLeast
	}
	curve := func() float64 {
		return most - (most-least)*min(1, max(0, (s.lux-s.dim)/(s.bright-s.dim)))
	}
	want := s.raw
	switch s.kind {
	case linear:
		want = curve()
	case stepped:
		if z.t-s.last > s.hold {
			x := curve()
			step := (most - least) / float64(s.levels)
			k := math.Round((x - least) / step)
			if math.Abs(x-s.raw) > 0.7*step {
				if v := least + k*step; v != s.raw {
					want, s.last = v, z.t
				}
			}
		}
	case closedLoop:
		goal := s.dim
		if z.on {
			s.integral += (goal - s.lux) / s.bright * s.scan
			s.integral = min(most, max(least, s.integral))
		} else {
			s.integral = most
		}
		want = s.integral
	case schedule:
		want = s.hourly[int(z.t/3600)%24]
	case full:
		want = 100
	}
	s.raw = want
	if faulty {
		switch z.fault.id {
		case loops.SetpointFrozen:
			if !math.IsNaN(z.fault.held) {
				return
			}
			z.fault.held = z.setpoint
			return
		case loops.DaylightUnused:
			want = 100
		}
	}
	if !math.IsNaN(level) {
		want = level
	}
	if e, ok := z.has("setpoint by hand"); ok {
		want = e.value
	}
	if e, ok := z.has("demand limit"); ok {
		want = min(want, e.value)
	}
	if !z.on && !s.darkFollows {
		want = 0
	}
	if s.ramp > 0 && z.on {
		want = s.ramped + min(s.ramp*s.scan, max(-s.ramp*s.scan, want-s.ramped))
	}
	s.ramped = want
	if z.itf.releases {
		want = min(want, s.most)
	}
	want = math.Round(want/s.quantum) * s.quantum
	if math.Abs(want-z.setpoint) > s.deadband || want == s.most || want == 0 {
		z.setpoint = want
	}
}

func (z *zoneModel) control(dt float64, faulty bool) {
	c := &z.ctl
	if e, ok := z.has("command by hand"); ok {
		z.command, c.sum = e.value, e.value
		return
	}
	if _, ok := z.has("reboot"); ok {
		z.command, c.sum = 0, 0
		return
	}
	if faulty && z.fault.id == loops.CommandHeld {
		if math.IsNaN(z.fault.held) {
			z.fault.held = z.command
			if z.fault.variant == 1 {
				z.fault.held = z.fault.value
			}
		}
		z.command, c.sum = z.fault.held, z.fault.held
		return
	}
	if c.kind == sampled {
		c.mean += z.seen
		c.meanN++
	}
	if c.next -= dt; c.next > 0 {
		return
	}
	c.next = c.scan
	if !z.on {
		switch c.dark {
		case darkHold:
			c.mean, c.meanN = 0, 0
			return
		case darkZero:
			z.command, c.sum = 0, c.least
			return
		case darkFull:
			z.command, c.sum = 100, 100
			return
		}
	}
	seen := z.seen
	if c.kind == sampled {
		seen = c.mean / c.meanN
		if z.t-z.onSince > c.scan {
			seen = z.seen // the mean of a step would make it overshoot
		}
		c.mean, c.meanN = 0, 0
	}
	e := z.setpoint - seen
	gain, rate, deadband := c.gain, c.rate, c.deadband
	if faulty {
		switch z.fault.id {
		case loops.Hunting:
			gain, rate, deadband = gain*z.fault.value, rate*z.fault.value, 0.3*deadband
		case loops.Sluggish:
			gain, rate = gain/z.fault.value, rate/z.fault.value
		case loops.ReversedAction:
			e = -e
		}
	}
	if math.Abs(e) <= deadband && c.kind != proportional {
		return
	}
	switch c.kind {
	case stepper:
		c.sum += math.Copysign(gain, e)
	case proportional:
		if math.Abs(e) <= deadband {
			e = 0
		}
		c.sum += min(rate*c.scan, max(-rate*c.scan, gain*e))
	default:
		c.sum += min(rate*c.scan, max(-rate*c.scan, gain*e))
	}
	c.sum = min(c.most, max(c.least, c.sum))
	out := c.sum
	if c.kind == proportional {
		out = min(c.most, max(c.least, c.sum+0.1*e))
	}
	z.command = math.Round(out/c.commandQuantum) * c.commandQuantum
}

// hold is the interface and the pair.
func (z *zoneModel) hold(dt float64, faulty bool) {
	i, g := &z.itf, &z.gear
	command := z.command
	if z.wires == 1 && faulty && z.peer != nil {
		command = z.peer.command
	}
	z.wire = min(command+i.backlash/2, max(command-i.backlash/2, z.wire))
	floor := i.floor
	imax, ron := i.imax, i.ron
	want := 0.1*z.wire*i.gain + i.offset
	if i.releases {
		if z.released = command >= 99.5 || z.released && command > 96; z.released {
			want = 20
		}
	}
	shunt := 1000.0 // kohm: the transmitter
	open, outside := false, false
	if faulty {
		switch z.fault.id {
		case loops.PairShort:
			shunt = z.fault.value
		case loops.RepairIncomplete:
			switch at := z.t - z.fault.onset; {
			case at < z.fault.lasts:
				shunt = z.fault.value
			case at < z.fault.lasts+z.fault.visit:
				open = true
			default:
				shunt = z.fault.value
			}
		case loops.PairOpen:
			open = true
		case loops.StuckDim:
			want = 0
			if z.fault.variant == 1 {
				want, floor = z.fault.value, z.fault.value
			}
		case loops.StuckMid:
			if math.IsNaN(z.fault.held) {
				z.fault.held = z.target
				if z.fault.variant == 1 || z.target < 2 || z.target > 9 {
					z.fault.held = z.fault.value
				}
			}
			want = z.fault.held
		case loops.NotDimming:
			imax = 0
		case loops.CeilingLow:
			if z.fault.variant == 0 {
				shunt = z.fault.value / (g.n * g.source)
			} else {
				want = min(want, z.fault.value)
			}
		case loops.FloorHigh:
			if z.fault.variant == 0 {
				floor = z.fault.value
			} else {
				ron = z.fault.value / (g.n * g.source)
			}
		case loops.PairIntermittent:
			if z.fault.spell(z.t) {
				switch z.fault.variant {
				case 0:
					open = true
				case 1:
					shunt = 0.001
				case 2:
					outside = true
				}
			}
		}
	}
	want = max(floor, want)
	z.target += (want - z.target) * min(1, dt/max(i.lag, dt))
	iz := g.n * (1 - g.out) * g.source
	if faulty && z.fault.id == loops.LampsOut {
		iz *= 1 - z.fault.value
	}
	if !z.fed || z.t-z.onSince < g.startDelay {
		z.pair, z.atGear = 0, 0
		return
	}
	vs, vsh := z.target, min(g.voc, iz*shunt)
	switch {
	case open:
		z.pair, z.atGear = z.fault.stray, g.voc
		return
	case outside || vsh <= vs:
		z.pair = vsh
	case iz-vs/shunt <= imax:
		z.pair = min(g.voc, vs+ron*(iz-vs/shunt))
	default:
		z.pair = min(g.voc, (iz-imax)*shunt)
	}
	z.atGear = z.pair
}

// shine is what the gear makes of the pair: light and power.
func (z *zoneModel) shine(dt float64, faulty bool) {
	g := &z.gear
	goal := min(1, max(g.least, z.atGear/10))
	if g.log {
		goal = max(g.least, goal*goal*(0.4+0.6*goal)/1)
	}
	if !z.fed {
		z.light = 0
	} else {
		z.light += (goal - z.light) * min(1, dt/max(g.fade, dt))
	}
	curve := func(level float64) float64 { return g.idle + (1-g.idle)*math.Pow(level, g.exponent) }
	drive := min(1, max(0.08, z.atGear/10))
	z.drive += (drive - z.drive) * min(1, dt/max(g.fade, dt))
	share := curve(z.drive)
	stray, out := g.stray, g.out
	if faulty {
		switch z.fault.id {
		case loops.GearStray:
			stray = z.fault.value
		case loops.LampsOut:
			out = z.fault.value
		}
	}
	share = (share*(1-stray-out) + stray) * (1 + g.warm*math.Exp(-(z.t-z.onSince)/g.warmTime))
	if g.relampAt > 0 && z.t > g.relampAt {
		share *= g.relit
	}
	if !z.fed {
		share = g.standby
		z.drive = 1
	}
	if z.otherGap > 0 && math.Mod(z.t+z.otherFrom, z.otherGap) < 0.4*z.otherGap {
		share += z.otherLoad
	}
	z.power = share * g.rated
	z.meter += (z.power - z.meter) * min(1, dt/z.meterTau)
}

// transmit is the transmitter and what the controller's converter makes of it.
func (z *zoneModel) transmit(dt float64, faulty bool) {
	x := &z.tx
	v := z.pair
	if x.lift > 0 && v > 0.1 {
		v += x.lift
	}
	x.wander += -x.wander*dt/900 + x.slow*math.Sqrt(2*dt/900)*z.r.NormFloat64()
	mA := 4 + 1.6*v*x.gain + x.offset + x.wander
	noise := x.white
	if faulty {
		switch z.fault.id {
		case loops.FeedbackDrift:
			share := min(1, (z.t-z.fault.onset)/max(1, z.fault.lasts))
			mA += share * (z.fault.value + z.fault.second*(mA-4))
		case loops.FeedbackNoisy:
			noise = math.Hypot(noise, z.fault.value)
		}
	}
	x.current += (mA - x.current) * min(1, dt/max(dt, x.lag))
	out := min(x.high, max(x.low, x.current+noise*z.r.NormFloat64()))
	if faulty {
		switch z.fault.id {
		case loops.FeedbackLoopLow, loops.FeedbackLoopHigh:
			out = z.fault.value
		}
	}
	out = math.Round(out/z.adc) * z.adc
	if faulty && z.fault.id == loops.FeedbackFrozen {
		if math.IsNaN(z.fault.held) {
			z.fault.held = out
		}
		out = z.fault.held
	}
	z.milliamps = out
	z.seen = (out - 4) / 1.6 * 10
	if z.wires == 2 && faulty && z.peer != nil {
		z.seen = (z.peer.milliamps - 4) / 1.6 * 10
	}
	if z.ctl.kind == eightBit {
		z.seen = math.Round(z.seen*2.55) / 2.55
	}
}
