package loops

import (
	"math"
	"slices"
	"testing"
)

// Each test here is something that once went wrong.

// lesson runs a zone by steps and keeps what is said.
type lesson struct {
	z    *sim
	j    *Judge
	said []Finding
}

func newLesson(z *sim, change func(*ZoneSettings)) *lesson {
	set := z.settings()
	if change != nil {
		change(&set)
	}
	return &lesson{z: z, j: New(Settings{Devices: []string{"north"}, Zones: []ZoneSettings{set}})}
}

func (l *lesson) live(hours float64, bend func(*Sample)) {
	for end := l.z.at + hours*3600; l.z.at < end; {
		s := l.z.next()
		if bend != nil {
			bend(&s)
		}
		l.j.Observe(0, &s)
		l.j.EndRound(s.At)
		l.j.Changes(func(f Finding) { l.said = append(l.said, f) })
	}
}

// One wild power reading in a zone without rated power must not make every zone after it look unlit.
func TestWildPowerTeachesNothing(t *testing.T) {
	l := newLesson(newSim(31, 15, allPoints), func(s *ZoneSettings) { s.RatedPower = 0 })
	l.live(2, nil)
	once := true
	l.live(2, func(s *Sample) {
		if once {
			s.Power, once = 1e6, false
		}
	})
	if st := l.j.State(0); !st.Lit {
		t.Error("the zone is taken as unlit")
	}
	l.z.fault = simFaults[StuckDim]
	l.live(1, nil)
	if len(l.said) == 0 || l.said[0].ID != StuckDim {
		t.Errorf("said %+v", l.said)
	}
}

// Time that nobody watched is no error that lasts: two hand tests with a night of missing readings between are none.
func TestUnwatchedTimeIsNoError(t *testing.T) {
	l := newLesson(newSim(32, 15, loopPoints|Order), nil)
	l.live(2, nil)
	held := func(z *sim, s *simState) { s.held, s.setpoint = true, math.Max(15, z.command-30) }
	for _, missing := range []Channels{Setpoint, Feedback, Command} {
		l.z.fault = held
		l.live(13.0/60, nil)
		l.z.fault = nil
		l.live(8, func(s *Sample) { s.Has &^= missing })
		l.z.fault = held
		l.live(13.0/60, nil)
		l.z.fault = nil
		l.live(1, nil)
	}
	if len(l.said) > 0 {
		t.Errorf("said %s from %d to %d s", l.said[0].ID, l.said[0].Onset/1e9, l.said[0].Raised/1e9)
	}
}

// A device that carries no zone of its own is judged as patiently as any, and its finding names the zones that have a point
// there.
func TestDeviceWithoutAZone(t *testing.T) {
	z := newSim(33, 15, allPoints).settings()
	j := New(Settings{Devices: []string{"north", "meters"}, Zones: []ZoneSettings{z}, Uses: [][]int{{0}, {0}}})
	at := int64(0)
	for range 2 {
		at += 15e9
		j.Answered(1, at, false)
	}
	if len(j.open) != 0 {
		t.Fatal("lost after two polls")
	}
	for range 30 {
		at += 15e9
		j.Answered(1, at, false)
	}
	if len(j.open) != 1 || !slices.Equal(j.open[0].Zones, []int{0}) {
		t.Errorf("got %+v", j.open)
	}
}

// Zones of a lost device do not count as lit: a store that goes dark in its hours is no fault of the zone that is left.
func TestLostZonesAreNotLit(t *testing.T) {
	var sims []*sim
	set := Settings{Devices: []string{"north", "south"}}
	for i := range 4 {
		z := newSim(uint64(34+i), 15, loopPoints|Hours)
		sims = append(sims, z)
		s := z.settings()
		if i > 0 {
			s.Device = 1
		}
		set.Zones = append(set.Zones, s)
	}
	j := New(set)
	var setpoint, command float64
	for step := range 4 * 240 {
		lost, dark := step > 2*240, step > 2*240+40
		for i, z := range sims {
			s := z.next()
			if lost && i > 0 {
				continue
			}
			if dark { // a controller that is off leaves its command where it was
				s.Feedback, s.FeedbackMilliamps, s.Setpoint, s.Command = 0, 4, setpoint, command
			} else if i == 0 {
				setpoint, command = s.Setpoint, s.Command
			}
			j.Observe(i, &s)
		}
		j.EndRound(int64(sims[0].at * 1e9))
	}
	if len(j.open) > 0 {
		t.Errorf("said %s: %s", j.open[0].ID, j.open[0].Summary)
	}
}

