package loops

import "math"

// Points of one zone may reach the judge some samples apart: a gateway polls one of them more seldom, a controller writes its
// output to the network once a minute, a meter answers with the mean of the time before. By how many samples command and
// power come later than the feedback is learned from how the feedback moves; then all that is earlier waits for them.

// mostLate is by how many samples a point may come late at most. Chosen: what is polled every fourth time; at half, what a
// gateway polls every third time is not covered; at double, a loop that swings is taken for a late one.
const mostLate = 3

// telling is after how many moves of the feedback it is known whether a point comes late. Chosen: at half, one step of a hand
// would do; at double, a late point is known on its second day.
const telling = 3

// skew follows by how much command and power come late.
type skew struct {
	past   [mostLate]past           // the samples before, the newest first
	n      int8                     // how many of them are known
	late   [2]int8                  // by how many samples command and power come late
	event  bool                     // the feedback is moving, or has just moved
	events [2]int8                  // how many moves told
	moves  [2]float32               // in how many samples
	misfit [2][mostLate + 2]float32 // by how many samples; the last is that the feedback comes one sample later than they do
}

// past is what is kept of a sample.
type past struct {
	has                                           Channels
	order, contact, open                          bool
	setpoint, command, feedback, milliamps, power float32
}

const (
	ofCommand = iota
	ofPower
)

// align gives the newest sample with readings of one time; where some come late it is put into room.
func (z *zone) align(s, room *Sample) *Sample {
	m, k := &z.memory, &z.skew
	usable := s.Has.Has(Command|Feedback) && s.Command-s.Command == 0 && s.Feedback-s.Feedback == 0 && !s.Suspended
	if dt := float64(s.At-m.at) / 1e9; !usable || !m.seen || dt < 0 || dt > m.longest() {
		k.n = 0
	}
	out := s
	if usable {
		k.learn(m, s)
		out = k.shift(s, room)
	}
	copy(k.past[1:], k.past[:])
	k.past[0] = past{
		s.Has, s.Order, s.Contact, s.Open,
		float32(s.Setpoint), float32(s.Command), float32(s.Feedback), float32(s.FeedbackMilliamps), float32(s.Power),
	}
	k.n = min(mostLate, k.n+1)
	return out
}

// shift takes each reading from as many samples ago as the latest of all is behind it.
func (k *skew) shift(s, out *Sample) *Sample {
	most := max(k.late[ofCommand], k.late[ofPower])
	if most == 0 {
		return s
	}
	*out = *s
	has := s.Has
	if k.n < most {
		out.Has = has &^ (Setpoint | Command | Power) // what belongs to them was not watched
		return out
	}
	p := &k.past[most-1]
	mixed := Channels(Command | Power)
	out.Has = p.has&^mixed | has&mixed | has&(Daylight|DaylightLoop|Sun)
	out.Order, out.Contact, out.Open = p.order, p.contact, p.open
	out.Setpoint, out.Feedback, out.FeedbackMilliamps = float64(p.setpoint), float64(p.feedback), float64(p.milliamps)
	if back := most - k.late[ofCommand]; back > 0 {
		out.Command = float64(k.past[back-1].command)
		out.Has = out.Has&^Command | k.past[back-1].has&Command
	}
	if back := most - k.late[ofPower]; back > 0 {
		out.Power = float64(k.past[back-1].power)
		out.Has = out.Has&^Power | k.past[back-1].has&Power
	}
	return out
}

// learn compares the newest command and power with the feedback of now and of the samples before.
func (k *skew) learn(m *memory, s *Sample) {
	if k.n < mostLate || !m.lit || m.litSeconds < max(lightUpSeconds, m.set.SettleSeconds) {
		return
	}
	feedback := [mostLate + 1]float64{s.Feedback}
	low, high := s.Feedback, s.Feedback
	lowest, highest := s.Command, s.Command
	for i, p := range k.past {
		f := float64(p.feedback)
		feedback[i+1] = f
		low, high = min(low, f), max(high, f)
		lowest, highest = min(lowest, float64(p.command)), max(highest, float64(p.command))
	}
	const least, most = 12.0, 98.0 // percent: near their ends an interface and its gear are free
	const moves, movesPower = 4.0, 10.0
	if low < least || high > most || high-low < moves {
		k.event = k.event && high-low >= moves
		return
	}
	fresh := !k.event
	k.event = true
	if s.Command > least && s.Command < most && highest-lowest > moves/2 {
		k.tell(ofCommand, fresh, func(i int) float64 {
			if i > mostLate {
				return s.Feedback - m.learned.follow.at(float64(k.past[0].command))
			}
			return feedback[i] - m.learned.follow.at(s.Command)
		})
	}
	if full, guess := m.fullPower(); s.Has.Has(Power) && !guess && high-low > movesPower {
		k.tell(ofPower, fresh, func(i int) float64 {
			power, level := s.Power, s.Feedback
			if i > mostLate {
				power = float64(k.past[0].power)
			} else {
				level = feedback[i]
			}
			share, _ := m.powerAt(level)
			return 100 * (power/full - share)
		})
	}
}

// known says whether it is known if a point comes late.
func (k *skew) known(which int) bool { return k.events[which] >= telling }

// tell takes how far the newest reading is off what the feedback of now and of the samples before lets expect, in percent, and
// decides by how many samples it comes late.
func (k *skew) tell(which int, fresh bool, off func(int) float64) {
	// Chosen: a fit that is more than twice as good.
	const better, noise, fits, lasts = 0.4, 0.5, 3.0, 12
	if fresh {
		k.events[which] = min(telling, k.events[which]+1)
	}
	k.moves[which] = min(lasts, k.moves[which]+1)
	best, second := 0, float32(math.MaxFloat32)
	misfit := &k.misfit[which]
	for i := range misfit {
		misfit[i] += (float32(math.Abs(off(i))) - misfit[i]) / k.moves[which]
		switch {
		case i == 0:
		case misfit[i] < misfit[best]:
			best, second = i, misfit[best]
		default:
			second = min(second, misfit[i])
		}
	}
	if k.events[which] < telling || misfit[best] > fits || misfit[best]+noise > better*misfit[k.late[which]] || 1.5*misfit[best]+noise > second {
		return
	}
	if k.late[which] = int8(best); best > mostLate {
		k.late[which] = 0
	}
}
