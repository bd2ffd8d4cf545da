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

// A hand that sets the command and leaves it there is one step, whatever the poll rate: no controller that goes the wrong way.
func TestHandIsOneStep(t *testing.T) {
	for _, cycle := range []float64{5, 15, 60, 300} {
		for _, by := range []float64{-30, 25} {
			for seed := range uint64(6) {
				z := newSim(seed, cycle, allPoints)
				z.setpoint = func(at float64) float64 { return 60 + 5*math.Sin(at/2000) }
				l := newLesson(z, nil)
				l.live(4, nil)
				z.command += by
				z.fault = simFaults[CommandHeld]
				l.live(3, nil)
				if len(l.said) == 0 || l.said[0].ID != CommandHeld {
					t.Errorf("every %g s, by %g %%, seed %d: said %+v", cycle, by, seed, l.said)
				}
			}
		}
	}
}

// A poll that fails has no values: what stands in their place says nothing of a zone that was switched off by hand.
func TestFailedPollHasNoValues(t *testing.T) {
	for seed := range uint64(4) {
		z := newSim(seed, 15, loopPoints)
		z.setpoint = func(at float64) float64 { return 60 + 5*math.Sin(at/2000) }
		l := newLesson(z, func(s *ZoneSettings) { s.Has |= Hours })
		n := 0
		hours := func(s *Sample) {
			s.Has |= Hours
			if n++; n == 1000 { // ten minutes after it was switched off
				*s = Sample{At: s.At, Has: Hours, Open: true}
			}
		}
		l.live(4, hours)
		z.fault = func(_ *sim, s *simState) { s.fed, s.held = false, true }
		l.live(3, hours)
		if len(l.said) > 0 {
			t.Errorf("seed %d: said %+v", seed, l.said)
		}
	}
}

// A dark zone whose transmitter reads a little below 4 mA stays one whose supply was lost.
func TestDarkZoneStaysDark(t *testing.T) {
	for seed := range uint64(12) {
		z := newSim(seed, 15, allPoints|FeedbackLoop)
		l := newLesson(z, nil)
		l.live(5, nil)
		z.fault = func(z *sim, s *simState) {
			simFaults[CircuitOff](z, s)
			s.milliamps = 3.68 + 0.05*z.rand.NormFloat64()
		}
		l.live(3, nil)
		if len(l.said) != 1 || l.said[0].ID != CircuitOff {
			t.Errorf("seed %d: said %+v", seed, l.said)
		}
	}
}

// Zones that are lit again together are proved together: that one leaves the record takes nothing from the others.
func TestSupplyThatIsBackIsProvedAtOnce(t *testing.T) {
	var sims []*sim
	set := Settings{Devices: []string{"north"}}
	for i := range 6 {
		z := newSim(uint64(300+i), 15, allPoints)
		s := z.settings()
		s.Name = string(rune('a' + i))
		sims, set.Zones = append(sims, z), append(set.Zones, s)
	}
	j := New(set)
	stands := 0
	for sims[0].at < 5*3600+600 {
		var at int64
		for i, z := range sims {
			z.fault = nil
			if z.at >= 4*3600 && z.at < 5*3600 {
				z.fault = simFaults[CircuitOff]
			}
			s := z.next()
			at = s.At
			j.Observe(i, &s)
		}
		j.EndRound(at)
		j.Changes(func(f Finding) {})
		if sims[0].at == 5*3600 {
			j.Active(func(f Finding) { stands += len(f.Zones) })
		}
	}
	if stands != 6 {
		t.Errorf("%d zones were dark, want 6", stands)
	}
	j.Active(func(f Finding) { t.Errorf("ten minutes after the light is back: %+v", f) })
}

// sharing gives three zones of which the first and the last share a record of lost supply.
func sharing() (*Judge, Settings) {
	set := Settings{Devices: []string{"north"}}
	for _, name := range []string{"a", "b", "c"} {
		set.Zones = append(set.Zones, ZoneSettings{Name: name, Has: allPoints, CycleSeconds: 15, Tolerance: 10, SettleSeconds: 60})
	}
	j := New(set)
	i := explanationOf(CircuitOff)
	j.zones[0].sums.total[i], j.zones[2].sums.total[i] = 40, 40
	j.raise(0, i, "")
	j.regroup(0, []int{0, 2})
	return j, set
}

// A zone of a shared record that turns out to be crossed with another leaves the record, and the others keep it.
func TestCrossedZoneLeavesASharedRecord(t *testing.T) {
	j, _ := sharing()
	j.crossings = append(j.crossings, crossing{a: 0, b: 1, total: 50})
	j.raiseCrossing(&j.crossings[0])
	for at, want := range [][]int{{0, 1}, {0, 1}, {2}} {
		if got := j.open[j.zones[at].open[loopTrack]].Zones; !slices.Equal(got, want) {
			t.Errorf("zone %d is on a record of %v, want %v", at, got, want)
		}
	}
}