// A zone that is sick in another way has proved nothing: the finding is not ended as repaired.
func TestSickInAnotherWayIsNoProof(t *testing.T) {
	l := newLesson(newSim(38, 15, allPoints), nil)
	l.live(4, nil)
	l.z.fault = simFaults[NotDimming]
	l.live(2, nil)
	if len(l.said) == 0 || l.said[0].ID != NotDimming {
		t.Fatalf("said %+v", l.said)
	}
	n := 0
	l.z.fault = func(_ *sim, s *simState) { // the pair jumps about, whatever the command does
		s.pair = 20
		if n++; n/3%2 == 0 {
			s.pair = 80
		}
		s.light = s.pair
	}
	l.live(1, nil)
	for _, f := range l.said {
		if f.Cleared != 0 && !f.Revised {
			t.Errorf("%s ended as repaired at %d s", f.ID, f.Cleared/1e9)
		}
		if f.ID == PairShort || f.ID == PairOpen {
			t.Errorf("named %s with the pair at 2 and 8 V", f.ID)
		}
	}
}

// A short that reads exactly 0 V, as a clipped input gives it, is a short, also where a glitch went below once.
func TestShortOfExactlyZero(t *testing.T) {
	for _, has := range []Channels{loopPoints | Order, allPoints} {
		l := newLesson(newSim(39, 15, has), nil)
		l.live(2, nil)
		glitches := 2
		l.live(2, func(s *Sample) {
			if glitches > 0 {
				s.Feedback = -30
				glitches--
			}
		})
		l.z.fault = simFaults[PairShort]
		l.live(1, func(s *Sample) { s.Feedback, s.FeedbackMilliamps = 0, 4 })
		if len(l.said) == 0 || l.said[0].ID != PairShort {
			t.Errorf("%b: said %+v", has, l.said)
		}
	}
}

// A clock that is set back leaves no onset in the future, and nothing stands still for the length of the step.
func TestClockSetBack(t *testing.T) {
	l := newLesson(newSim(40, 15, allPoints), nil)
	l.live(4, nil)
	back := int64(3600e9)
	set := func(s *Sample) { s.At -= back }
	l.z.fault = simFaults[PairShort]
	l.live(1, set)
	if len(l.said) == 0 || l.said[0].ID != PairShort {
		t.Fatalf("said %+v", l.said)
	}
	if f := l.said[0]; f.Onset > f.Raised || f.Raised > int64((l.z.at-3600)*1e9) || f.Raised-f.Onset > 600e9 {
		t.Errorf("onset %d s, raised %d s", f.Onset/1e9, f.Raised/1e9)
	}
}

// What is not known is not shown: a failed loop whose setpoint and command are missing gives no figures of them.
func TestMissingIsNotShown(t *testing.T) {
	l := newLesson(newSim(41, 15, allPoints), nil)
	l.live(2, nil)
	l.z.fault = simFaults[FeedbackLoopLow]
	l.live(1, func(s *Sample) { s.Has &^= Setpoint | Command; s.Setpoint, s.Command = math.NaN(), math.NaN() })
	if len(l.said) == 0 {
		t.Fatal("a failed loop is not found without setpoint and command")
	}
	for _, e := range l.said[0].Evidence {
		if e.Name == "setpoint_percent" || e.Name == "command_percent" || e.Name == "expected_volts" || math.IsNaN(e.Value) {
			t.Errorf("evidence has %s = %g", e.Name, e.Value)
		}
	}
}

