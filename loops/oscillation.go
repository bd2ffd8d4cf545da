package loops

import "math"

// oscillation watches a control error for swings: what lies between two crossings of zero is a half period, and one whose
// area is large enough is counted. A count that fades with the supervision time passes oscillationCounts only where such
// half periods go on and on; single steps of the setpoint and single clouds do not.
// Source: T. Hägglund, A control-loop performance monitor, Control Engineering Practice 3 (1995) 1543, from memory.
//
// It is blind to periods beyond 10.5 integral times: too few of them fall into the supervision time.
type oscillation struct {
	x float64 // half periods that counted, fading

	any    bool
	last   float64 // error, percent of level
	side   float64 // of the half period under way: 1, -1, 0 where it has not begun
	whole  bool    // it began at a crossing
	half   swing   // it
	over   swing   // what followed beyond zero, as long as that may be noise
	newest int     // of the half periods kept
	n      int     // how many are kept
	kept   [oscillationKept]halfPeriod
}

// halfPeriod is a swing as it is kept.
type halfPeriod struct{ seconds, area float32 }

// swing is a half period, or part of one: how long it is, its area in percent times seconds, and how many readings it has.
type swing struct {
	seconds, area float64
	readings      int
}

func (s *swing) add(o swing) {
	s.seconds += o.seconds
	s.area += o.area
	s.readings += o.readings
}

// amplitude is that of the sine that has its area and length, percent of level.
func (s *swing) amplitude() float64 {
	if s.seconds == 0 {
		return 0
	}
	return s.area / s.seconds * math.Pi / 2
}

const (
	// oscillationLevel is the least amplitude that counts, percent of level. Source: Hägglund, 1 % of range, from memory.
	// Noise needs more: see follow.
	oscillationLevel = 1.0

	// oscillationCounts is the count above which a loop oscillates, and oscillationSupervised the supervision time in
	// integral times. Source: Hägglund, n = 10 and 5·n·T, from memory. Count at half: a passing shower is hunting; at
	// double: only periods below 5 integral times would be found.
	oscillationCounts     = 10.0
	oscillationSupervised = 5 * oscillationCounts

	// oscillationReadings is how many readings a half period needs at least. Chosen: loops that hunt as quickly as they are
	// polled are seen by their size alone; with three, a period of five polls would go unseen.
	oscillationReadings = 1

	// oscillationKept is how many half periods are kept for period, regularity and amplitude: four of each side.
	oscillationKept = 8
)

// follow takes the next error (percent of level), dt seconds after the last, and says whether a half period that counts
// has ended with it. Amplitude is the least that counts; a crossing is one where the error goes on to half of it, and what
// it does beyond zero before is taken from the half period's area. Integral
// is the loop's integral time in seconds (the slowest response that was seen, where it is not known). Noise does not count
// up where amplitude is three times its standard deviation.
func (o *oscillation) follow(e, dt, amplitude, integral float64) (counted bool) {
	before := o.last
	o.last = e
	if !o.any {
		o.any = true
		o.whole = e == 0
		return false
	}
	o.x *= max(0, 1-dt/(oscillationSupervised*integral))
	if part := before / (before - e); before*e < 0 { // the crossing lies between the readings: each side has its part
		o.take(sign(before), swing{part * dt, math.Abs(before) / 2 * part * dt, 0})
		o.take(sign(e), swing{(1 - part) * dt, math.Abs(e) / 2 * (1 - part) * dt, 1})
	} else {
		o.take(sign(before+e), swing{dt, math.Abs(before+e) / 2 * dt, 1})
	}
	if o.side*e < 0 && math.Abs(e) >= amplitude/2 {
		counted = o.end(amplitude, integral)
	}
	return counted
}

// take adds a part of the error's course to the half period that it belongs to.
func (o *oscillation) take(side float64, s swing) {
	if o.side == 0 {
		o.side = side
	}
	if o.side*side < 0 {
		o.over.add(s)
		return
	}
	o.over.area = -o.over.area
	o.half.add(o.over)
	o.half.add(s)
	o.over = swing{}
}

// end ends the half period under way, counts it where it is large enough, and begins the next. Hägglund asks for the area
// alone; that its amplitude is asked for beside it keeps noise out, whose many small swings may add up to an area.
func (o *oscillation) end(amplitude, integral float64) (counted bool) {
	h := o.half
	if counted = h.area > areaLimit(amplitude, integral) && h.amplitude() > amplitude && h.readings >= oscillationReadings; counted {
		o.x++
	}
	switch {
	case !counted || !o.whole:
		o.n = 0
	default:
		o.newest = (o.newest + 1) % oscillationKept
		o.kept[o.newest] = halfPeriod{float32(o.half.seconds), float32(o.half.area)}
		o.n = min(oscillationKept, o.n+1)
	}
	o.whole, o.side = true, -o.side
	o.half, o.over = o.over, swing{}
	return counted
}

// areaLimit is the area of a half period that counts, percent times seconds: that of a sine of the given amplitude whose
// period is the integral time.
func areaLimit(amplitude, integral float64) float64 { return amplitude * integral / math.Pi }

// interrupt forgets the half period under way: nobody watched.
func (o *oscillation) interrupt() {
	o.any, o.whole, o.side, o.half, o.over, o.n = false, false, 0, swing{}, swing{}, 0
}

// oscillates says whether the loop oscillates.
func (o *oscillation) oscillates() bool { return o.x > oscillationCounts }

// The half periods kept are the newest that followed each other without a gap or a smaller one between.

// period is their mean period in seconds; 0 where fewer than two are kept.
func (o *oscillation) period() float64 {
	if o.n < 2 {
		return 0
	}
	var sum swing
	for i := range o.n {
		sum.add(o.back(i))
	}
	return 2 * sum.seconds / float64(o.n)
}

// amplitude is that of the sine that has their areas, percent of level; 0 where none is kept.
func (o *oscillation) amplitude() float64 {
	var sum swing
	for i := range o.n {
		sum.add(o.back(i))
	}
	return sum.amplitude()
}

// regularity is how alike they are: the mean ratio of the shorter to the longer of two that follow on the same side (a loop
// that sticks swings unequally about its setpoint, but always alike). 1 is a clock; 0 where fewer than four are kept.
func (o *oscillation) regularity() float64 {
	if o.n < 4 {
		return 0
	}
	sum := 0.0
	for i := range o.n - 2 {
		a, b := o.back(i).seconds, o.back(i+2).seconds
		sum += min(a, b) / max(a, b)
	}
	return sum / float64(o.n-2)
}

// back gives the half periods kept, the newest first.
func (o *oscillation) back(i int) swing {
	k := o.kept[(o.newest-i+oscillationKept)%oscillationKept]
	return swing{seconds: float64(k.seconds), area: float64(k.area)}
}

func sign(x float64) float64 {
	switch {
	case x > 0:
		return 1
	case x < 0:
		return -1
	}
	return 0
}
