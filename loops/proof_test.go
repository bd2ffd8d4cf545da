package loops

import (
	"math"
	"slices"
	"testing"
)

// What was shown after a repair is the range and the time in which the loop was seen to work, and nothing before it.
func TestProofSaysWhatWasSeen(t *testing.T) {
	const repaired = 5 * 3600.0
	z := newSim(7, 15, allPoints)
	z.setpoint = func(at float64) float64 { return 55 + 20*math.Sin(at/400) } // 35 to 75 %: neither end
	z.fault = func(z *sim, s *simState) {
		if z.at > 3*3600 && z.at < repaired {
			simFaults[PairShort](z, s)
		}
	}
	j := New(Settings{Devices: []string{"north"}, Zones: []ZoneSettings{z.settings()}})
	var ended []Finding
	low, high, partly := math.Inf(1), math.Inf(-1), Proof{}
	for z.at < repaired+2*3600 && len(ended) == 0 {
		s := z.next()
		if float64(s.At)/1e9 >= repaired && math.Abs(s.Setpoint-s.Feedback) <= 10 {
			low, high = min(low, s.Feedback), max(high, s.Feedback)
		}
		j.Observe(0, &s)
		j.EndRound(s.At)
		j.Changes(func(f Finding) {
			if f.Cleared != 0 {
				ended = append(ended, f)
			}
		})
		j.Active(func(f Finding) {
			switch at := float64(s.At) / 1e9; {
			case at < repaired && f.Proof.Seconds != 0:
				t.Fatalf("%.0f s before the repair %+v is shown", repaired-at, f.Proof)
			case at == repaired+1200:
				partly = f.Proof
			}
		})
	}
	if len(ended) != 1 || ended[0].ID != PairShort {
		t.Fatalf("ended: %+v", ended)
	}
	if partly.Seconds < 600 || partly.Seconds > 1200 {
		t.Errorf("20 minutes after the repair %+v is shown, and it stands", partly)
	}
	p := ended[0].Proof
	if since := float64(ended[0].Cleared)/1e9 - repaired; p.Seconds < pairProof || p.Seconds > since {
		t.Errorf("%.0f s are shown of the %.0f s since the repair", p.Seconds, since)
	}
	if p.From < low-1e-9 || p.To > high+1e-9 || p.From > low+10 || p.To < high-10 {
		t.Errorf("shown from %.1f to %.1f %%, the feedback went from %.1f to %.1f %%", p.From, p.To, low, high)
	}
	if got := p.NotYet(); !slices.Equal(got, []string{"minimum", "full"}) {
		t.Errorf("not yet: %v", got)
	}
}

// The ends of the range count as seen from 1.5 V down and from 9.5 V up.
func TestProofEnds(t *testing.T) {
	for _, c := range []struct {
		p    Proof
		want []string
	}{
		{Proof{}, nil},
		{Proof{Seconds: 60, From: 10, To: 100}, nil},
		{Proof{Seconds: 60, From: 15, To: 95}, nil},
		{Proof{Seconds: 60, From: 16, To: 95}, []string{"minimum"}},
		{Proof{Seconds: 60, From: 15, To: 94}, []string{"full"}},
		{Proof{Seconds: 60, From: 40, To: 70}, []string{"minimum", "full"}},
	} {
		if got := c.p.NotYet(); !slices.Equal(got, c.want) {
			t.Errorf("%+v: not yet %v, want %v", c.p, got, c.want)
		}
	}
	a, b := Proof{Seconds: 60, From: 10, To: 60}, Proof{Seconds: 90, From: 30, To: 90}
	if got, want := a.with(b), (Proof{Seconds: 60, From: 30, To: 60}); got != want {
		t.Errorf("both have shown %+v, want %+v", got, want)
	}
	if got := a.with(Proof{Seconds: 60, From: 70, To: 80}); got != (Proof{}) {
		t.Errorf("two zones that have nothing in common have shown %+v", got)
	}
}

// A zone that moves puts to the test what takes moving; one that stays at full does not, and that is said.
func TestTested(t *testing.T) {
	moving, full := newSim(3, 15, allPoints), newSim(4, 15, allPoints)
	full.setpoint = func(float64) float64 { return 100 }
	full.gain, full.shift, full.command = 1, 0, 100
	a, b := moving.settings(), full.settings()
	b.Name = "bakery"
	j := New(Settings{Devices: []string{"north"}, Zones: []ZoneSettings{a, b}})
	for moving.at < 8*3600 {
		s, o := moving.next(), full.next()
		j.Observe(0, &s)
		j.Observe(1, &o)
		j.EndRound(s.At)
	}
	if len(j.open) != 0 {
		t.Fatalf("findings: %+v", j.open)
	}
	always := []ID{CeilingLow, PairShort, RepairIncomplete, PairIntermittent, FeedbackNoisy}
	moves := []ID{NotDimming, FloorHigh, Hunting}
	for _, id := range append(slices.Clone(always), moves...) {
		if j.State(0).Tested[id] == 0 {
			t.Errorf("%s was not put to the test in a zone that moves", id)
		}
	}
	for _, id := range always {
		if j.State(1).Tested[id] == 0 {
			t.Errorf("%s was not put to the test in a zone at full", id)
		}
	}
	for _, id := range moves {
		if j.State(1).Tested[id] != 0 {
			t.Errorf("%s was put to the test in a zone that stays at full", id)
		}
	}
	if j.State(0).Tested[ZonesCrossed] == 0 || j.State(1).Tested[ZonesCrossed] == 0 {
		t.Error("two zones whose commands are apart follow their own, and are not taken as tested for being crossed")
	}
	alone := New(Settings{Devices: []string{"north"}, Zones: []ZoneSettings{a}})
	for z := newSim(3, 15, allPoints); z.at < 8*3600; {
		s := z.next()
		alone.Observe(0, &s)
		alone.EndRound(s.At)
	}
	if alone.State(0).Tested[ZonesCrossed] != 0 {
		t.Error("a zone that is alone was tested for being crossed")
	}
}

// A finding that stands says when it last showed, and for how long nothing has spoken for it since.
func TestFindingThatIsQuiet(t *testing.T) {
	z := newSim(5, 15, allPoints)
	z.setpoint = func(at float64) float64 { return 60 + 5*math.Sin(at/1500) }
	l := newLesson(z, nil)
	l.live(5, nil)
	z.fault = simFaults[CommandHeld]
	z.command = 20
	l.live(2, nil)
	ends := z.at
	z.fault = nil
	l.live(0.5, nil)
	stands := 0
	l.j.Active(func(f Finding) {
		stands++
		if p := f.Proof; math.Abs(float64(p.Last)/1e9-ends) > 300 || p.Quiet < 1200 {
			t.Errorf("%s last showed at %g and was quiet for %g s; the fault ended at %g, half an hour ago", f.ID, float64(p.Last)/1e9, p.Quiet, ends)
		}
	})
	if stands == 0 {
		t.Error("it does not stand any more: the test shows nothing")
	}
}