// A pair that is shorted just when full light is asked for: command and setpoint are both full, but the one does not copy the
// other, it stands at its end stop. That it did was once held against the short, and only the error was named.
func TestShortAtFullCommand(t *testing.T) {
	for _, cycle := range []float64{5, 15, 60, 300} {
		z := newSim(8004, cycle, allPoints)
		day := z.setpoint
		z.setpoint = func(at float64) float64 { // clouds come up: 98 % at 5 h, full a minute later, and so for half an hour
			if at > 4.5*3600 {
				return math.Min(100, 98+(at-5*3600)/30)
			}
			return day(at)
		}
		l := newLesson(z, nil)
		l.live(5, nil)
		l.z.fault = simFaults[PairShort]
		l.live(0.5, nil)
		if len(l.said) == 0 || l.said[0].ID != PairShort || l.said[0].Confidence < 0.5 {
			t.Errorf("cycle %g s: said %+v", cycle, l.said)
		}
	}
}

// The first powers of a zone without rated power are taken as they are: a full power that grew up from nothing took for lit
// what a zone draws that is switched off.
func TestFirstPowerIsNoLight(t *testing.T) {
	l := newLesson(newSim(61, 120, allPoints&^Contact), func(s *ZoneSettings) { s.RatedPower = 0 })
	l.live(4*120.0/3600, nil)
	if l.j.zones[0].memory.learned.watt1 == 0 {
		l.live(2*120.0/3600, nil)
	}
	if full := l.j.zones[0].memory.learned.watt1; full != 0 && full < l.z.rated/2 {
		t.Errorf("full power is taken for %.0f of %.0f W", full, l.z.rated)
	}
	off := l.z.rated * 0.02
	l.z.fault = simFaults[CircuitOff]
	l.live(1, func(s *Sample) { s.Order, s.Open, s.Power = false, false, off })
	if st := l.j.State(0); st.Lit {
		t.Error("a zone that draws two per cent is taken for lit")
	}
	if len(l.said) != 0 {
		t.Errorf("said %+v", l.said)
	}
}

// A converter that is coarser than the noise repeats itself for hours where the pair rests between two of its steps, and
// hardly ever where it rests on one.
func TestCoarseConverterIsNotFrozen(t *testing.T) {
	z := newSim(62, 30, loopPoints|Order)
	z.noise, z.gain, z.shift = 0.25, 1, 0
	l := newLesson(z, nil)
	coarse := func(s *Sample) { s.Feedback = math.Round(s.Feedback) }
	z.setpoint = func(float64) float64 { return 70.5 } // on the edge: every other sample differs
	l.live(8, coarse)
	z.setpoint = func(float64) float64 { return 48 } // in the middle: none does
	l.live(8, coarse)
	if len(l.said) != 0 {
		t.Fatalf("said %+v", l.said)
	}
	stuck := 48.0
	z.setpoint = func(at float64) float64 { return 60 + 30*math.Sin(at/900) }
	l.live(3, func(s *Sample) { s.Feedback = stuck })
	if len(l.said) == 0 || l.said[0].ID != FeedbackFrozen && l.said[0].ID != StuckMid {
		t.Errorf("one that is frozen: said %+v", l.said)
	}
}

// A command that is read two polls later than the feedback leaves no pair behind: the feedback goes first, and the command
// comes to where it rests.
func TestLateCommandIsNoFault(t *testing.T) {
	z := newSim(63, 60, loopPoints|FeedbackLoop|Contact)
	z.rate = 0.05
	steps := func(at float64) float64 { return []float64{90, 40, 65, 30, 100, 55}[int(at/1800)%6] }
	z.setpoint = steps
	l := newLesson(z, nil)
	var before []float64
	late := func(s *Sample) {
		before = append(before, s.Command)
		if n := len(before); n > 2 {
			s.Command = before[n-3]
		}
	}
	l.live(20, late)
	if len(l.said) != 0 {
		t.Errorf("said %+v", l.said)
	}
	z.fault = simFaults[StuckMid]
	l.live(3, late)
	if len(l.said) == 0 || l.said[0].ID != StuckMid {
		t.Errorf("a pair that is stuck: said %+v", l.said)
	}
}