// A shared record stays with the zones that are the same where the configuration of one changes.
func TestReloadKeepsASharedRecord(t *testing.T) {
	old, set := sharing()
	old.Changes(func(Finding) {})
	set.Zones = slices.Clone(set.Zones)
	set.Zones[2].Tolerance = 12
	j := New(set)
	j.Resume(old)
	if len(j.open) != 1 || !slices.Equal(j.open[0].Zones, []int{0}) || j.zones[2].open[loopTrack] >= 0 {
		t.Errorf("stand %+v", j.open)
	}
}

// Half a swing before a night that nobody watched and half a one after it are no swing.
func TestGapEndsASwing(t *testing.T) {
	z := newSim(3, 15, allPoints)
	l := newLesson(z, nil)
	l.live(1, nil)
	o := &l.j.zones[0].memory.swings.oscillation
	if !o.any || o.half.seconds == 0 {
		t.Fatalf("no half period under way: %+v", o)
	}
	z.at += 8 * 3600
	l.live(0.003, nil) // one sample
	if o.half.seconds > 60 {
		t.Errorf("a half period of %g s goes across the gap", o.half.seconds)
	}
}

// A sensor that another one may join is named all the same once it is as sure as it gets.
func TestSensorDoesNotWaitForEver(t *testing.T) {
	set := Settings{Devices: []string{"n", "s"}, Placed: true}
	for i := range 2 {
		set.Zones = append(set.Zones, ZoneSettings{
			Name: string(rune('a' + i)), Device: i, Has: allPoints | Daylight, CycleSeconds: 15, Tolerance: 10, SettleSeconds: 60,
			FalseFindings: 1e-5, // no threshold is out of reach
		})
	}
	set.Sensors = []SensorSettings{{0, []int{0}}, {1, []int{1}}}
	j := New(set)
	a, b := &j.sensors[0], &j.sensors[1]
	a.at, b.at = 4e5*1e9, 1e5*1e9
	a.weighs(byDay, 100)
	b.weighs(byDay, 13)
	a.since[againstTheDay], b.since[againstTheDay] = 1e9, 1e9
	j.judgeSensors()
	if len(j.open) != 1 {
		t.Errorf("%d findings at %g nats of %g", len(j.open), a.total[againstTheDay], a.h)
	}
}

