package loops

import (
	"fmt"
	"math"
	"slices"
	"testing"
)

const allPoints = loopPoints | FeedbackLoop | Power | Order

// run lets a zone live for so many healthy hours, then with a fault, and gives the findings as they last stood.
func run(z *sim, healthy, faulty float64, fault func(*sim, *simState)) []Finding {
	j := New(Settings{Devices: []string{"north"}, Zones: []ZoneSettings{z.settings()}})
	var list []Finding
	step := func() {
		s := z.next()
		j.Answered(0, s.At, true)
		j.Observe(0, &s)
		j.EndRound(s.At)
		j.Changes(func(f Finding) {
			i := slices.IndexFunc(list, func(o Finding) bool { return o.Seq == f.Seq })
			if i < 0 {
				list = append(list, f)
			} else {
				list[i] = f
			}
		})
	}
	for z.at < healthy*3600 {
		step()
	}
	z.fault = fault
	for end := z.at + faulty*3600; z.at < end; {
		step()
	}
	return list
}

// A fault is named, with its onset, within the time that its kind allows: hard evidence in under three minutes at 15 s.
func TestFaultsAreNamed(t *testing.T) {
	for id, fault := range simFaults {
		for _, cycle := range []float64{5, 15, 60} {
			for seed := range uint64(3) {
				t.Run(fmt.Sprintf("%s/%gs/%d", id, cycle, seed), func(t *testing.T) {
					z := newSim(seed, cycle, allPoints)
					const healthy = 5.0
					got := run(z, healthy, 3, fault)
					if len(got) == 0 {
						t.Fatal("nothing was found in three hours")
					}
					f := got[0]
					delay := float64(f.Raised)/1e9 - healthy*3600
					if f.ID != id {
						t.Errorf("named %s after %.0f s, want %s (also %v)", f.ID, delay, id, f.Also)
					}
					limit := math.Max(180, 5*cycle)
					switch id {
					case CommandHeld: // someone at the command may take a quarter of an hour
						limit = 3 * 3600
					case StuckMid, FeedbackFrozen, StuckDim, NotDimming: // the command has to move first
						limit = 2400
					}
					if delay < 0 || delay > limit {
						t.Errorf("raised after %.0f s, want at most %.0f s", delay, limit)
					}
					if f.Cleared != 0 && !f.Revised {
						t.Errorf("cleared while the fault stands")
					}
					if f.Onset > f.Raised {
						t.Errorf("onset after raise")
					}
				})
			}
		}
	}
}

// Healthy zones raise nothing: 60 zone-days of all samplings, with and without the points that make it easier.
func TestHealthyZonesAreQuiet(t *testing.T) {
	for seed := range uint64(30) {
		for _, has := range []Channels{allPoints, loopPoints | FeedbackLoop | Hours} {
			z := newSim(100+seed, []float64{15, 60, 300}[seed%3], has)
			if got := run(z, 24, 0, nil); len(got) > 0 {
				t.Errorf("seed %d, %v: %s: %s", seed, has, got[0].ID, got[0].Summary)
			}
		}
	}
}

// What the points can not separate is said: without power and light a short and an open pair are one picture.
func TestShortAndOpenAreBothSaid(t *testing.T) {
	for _, id := range []ID{PairShort, PairOpen} {
		z := newSim(4, 15, loopPoints|FeedbackLoop|Order)
		got := run(z, 3, 1, simFaults[id])
		if len(got) != 1 {
			t.Fatalf("%s: %d findings", id, len(got))
		}
		said := []ID{got[0].ID}
		for _, a := range got[0].Also {
			said = append(said, a.ID)
		}
		if !slices.Contains(said, PairShort) || !slices.Contains(said, PairOpen) {
			t.Errorf("%s: said %v", id, said)
		}
		sum, alike := got[0].Confidence, 0.0
		for _, a := range got[0].Also {
			sum += a.Confidence
			if a.ID == PairShort || a.ID == PairOpen {
				alike = a.Fits
			}
		}
		if sum > 1+1e-9 || alike < 0.3 {
			t.Errorf("%s: all together %.2f, the other fits by %.2f: too sure", id, sum, alike)
		}
	}
}

// A finding ends when the loop has followed again, and not before.
func TestRepairIsProved(t *testing.T) {
	z := newSim(7, 15, allPoints)
	repaired := 0.0
	got := run(z, 3, 4, func(z *sim, s *simState) {
		if z.at < 5*3600 {
			simFaults[PairShort](z, s)
		} else if repaired == 0 {
			repaired = z.at
		}
	})
	if len(got) != 1 || got[0].Cleared == 0 {
		t.Fatalf("got %+v", got)
	}
	if after := float64(got[0].Cleared)/1e9 - repaired; after < pairProof || after > 1.5*pairProof {
		t.Errorf("cleared %.0f s after the repair", after)
	}
}

// In the dark a zone says nothing: not asked and not lit is night, and does not clear a finding either.
func TestNightSaysNothing(t *testing.T) {
	z := newSim(9, 15, allPoints)
	j := New(Settings{Devices: []string{"north"}, Zones: []ZoneSettings{z.settings()}})
	night := func(hours float64) {
		for end := z.at + hours*3600; z.at < end; {
			s := z.next()
			s.Order, s.Power, s.Feedback, s.FeedbackMilliamps = false, 0, 0, 4
			j.Observe(0, &s)
			j.EndRound(s.At)
		}
	}
	night(10)
	if n := len(j.open); n != 0 {
		t.Fatalf("%d findings in the dark", n)
	}
	if st := j.State(0); st.JudgedSeconds != 0 || st.Reason == "" {
		t.Errorf("judged %.0f s in the dark, reason %q", st.JudgedSeconds, st.Reason)
	}
	z.fault = simFaults[PairShort]
	for end := z.at + 1800; z.at < end; {
		s := z.next()
		j.Observe(0, &s)
		j.EndRound(s.At)
	}
	if len(j.open) != 1 {
		t.Fatalf("%d findings by day", len(j.open))
	}
	night(10)
	if len(j.open) != 1 {
		t.Error("the night cleared the finding")
	}
}

// A device that does not answer is one finding with its zones under it; a recorder that was off is none.
func TestDeviceLost(t *testing.T) {
	zone := newSim(1, 15, allPoints).settings()
	other := zone
	other.Name, other.Device = "bakery", 1
	j := New(Settings{Devices: []string{"north", "south"}, Zones: []ZoneSettings{zone, zone, other}})
	at := int64(0)
	poll := func(n int, ok bool) {
		for range n {
			at += 15e9
			j.Answered(0, at, ok)
			j.Answered(1, at, true)
		}
	}
	poll(10, true)
	poll(2, false)
	poll(10, true)
	at += 6 * 3600e9 // nobody polled
	poll(10, true)
	if len(j.open) != 0 {
		t.Fatal("two lost polls or a gap made a finding")
	}
	lost := at
	poll(20, false)
	if len(j.open) != 1 {
		t.Fatal("not found")
	}
	f := j.open[0]
	if f.ID != DeviceLost || f.Device != 0 || !slices.Equal(f.Zones, []int{0, 1}) {
		t.Errorf("got %+v", f)
	}
	if d := f.Raised - lost; d > 240e9 || f.Onset < lost || f.Onset > lost+15e9 {
		t.Errorf("raised after %d s, onset after %d s", d/1e9, (f.Onset-lost)/1e9)
	}
	poll(1, true)
	if len(j.open) != 0 {
		t.Error("not cleared by an answer")
	}
}
