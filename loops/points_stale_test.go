package loops

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// gateway is a device with some zones, whose values may stand still.
type gateway struct {
	j     *Judge
	sims  []*sim
	last  []Sample
	r     *rand.Rand
	whole bool // values come in whole percents and tens of watts, without noise
	old   bool // it gives out the last values
	wild  float64
	said  []Finding
	at    float64
}

func newGateway(seed uint64, zones int, cycle float64, whole bool) *gateway {
	g := &gateway{r: rand.New(rand.NewPCG(seed, 5)), whole: whole, at: 7 * 3600}
	set := Settings{Devices: []string{"north"}}
	for i := range zones {
		z := newSim(seed+uint64(i), cycle, allPoints|Contact)
		z.at = g.at
		if whole {
			z.noise = 0.05
		}
		s := z.settings()
		s.Name = fmt.Sprint("zone-", i)
		set.Zones = append(set.Zones, s)
		g.sims, g.last = append(g.sims, z), append(g.last, Sample{})
	}
	g.j = New(set)
	return g
}

// points are the values of a sample as they are read.
func points(s *Sample) [5]float64 {
	lit := 0.0
	if s.Contact {
		lit = 1
	}
	return [5]float64{s.Setpoint, s.Command, s.Feedback, s.Power, lit}
}

// values are what a zone reads: dark from 22 to 7 o'clock, calm in the evening, one zone after the other.
func (g *gateway) values(i int, z *sim) Sample {
	hour := math.Mod(g.at/3600, 24)
	s := z.next()
	if dusk := (hour - 18 - 0.13*float64(i)) / 0.7; dusk > 0 && g.whole { // full light in the end, and nothing that moves
		level := min(100, 60+40*dusk)
		s.Setpoint, s.Command, s.Feedback, s.Power = level, 0.97*level, 0.98*level, z.rated*powerCurve(level)
	}
	if hour < 7 || hour >= 22 {
		s.Contact, s.Order, s.Power, s.Feedback, s.Command = false, false, 0, 0.1*g.r.NormFloat64(), 0
	}
	if g.whole {
		s.Setpoint, s.Command = math.Round(s.Setpoint), math.Round(s.Command)
		s.Feedback, s.Power = math.Round(s.Feedback)+0, 10*math.Round(s.Power/10)
	} else if s.Contact {
		s.Feedback += 0.01 * g.r.NormFloat64()
	}
	return s
}

func (g *gateway) live(hours float64) {
	for end := g.at + hours*3600; g.at < end; g.at += g.sims[0].cycle {
		changed, all, now := 0, 0, int64(0)
		list := make([]Sample, len(g.sims))
		for i, z := range g.sims {
			s := g.values(i, z)
			now = s.At
			if g.old {
				at := s.At
				if s = g.last[i]; g.wild > 0 && g.r.Float64() < g.wild {
					s.Feedback = 100 * g.r.Float64()
				}
				s.At = at
			}
			a, b := points(&g.last[i]), points(&s)
			for k := range a {
				if all++; a[k] != b[k] {
					changed++
				}
			}
			s.FeedbackMilliamps = 4 + 0.16*s.Feedback
			list[i] = s
		}
		g.j.Answered(0, now, true)
		g.j.Compared(0, changed, all)
		for i := range list {
			if !g.old {
				g.last[i] = list[i]
			}
			g.j.Observe(i, &list[i])
		}
		g.j.EndRound(now)
		g.j.Changes(func(f Finding) {
			if i := slices.IndexFunc(g.said, func(o Finding) bool { return o.Seq == f.Seq }); i >= 0 {
				g.said[i] = f
			} else {
				g.said = append(g.said, f)
			}
		})
	}
}