// At the gear an open pair stands above 10 V, beyond what a transmitter without limit is made for.
func TestOpenPairAtTheGear(t *testing.T) {
	z := newSim(2, 15, loopPoints|FeedbackLoop|Power|Order)
	z.open = 125
	l := newLesson(z, func(s *ZoneSettings) { s.TapGear = true })
	l.live(5, nil)
	z.fault = func(z *sim, s *simState) {
		s.pair, s.light, s.milliamps = z.open, 100, 24+0.02*z.rand.NormFloat64()
	}
	l.live(1, nil)
	named := false
	for _, f := range l.said {
		named = named || f.ID == PairOpen || slices.ContainsFunc(f.Also, func(a Alternative) bool { return a.ID == PairOpen })
	}
	if !named {
		t.Errorf("said %+v", l.said)
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

// A zone that is switched off beside a meter that takes minutes to fall is not at minimum light on the way, whether its
// setpoint goes to nothing or stays.
func TestSwitchedOffBesideSlowMeter(t *testing.T) {
	for _, setpoint := range []float64{0, 100} {
		l := newLesson(newSim(64, 15, allPoints&^(Contact|Order)|Hours), nil)
		l.live(6, nil)
		l.z.fault = simFaults[CircuitOff]
		watts := l.z.rated * 0.7
		l.live(0.5, func(s *Sample) {
			watts *= 0.85 // a time constant of 92 s
			s.Power, s.Open, s.Setpoint, s.Command = math.Max(watts, 5), false, setpoint, 100
		})
		if len(l.said) != 0 {
			t.Errorf("setpoint at %.0f %%: said %s: %s", setpoint, l.said[0].ID, l.said[0].Summary)
		}
	}
}

// A contact behind the breaker that has opened says that the gear is not fed: with the pair at 0 V that is a lost supply and
// no short.
func TestOpenContactIsNoShort(t *testing.T) {
	l := newLesson(newSim(65, 30, loopPoints|FeedbackLoop|Contact|Hours), nil)
	l.live(6, nil)
	l.z.fault = simFaults[CircuitOff]
	l.live(1, nil)
	if len(l.said) == 0 || l.said[0].ID != CircuitOff {
		t.Errorf("said %+v", l.said)
	}
}

// A command that is polled more seldom than the feedback comes late by some samples. That is learned, and what is judged then is
// of one time: no fault while it is sound, and faults all the same.
func TestCommandThatComesLate(t *testing.T) {
	for late := 1; late <= mostLate; late++ {
		z := newSim(uint64(40+late), 60, allPoints)
		z.setpoint = func(at float64) float64 { return 60 + 25*math.Sin(at/900) }
		var past []float64
		bend := func(s *Sample) {
			past = append(past, s.Command)
			s.Command = past[max(0, len(past)-1-late)]
		}
		l := newLesson(z, nil)
		l.live(24, bend)
		l.said = nil // what the first of its late steps looked like
		l.live(96, bend)
		if got := l.j.zones[0].skew.late; got != [2]int8{int8(late), 0} {
			t.Errorf("late by %d: learned %v", late, got)
		}
		if len(l.said) > 0 {
			t.Errorf("late by %d: said %+v", late, l.said)
		}
		z.fault = simFaults[PairShort]
		l.live(1, bend)
		if len(l.said) == 0 || l.said[0].ID != PairShort {
			t.Errorf("late by %d: said %+v of a short", late, l.said)
		}
	}
}

// Zones of two devices are never polled at once, and are crossed all the same.
func TestCrossedZonesOfTwoDevices(t *testing.T) {
	set := Settings{Devices: []string{"north", "south"}}
	var sims []*sim
	for i, name := range []string{"a", "b"} {
		z := newSim(uint64(70+i), 15, allPoints)
		level := 40 + 35*float64(i)
		z.setpoint = func(at float64) float64 { return level + 5*math.Sin(at/1500) }
		s := z.settings()
		s.Name, s.Device = name, i
		sims, set.Zones = append(sims, z), append(set.Zones, s)
	}
	sims[1].at = 7 // seconds after the other's
	j := New(set)
	var said []Finding
	for sims[0].at < 6*3600 {
		for i, z := range sims {
			if z.at > 5*3600 {
				other := sims[1-i]
				z.fault = func(_ *sim, s *simState) { s.pair, s.light = max(5, other.command), max(10, other.command) }
			}
			s := z.next()
			j.Observe(i, &s)
			j.EndRound(s.At)
			j.Changes(func(f Finding) { said = append(said, f) })
		}
	}
	if len(said) == 0 || said[0].ID != ZonesCrossed {
		t.Errorf("said %+v", said)
	}
}

// The power that comes a poll after its level is not learned as that of the level: afterwards the right power would be taken
// for lamps that are out.
func TestLevelThatHasJustComeTeachesNothing(t *testing.T) {
	z := newSim(71, 180, allPoints)
	z.setpoint = func(at float64) float64 {
		if math.Mod(at, 86400) < 5*3600 {
			return 88
		}
		return 80
	}
	l := newLesson(z, nil)
	watts := 0.0
	l.live(4*24, func(s *Sample) { s.Power, watts = watts, s.Power })
	if len(l.said) != 0 {
		t.Errorf("said %s: %s", l.said[0].ID, l.said[0].Summary)
	}
}

// A zone that is switched off again and again, and whose order says so a poll after the feedback, has no loose contact.
func TestSwitchedOffIsNoSpell(t *testing.T) {
	z := newSim(72, 90, loopPoints|FeedbackLoop|Order)
	l := newLesson(z, nil)
	l.live(6, nil)
	var last Sample
	off := func(at float64) bool { return math.Mod(at, 3600) >= 2700 }
	l.live(12, func(s *Sample) {
		if off(float64(s.At) / 1e9) {
			s.Feedback, s.FeedbackMilliamps, s.Order = 0.2, 4.03, false
		}
		late := *s
		if last.At > 0 {
			s.Order = last.Order
		}
		last = late
	})
	if len(l.said) != 0 {
		t.Errorf("said %s: %s", l.said[0].ID, l.said[0].Summary)
	}
}

// On the first morning nobody knows yet that a zone's command comes late: a ramp after lighting is no fault.
func TestRampBeforeLatenessIsKnown(t *testing.T) {
	for late := 1; late <= mostLate; late++ {
		z := newSim(uint64(73+late), 60, loopPoints|FeedbackLoop|Order)
		z.rate = 0.05
		z.setpoint = func(at float64) float64 { return min(100, 30+10*math.Floor(at/60)) }
		z.command = 30
		l := newLesson(z, nil)
		var past []float64
		l.live(2, func(s *Sample) {
			past = append(past, s.Command)
			s.Command = past[max(0, len(past)-1-late)]
		})
		if len(l.said) != 0 {
			t.Errorf("late by %d: said %s: %s", late, l.said[0].ID, l.said[0].Summary)
		}
	}
}
