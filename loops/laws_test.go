package loops

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
)

// site lets several zones live side by side, each with a fault of its own from its fourth hour on, and gives the findings
// in words, zones by name and times less an offset.
func site(order []int, offset int64) []string {
	ids := []ID{None, PairShort, StuckDim, None, FeedbackLoopHigh, NotDimming, CircuitOff}
	sims := make([]*sim, len(ids))
	set := Settings{Devices: []string{"north"}}
	for place, k := range order {
		z := newSim(uint64(40+k), 15, allPoints)
		sims[place] = z
		s := z.settings()
		s.Name = fmt.Sprint("zone-", k)
		set.Zones = append(set.Zones, s)
	}
	j := New(set)
	var out []string
	for sims[0].at < 9*3600 {
		var at int64
		for place, k := range order {
			z := sims[place]
			if z.at > 4*3600+600*float64(k) && ids[k] != None { // two at once would be one cause
				z.fault = simFaults[ids[k]]
			}
			if z.at > 6.5*3600 {
				z.fault = nil
			}
			s := z.next()
			s.At += offset
			at = s.At
			j.Observe(place, &s)
		}
		j.EndRound(at)
		j.Changes(func(f Finding) {
			cleared := f.Cleared
			if cleared != 0 {
				cleared -= offset
			}
			out = append(out, fmt.Sprint(set.Zones[f.Zones[0]].Name, f.ID, f.Cause, f.Onset-offset, f.Raised-offset, cleared,
				f.Revised, f.Confidence, f.Also, f.Summary, f.Evidence))
		})
	}
	slices.Sort(out)
	return out
}

// The order of the zones changes nothing but the numbers of the findings.
func TestOrderOfZones(t *testing.T) {
	first := site([]int{0, 1, 2, 3, 4, 5, 6}, 0)
	if len(first) < 10 {
		t.Fatalf("only %d statements: the test shows nothing", len(first))
	}
	r := rand.New(rand.NewPCG(1, 2))
	for range 3 {
		if other := site(r.Perm(7), 0); !slices.Equal(first, other) {
			t.Fatalf("differs:\n%v\n%v", first, other)
		}
	}
}

// A shift of all times by whole weeks changes nothing but the times.
func TestShiftByWeeks(t *testing.T) {
	const week = int64(7 * 86400 * 1e9)
	first := site([]int{0, 1, 2, 3, 4, 5, 6}, 0)
	for _, weeks := range []int64{1, 52, 2900} {
		if other := site([]int{0, 1, 2, 3, 4, 5, 6}, weeks*week); !slices.Equal(first, other) {
			t.Fatalf("%d weeks later it differs", weeks)
		}
	}
}

// FuzzObserve feeds nonsense: nothing panics, and what is shown stays within its bounds.
func FuzzObserve(f *testing.F) {
	f.Add(uint64(1), 15.0, 50.0, 50.0, 51.0, 400.0, uint16(allPoints))
	f.Add(uint64(2), -3.0, 1e300, -1e300, 0.0, -1.0, uint16(0xffff))
	f.Fuzz(func(t *testing.T, seed uint64, dt, setpoint, command, feedback, power float64, has uint16) {
		r := rand.New(rand.NewPCG(seed, 5))
		z := newSim(seed, 15, Channels(has))
		j := New(Settings{
			Devices: []string{"north"}, Zones: []ZoneSettings{z.settings()}, Sensors: []SensorSettings{{Zones: []int{0}}},
			Placed: seed%2 == 0, Latitude: float64(seed % 90),
		})
		for i := range 60 {
			s := z.next()
			if i%3 == 1 {
				s.At += int64(dt * 1e9)
			}
			if r.IntN(2) == 0 {
				s.Setpoint, s.Command, s.Feedback, s.Power = setpoint, command, feedback, power
				s.Daylight, s.DaylightMilliamps = power, command
			}
			s.Has = Channels(has)
			s.Order, s.Contact = r.IntN(2) == 0, r.IntN(2) == 0
			j.Answered(0, s.At, r.IntN(3) > 0)
			j.Observe(0, &s)
			j.EndRound(s.At)
		}
		st := j.State(0)
		if !(st.JudgedSeconds >= 0 && st.JudgedSeconds <= st.CalledSeconds+1) {
			t.Errorf("judged %g of %g seconds", st.JudgedSeconds, st.CalledSeconds)
		}
		j.Changes(func(f Finding) {
			sum := f.Confidence
			for _, a := range f.Also {
				sum += a.Confidence
			}
			if f.Onset > f.Raised {
				t.Errorf("onset %d after raised %d", f.Onset, f.Raised)
			}
			for _, e := range f.Evidence {
				if e.Value-e.Value != 0 {
					t.Errorf("%s is %g", e.Name, e.Value)
				}
			}
			if !(f.Confidence >= 0 && sum <= 1+1e-9) {
				t.Errorf("confidence %g, with the others %g", f.Confidence, sum)
			}
		})
	})
}

// A configuration that is read again costs nothing: the zones that are the same go on as if nothing had happened, whatever
// their place; a zone whose settings changed begins anew.
func TestResume(t *testing.T) {
	faults := []ID{PairShort, None, StuckDim}
	build := func(order []int, changed int) (Settings, []int) {
		set := Settings{Devices: []string{"south", "north"}}
		for _, k := range order {
			s := newSim(uint64(60+k), 15, allPoints).settings()
			s.Name, s.Device = fmt.Sprint("zone-", k), 1
			if k == changed {
				s.Tolerance = 9
			}
			set.Zones = append(set.Zones, s)
		}
		return set, order
	}
	live := func(cut bool, changed int) []string {
		sims := []*sim{newSim(60, 15, allPoints), newSim(61, 15, allPoints), newSim(62, 15, allPoints)}
		set, order := build([]int{0, 1, 2}, -1)
		j := New(set)
		var out []string
		for i := range 8 * 240 {
			if cut && i == 4*240 {
				old := j
				set, order = build([]int{2, 0, 1}, changed)
				j = New(set)
				j.Resume(old)
			}
			var at int64
			for place, k := range order {
				z := sims[k]
				if z.at > 3*3600 && z.at < 5*3600 && faults[k] != None {
					z.fault = simFaults[faults[k]]
				} else {
					z.fault = nil
				}
				s := z.next()
				at = s.At
				j.Observe(place, &s)
			}
			j.EndRound(at)
			j.Changes(func(f Finding) {
				out = append(out, fmt.Sprint(set.Zones[f.Zones[0]].Name, f.ID, f.Cause, f.Onset, f.Raised, f.Cleared, f.Confidence))
			})
		}
		slices.Sort(out)
		return out
	}
	whole := live(false, -1)
	if len(whole) != 4 {
		t.Fatalf("%d statements: the test shows nothing: %v", len(whole), whole)
	}
	if got := live(true, -1); !slices.Equal(got, whole) {
		t.Errorf("differs:\n%v\n%v", got, whole)
	}
	if got := live(true, 0); slices.Equal(got, whole) {
		t.Error("a zone with other settings went on as before")
	}
}
