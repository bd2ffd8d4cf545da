package loops

import "math"

// The daylight sensor's reading stands still while the sun moves: a converter, gateway or program holds an old value. The
// setpoint stays where it was, at full through a bright day or dimmed through the night.
//
// A live reading repeats itself too: a coarse converter between clouds, a sensor that reports only changes, one that is
// clipped at 0 all night or at its top in full sun. So its own habits are learned, in the dark and in the light: how often it
// repeats itself, and for how long at most. Stillness counts by day only, beyond twice the longest seen, and not at the ends
// of its range; there, only that it is dark by day, or bright at night, does. All points of a device that stand still say
// nothing about one of them.

// hold follows how long a reading repeats itself. One reading that is off may be nonsense; two in a row are a move.
type hold struct {
	value   float64
	since   int64
	repeats float64
	off     int
	any     bool
	moved   bool // with the newest reading
	stale   bool // the device stood still in the meantime: nothing is learned of it

	habits [2]habit // in the dark, in the light
	least  float64  // the smallest change that it shows, lux: a sensor that reports changes only keeps back so much
}

// habit is how a live reading repeats itself.
type habit struct {
	moves, repeats float64
	longest        float64 // seconds
}

const (
	// stillSeconds is the time in which a sensor's reading is expected to say something new.
	// Chosen: the sun moves 5 degrees across the sky; at half, two still hours would be a finding, at double eight.
	stillSeconds = 1200.0

	// stillMostNats is the most that this time says. Chosen: with the usual habits a finding then needs four to six hours.
	stillMostNats = 1.8

	// movesKnown is how many moves make a habit. Chosen: a day of a coarse, slowly polled sensor has some tens.
	movesKnown = 12.0

	// habitMost is how many moves and repeats are remembered. Chosen: some days of a slow poll.
	habitMost = 2000.0
)

// follow takes the next reading.
func (h *hold) follow(x float64, at int64) {
	h.moved = false
	switch {
	case !h.any:
		h.any, h.value, h.since = true, x, at
	case x == h.value:
		h.repeats++
		h.off = 0
	case h.off == 0:
		h.off = 1
	default:
		h.moved = true
	}
}

// begin starts anew from the newest reading.
func (h *hold) begin(x float64, at int64) {
	if change := math.Abs(x - h.value); h.least == 0 || change < 1.02*h.least {
		h.least = change
	} else {
		h.least *= 1.02
	}
	h.value, h.since, h.repeats, h.off, h.stale, h.moved = x, at, 0, 0, false, false
}

// learn takes a stretch that has ended as one of a live reading.
func (h *habit) learn(repeats, seconds float64) {
	h.moves++
	h.repeats += repeats
	if n := h.moves + h.repeats; n > habitMost {
		h.moves *= habitMost / n
		h.repeats *= habitMost / n
	}
	h.longest = max(h.longest*0.999, seconds)
}

// rate is the share of readings that repeat the one before.
func (h *habit) rate() float64 {
	return min(0.97, max(0.03, (h.repeats+4.85)/(h.moves+h.repeats+5))) // as of 5 readings of a coarse converter
}

// weighStill weighs how the newest reading goes on from those before.
func (s *sensor) weighStill(sky *sky, alive bool) {
	h := &s.hold
	h.follow(s.value, s.at)
	h.stale = h.stale || !alive
	class := 1
	if reach, known := s.reach(); known && h.value < s.darkest()+0.03*reach {
		class = 0
	}
	if h.moved {
		if !h.stale && s.total[standsStill] < calmNats {
			h.habits[class].learn(h.repeats, float64(s.at-h.since)/1e9)
		}
		if sky.up() || !sky.placed {
			s.tested[standsStill] = s.at
		}
		if s.open < 0 {
			s.total[standsStill] = 0
		} else {
			s.step(standsStill, -stillMostNats) // a converter that is started again may hold its next value
		}
		h.begin(s.value, s.at)
		return
	}
	habit, still := &h.habits[class], float64(s.at-h.since)/1e9
	end := h.value <= s.lowest || h.value >= s.highest
	if h.off > 0 || !alive || end || habit.moves < movesKnown || sky.placed && !sky.up() || still < 2*habit.longest {
		return
	}
	s.stands(min(stillMostNats, -math.Log(habit.rate())) * min(1, s.dt/stillSeconds))
}

// stands adds to the evidence that the reading stands still, since it last moved.
func (s *sensor) stands(nats float64) {
	if s.hold.repeats < 3 {
		return
	}
	s.step(standsStill, nats)
	s.since[standsStill] = s.hold.since
}
