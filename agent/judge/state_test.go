package judge_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"dimwatch/agent/judge"
	"dimwatch/loops"
)

// kept is a new site that goes on from what another one saved.
func kept(t *testing.T, s *judge.Site) *judge.Site {
	t.Helper()
	state, err := s.Save()
	if err != nil {
		t.Fatal(err)
	}
	next := judge.New(site())
	if err := next.Restore(state); err != nil {
		t.Fatal(err)
	}
	return next
}

// hours polls both devices of the site, each at its cycle, for two hours with a short in the second, and gives all that was
// said and how the site stands in the end. Before a poll for which cut says so, another site goes on.
func hours(t *testing.T, cut func(poll int) bool) (string, *judge.Site) {
	t.Helper()
	var said strings.Builder
	s := judge.New(site())
	command, polls := 5.0, 0
	for second := range 2 * 3600 {
		x := float64(second)
		setpoint, pair := 50+20*math.Sin(x/400), command
		if second > 3600 {
			pair = 0.05
		}
		counts := (4 + 1.6*pair + 0.01*math.Sin(37*x)) * 4095 / 20
		if second%4 == 0 || second%10 == 0 {
			if polls++; cut(polls) {
				s = kept(t, s)
			}
		}
		if second%4 == 0 {
			south(s, after(x), command, 0)
		}
		if second%10 == 0 {
			north(s, after(x+0.5), 10*setpoint, counts, 300+7*math.Max(0, 10*pair-20))
			command = math.Min(10, math.Max(0, command+0.02*(setpoint/10-pair)*10))
		}
		if second%60 == 0 {
			s.Changes(func(f loops.Finding) { fmt.Fprintf(&said, "%+v\n", f) })
		}
	}
	now := s.Snapshot()
	now.Site = nil
	for i := range now.Zones {
		now.Zones[i].Config = nil
	}
	now.Devices = nil // the newest poll and not a state
	fmt.Fprintf(&said, "%v %v %+v", now.From.UTC(), now.To.UTC(), now.Zones)
	for _, f := range now.Findings {
		fmt.Fprintf(&said, "\n%+v", f)
	}
	fmt.Fprintf(&said, "\n%v", now.Raised)
	return said.String(), s
}

// A site that is cut in two between any two polls says the same as one that is not, counts the same energy, and uses the
// same readings of the device that was not polled yet.
func TestCut(t *testing.T) {
	whole, _ := hours(t, func(int) bool { return false })
	if !strings.Contains(whole, "pair is shorted") && !strings.Contains(whole, "violet and gray") {
		t.Fatalf("nothing was found: the test shows nothing\n%s", whole)
	}
	r := rand.New(rand.NewPCG(3, 4))
	for range 12 {
		at := r.IntN(2 * 3600 * 7 / 20)
		if got, _ := hours(t, func(poll int) bool { return poll == at }); got != whole {
			t.Fatalf("cut at poll %d:\n%s\nwant\n%s", at, got, whole)
		}
	}
	if got, _ := hours(t, func(int) bool { return r.IntN(10) == 0 }); got != whole {
		t.Fatalf("cut at every tenth poll:\n%s\nwant\n%s", got, whole)
	}
}

// A record that cannot be read is named and not taken; the other is.
func TestDamagedRecord(t *testing.T) {
	_, s := hours(t, func(int) bool { return false })
	state, err := s.Save()
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name              string
		judgement, energy []byte
		says              string
		findings          int
		used              bool
	}{
		{"both", state.Judgement, state.Energy, "", 1, true},
		{"neither", nil, nil, "", 0, false},
		{"judgement", slices.Concat(state.Judgement[:100], state.Judgement[90:]), state.Energy, "judgement: ", 0, true},
		{"no judgement", []byte("no gob"), state.Energy, "judgement: ", 0, true},
		{"energy", state.Judgement, state.Energy[:len(state.Energy)/2], "energy: ", 1, false},
	} {
		next := judge.New(site())
		err := next.Restore(judge.State{Judgement: c.judgement, Energy: c.energy}) // the meters alone would bring the energy too
		if (err == nil) != (c.says == "") || err != nil && !strings.HasPrefix(err.Error(), c.says) {
			t.Errorf("%s: %v", c.name, err)
		}
		now := next.Snapshot()
		if len(now.Findings) != c.findings || now.Zones[0].Energy.UsedJoules > 0 != c.used {
			t.Errorf("%s: %d findings, %g J", c.name, len(now.Findings), now.Zones[0].Energy.UsedJoules)
		}
	}
}

// Counters that are held are shown as they were saved, however much was counted since.
func TestHold(t *testing.T) {
	_, s := hours(t, func(int) bool { return false })
	state, err := s.Save()
	if err != nil {
		t.Fatal(err)
	}
	then := s.Snapshot()
	for i := range 10 {
		north(s, after(7200+10*float64(i)), 500, 2000, 800)
	}
	now := s.Snapshot()
	if now.Zones[0].Energy.UsedJoules <= then.Zones[0].Energy.UsedJoules {
		t.Fatal("nothing was counted")
	}
	now.Hold(state.Counters)
	if now.Zones[0].Energy != then.Zones[0].Energy || fmt.Sprint(now.Raised) != fmt.Sprint(then.Raised) {
		t.Errorf("%+v, want %+v", now.Zones[0].Energy, then.Zones[0].Energy)
	}
}
