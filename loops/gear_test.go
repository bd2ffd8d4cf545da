package loops

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"unsafe"
)

// gearDay lets a zone live day and night: lit from 7 to 22 o'clock, with bend applied to each sample, and gives what was
// said, as it last stood.
type gearDay struct {
	z    *sim
	j    *Judge
	r    *rand.Rand
	said []Finding
}

func newGearDay(seed uint64, cycle float64, change func(*ZoneSettings)) *gearDay {
	z := newSim(seed, cycle, allPoints)
	z.at = 6 * 3600
	set := z.settings()
	if change != nil {
		change(&set)
	}
	return &gearDay{z: z, r: rand.New(rand.NewPCG(seed, 17)),
		j: New(Settings{Devices: []string{"north"}, Zones: []ZoneSettings{set}})}
}

func (d *gearDay) live(hours float64, bend func(*Sample)) {
	for end := d.z.at + hours*3600; d.z.at < end; {
		s := d.z.next()
		if hour := math.Mod(float64(s.At)/3600e9, 24); hour < 7 || hour >= 22 {
			s.Order, s.Contact, s.Power, s.Feedback, s.FeedbackMilliamps = false, false, 0, 0.1*d.r.NormFloat64(), 4
		} else if bend != nil {
			bend(&s)
		}
		d.j.Observe(0, &s)
		d.j.EndRound(s.At)
		d.j.Changes(func(f Finding) {
			if i := slices.IndexFunc(d.said, func(o Finding) bool { return o.Seq == f.Seq }); i >= 0 {
				d.said[i] = f
			} else {
				d.said = append(d.said, f)
			}
		})
	}
}

// gearFaults are what part k of the gear does to the power. The light that the command asks for is taken from the feedback.
func gearFaults(z *sim, k float64) map[ID]func(*Sample) {
	return map[ID]func(*Sample){
		LampsOut:  func(s *Sample) { s.Power *= 1 - k },
		GearStray: func(s *Sample) { s.Power = s.Power*(1-k) + k*z.rated },
	}
}

// One ballast of 24 that is out or one of 16 that does not dim, a fifth and half of the gear are found within a day of light, from what the zone drew on the two days
// before, and cleared when they are repaired; how many ballasts it is is told to within one, or a quarter.
func TestGearIsFound(t *testing.T) {
	least := map[ID]float64{LampsOut: 1.0 / 24, GearStray: 1.0 / 16} // stray gear shows by what the rest has dimmed
	for _, id := range []ID{LampsOut, GearStray} {
		for _, k := range []float64{least[id], 0.2, 0.5} {
			for i, cycle := range []float64{15, 60, 300} {
				t.Run(fmt.Sprintf("%s/%.2f/%gs", id, k, cycle), func(t *testing.T) {
					d := newGearDay(uint64(500+i), cycle, func(s *ZoneSettings) { s.Ballasts = 24 })
					d.live(54, nil) // until noon
					began := int64(d.z.at * 1e9)
					d.live(24, gearFaults(d.z, k)[id])
					if len(d.said) != 1 || d.said[0].ID != id {
						t.Fatalf("said %v", names(d.said))
					}
					f := d.said[0]
					if f.Cleared != 0 || f.Onset > f.Raised || f.Raised < began {
						t.Errorf("onset %d, raised %d, cleared %d; the fault began %d", f.Onset/1e9, f.Raised/1e9, f.Cleared/1e9, began/1e9)
					}
					if off := math.Abs(float64(f.Onset-began)) / 1e9; k > 0.1 && off > 3600 {
						t.Errorf("onset off by %.0f s", off)
					}
					if k > 0.1 && float64(f.Raised-began)/1e9 > 3*3600 {
						t.Errorf("raised after %.1f h", float64(f.Raised-began)/3600e9)
					}
					if size := d.j.zones[0].memory.gear.size; math.Abs(size-k) > max(1.0/24, k/4) {
						t.Errorf("size %.3f, want %.3f", size, k)
					}
					d.live(30, nil)
					if d.said[0].Cleared == 0 || len(d.said) != 1 {
						t.Errorf("after the repair: cleared %d, said %v", d.said[0].Cleared, names(d.said))
					}
				})
			}
		}
	}
}

