package loops

import "math"

// What is followed from sample to sample: where a value rests, whether it repeats itself, and where it stops short.

// rest follows a value that may stand still. It breaks when two samples in a row are off.
type rest struct {
	level   float64
	seconds float64
	offAt   float32
	n       float32
	lowC    float32 // range of the command while it rested
	highC   float32
	off     int32
	broke   bool
}

// follow takes the next value; band is how far a resting value may be off.
func (r *rest) follow(x, band, dt, command float64) {
	r.broke = false
	if r.n == 0 {
		*r = rest{level: x, n: 1, lowC: float32(command), highC: float32(command)}
		return
	}
	if math.Abs(x-r.level) <= band {
		if r.n < 200 {
			r.n++
		}
		r.level += (x - r.level) / float64(r.n)
		r.seconds += dt
		r.off = 0
		r.lowC, r.highC = min(r.lowC, float32(command)), max(r.highC, float32(command))
		return
	}
	r.off++
	if r.off >= 2 {
		*r = rest{level: x, n: 1, lowC: float32(command), highC: float32(command), broke: true}
		if math.Abs(x-float64(r.offAt)) <= band {
			r.n = 2
		}
		return
	}
	r.offAt = float32(x)
	r.seconds += dt
}

// still counts samples that repeat the one before to the bit.
type still struct {
	last     float64
	run      float32
	before   float32 // run before the newest
	repeated bool
	any      bool
	step     float32 // the smallest change that was seen: a converter's resolution
}

func (s *still) follow(x float64) {
	s.repeated = s.any && x == s.last
	s.before = s.run
	if s.repeated {
		s.run++
	} else {
		s.run = 0
	}
	if change := float32(math.Abs(x - s.last)); s.any && change > 0 && (s.step == 0 || change < s.step) {
		s.step = change
	}
	s.last, s.any = x, true
}

// limit is a figure that stays the same while a fault lasts, such as the level that the feedback can not pass: a running
// mean that begins anew where the newest sample is elsewhere.
type limit struct {
	level float64
	n     float32
	moved bool // the newest sample was elsewhere
	gone  bool // the newest sample was beyond it
}

// limitMost is how many samples a limit remembers. Chosen: leaks dry and sinks warm up over hours; at double, slow sampling
// would trail them.
const limitMost = 100

// follow takes the next value; band is how far it may be off the limit.
func (l *limit) follow(x, band float64) {
	if l.n == 0 || math.Abs(x-l.level) > band {
		*l = limit{level: x, n: 1, moved: true}
		return
	}
	if l.n < limitMost {
		l.n++
	}
	l.level += (x - l.level) / float64(l.n)
}

// drop forgets the limit: the newest sample was beyond it.
func (l *limit) drop() {
	if l.n > 0 {
		*l = limit{moved: true, gone: true}
	}
}
