package loops

import (
	"math/rand/v2"
	"testing"
)

// store makes samples of a healthy zone: a setpoint that wanders, a command that follows, a noisy feedback.
func healthyDay(seed uint64, n int, cycle float64) []Sample {
	r := rand.New(rand.NewPCG(seed, 7))
	out := make([]Sample, n)
	set, cmd := 60.0, 60.0
	for i := range out {
		if r.Float64() < 0.02 {
			set = 20 + 75*r.Float64()
		}
		cmd += (set - cmd) * 0.3
		fb := cmd + 1.2 + 0.25*r.NormFloat64()
		out[i] = Sample{
			At: int64(float64(i) * cycle * 1e9), Has: loopPoints | FeedbackLoop | Power | Order,
			Setpoint: set, Command: cmd, Feedback: fb, FeedbackMilliamps: 4 + 0.16*fb,
			Power: 1400*powerCurve(fb) + 4*r.NormFloat64(), Order: true,
		}
	}
	return out
}

func benchSettings(zones int) Settings {
	s := Settings{Devices: []string{"north"}}
	for range zones {
		s.Zones = append(s.Zones, ZoneSettings{
			Name: "z", Has: loopPoints | FeedbackLoop | Power | Order, CycleSeconds: 15,
			Tolerance: 10, SettleSeconds: 60, FalseFindings: 0.001, RatedPower: 1400,
		})
	}
	return s
}

func BenchmarkObserve(b *testing.B) {
	day := healthyDay(1, 5760, 15)
	for _, c := range []struct {
		name string
		fb   func(float64) float64
	}{{"healthy", nil}, {"faulty", func(float64) float64 { return 0.2 }}} {
		b.Run(c.name, func(b *testing.B) {
			samples := make([]Sample, len(day))
			copy(samples, day)
			if c.fb != nil {
				for i := range samples {
					samples[i].Feedback = c.fb(samples[i].Feedback)
					samples[i].FeedbackMilliamps = 4.03
				}
			}
			j := New(benchSettings(1))
			b.ReportAllocs()
			b.ResetTimer()
			for i := 0; b.Loop(); i++ {
				s := &samples[i%len(samples)]
				s.At = int64(i) * 15e9
				j.Observe(0, s)
			}
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds()/1e6, "Msamples/s")
		})
	}
}