func names(list []Finding) (out []string) {
	for _, f := range list {
		out = append(out, fmt.Sprintf("%s(%.1fh)", f.ID, float64(f.Raised)/3600e9))
	}
	return out
}

// A gross loss is named within half an hour, with two healthy hours before it.
func TestGrossLossIsQuick(t *testing.T) {
	d := newGearDay(520, 15, nil)
	d.live(3.5, nil)
	began := d.z.at
	d.live(0.75, func(s *Sample) { s.Power *= 0.6 })
	if len(d.said) != 1 || d.said[0].ID != LampsOut || float64(d.said[0].Raised)/1e9-began > 1900 {
		t.Errorf("said %v, the loss was at %.1f h", names(d.said), began/3600)
	}
}

// Healthy power that is not what one would like: nothing is said in a week.
func TestOddPowerIsQuiet(t *testing.T) {
	day := func(s *Sample) float64 { return math.Mod(float64(s.At)/3600e9, 24) }
	kept := 0.0
	for name, bend := range map[string]func(z *sim, s *Sample, r *rand.Rand){
		"nothing special": func(*sim, *Sample, *rand.Rand) {},
		"steps of 10 W":   func(_ *sim, s *Sample, _ *rand.Rand) { s.Power = 10 * math.Round(s.Power/10) },
		"steps of 50 W":   func(_ *sim, s *Sample, _ *rand.Rand) { s.Power = 50 * math.Round(s.Power/50) },
		"other loads that come and go": func(z *sim, s *Sample, r *rand.Rand) {
			keep := math.Exp(-z.cycle / 1800)
			kept = kept*keep + 0.03*z.rated*math.Sqrt(1-keep*keep)*r.NormFloat64()
			s.Power += kept
		},
		"a sign that is lit every evening": func(z *sim, s *Sample, _ *rand.Rand) {
			if day(s) > 17 {
				s.Power += 0.06 * z.rated
			}
		},
		"new lamps that draw 5 % more": func(_ *sim, s *Sample, _ *rand.Rand) {
			if s.At > 3*86400e9 {
				s.Power *= 1.05
			}
		},
		"new lamps that draw 1.5 % less": func(_ *sim, s *Sample, _ *rand.Rand) {
			if s.At > 3*86400e9 {
				s.Power *= 0.985
			}
		},
		"half an hour of warming": func(_ *sim, s *Sample, _ *rand.Rand) {
			s.Power *= 1 + 0.15*math.Exp(-(day(s)-7)*3600/600)
		},
		"a season": func(_ *sim, s *Sample, _ *rand.Rand) {
			s.Power *= 1 + 0.03*math.Sin(float64(s.At)/86400e9/30)
		},
		"a supply that wanders": func(_ *sim, s *Sample, _ *rand.Rand) {
			s.Power *= 1 + 0.012*math.Sin(float64(s.At)/1e9/5200) + 0.008*math.Sin(float64(s.At)/1e9/1700)
		},
		"a meter that is three minutes late": func(z *sim, s *Sample, _ *rand.Rand) {
			kept = approach(kept, s.Power, z.cycle, 180)
			s.Power = kept
		},
		"a feedback that drifts by 8 % in two days": func(z *sim, s *Sample, _ *rand.Rand) {
			z.shift = min(8, max(0, float64(s.At)/86400e9-2)*4) // the loop closes on it, the light is where the command is
		},
		"wild readings": func(_ *sim, s *Sample, r *rand.Rand) {
			if r.Float64() < 0.01 {
				s.Power *= 3 * r.Float64()
			}
		},
	} {
		t.Run(name, func(t *testing.T) {
			for i, cycle := range []float64{15, 60, 300} {
				d := newGearDay(uint64(600+i), cycle, nil)
				kept = 0
				d.live(7*24, func(s *Sample) { bend(d.z, s, d.r) })
				for _, f := range d.said {
					if explanations[explanationOf(f.ID)].track == gearTrack {
						t.Errorf("every %g s: %s: %s", cycle, names([]Finding{f}), f.Summary)
					}
				}
			}
		})
	}
}

// What a zone remembers of its power is small.
func TestGearIsSmall(t *testing.T) {
	if n := unsafe.Sizeof(gear{}); n > 700 {
		t.Errorf("%d bytes a zone", n)
	}
}