// Old values are told within three minutes or some polls, after two hours of the device's life, or a night where it has few
// zones; the zones are listed under
// the one finding, and nothing is said of them one by one, though wild readings come between; it ends when values move.
func TestPointsStale(t *testing.T) {
	for _, zones := range []int{1, 2, 4, 13} {
		for _, cycle := range []float64{5, 15, 60, 300} {
			t.Run(fmt.Sprintf("%d zones/%gs", zones, cycle), func(t *testing.T) {
				g := newGateway(70, zones, cycle, false)
				if zones > fewZones {
					g.live(max(2, 110*cycle/3600))
				} else {
					g.live(26) // it has to be seen in the dark
				}
				began := g.at
				g.old, g.wild = true, 0.002
				g.live(6)
				if zones == 1 { // what is told of the one zone is the same
					g.said = slices.DeleteFunc(g.said, func(f Finding) bool { return f.ID == FeedbackFrozen && f.Revised })
				}
				if len(g.said) != 1 || g.said[0].ID != PointsStale || g.said[0].Cleared != 0 || len(g.said[0].Zones) != zones {
					t.Fatalf("said %v: %+v", names(g.said), g.said)
				}
				f := g.said[0]
				if delay := float64(f.Raised)/1e9 - began; delay > max(180, 6*cycle) {
					t.Errorf("raised after %.0f s", delay)
				}
				if off := math.Abs(float64(f.Onset)/1e9 - began); off > max(cycle, 30) {
					t.Errorf("onset off by %.0f s", off)
				}
				if st := g.j.State(0); st.Judged || st.Reason == "" {
					t.Errorf("a zone of it is judged: %q", st.Reason)
				}
				ended := g.at
				g.old = false
				g.live(max(0.5, 10*cycle/3600))
				if len(g.said) != 1 || g.said[0].Cleared == 0 || float64(g.said[0].Cleared)/1e9-ended > max(180, 4*cycle) {
					t.Errorf("cleared at %.0f s, moving since %.0f s; said %v", float64(g.said[0].Cleared)/1e9, ended, names(g.said))
				}
			})
		}
	}
}

// Devices that repeat themselves for hours because nothing happens are quiet: whole values, calm evenings, dark nights.
func TestCalmDevicesAreQuiet(t *testing.T) {
	for seed := range uint64(6) {
		for _, zones := range []int{1, 2, 6} {
			g := newGateway(80+10*seed, zones, []float64{5, 15, 60}[seed%3], true)
			g.live(4 * 24)
			for _, f := range g.said {
				if f.ID == PointsStale {
					t.Errorf("seed %d, %d zones, after %.1f h: %s", seed, zones, float64(f.Raised)/3600e9, f.Summary)
				}
			}
		}
	}
}

// A device that answers every other poll is lost; one that loses one in five is not; both lists have the same zones.
func TestDeviceComesAndGoes(t *testing.T) {
	for _, c := range []struct {
		loses func(i int, r *rand.Rand) bool
		lost  bool
	}{
		{func(i int, _ *rand.Rand) bool { return i%2 == 0 }, true},
		{func(i int, _ *rand.Rand) bool { return i%3 > 0 }, true},
		{func(i int, r *rand.Rand) bool { return r.Float64() < 0.6 }, true},
		{func(i int, _ *rand.Rand) bool { return i%5 == 0 }, false},
		{func(i int, r *rand.Rand) bool { return r.Float64() < 0.15 }, false},
		{func(i int, _ *rand.Rand) bool { return i%100 < 3 }, false},
	} {
		r := rand.New(rand.NewPCG(4, 4))
		j := New(Settings{Devices: []string{"north"}, Zones: []ZoneSettings{newSim(1, 15, allPoints).settings()}})
		at := int64(0)
		for i := range 2000 {
			at += 15e9
			j.Answered(0, at, !c.loses(i, r))
		}
		if n := len(j.open); (n == 1) != c.lost {
			t.Errorf("lost polls like %v: %d findings", c.loses(0, r), n)
		}
		for range 20 {
			at += 15e9
			j.Answered(0, at, true)
		}
		if len(j.open) != 0 {
			t.Error("not cleared by five minutes of answers")
		}
		raised := 0
		j.Changes(func(f Finding) {
			if f.Cleared == 0 {
				raised++
			}
		})
		if raised > 1 {
			t.Errorf("raised %d times", raised)
		}
	}
}
