package loops

import (
	"strconv"
	"testing"
	"unsafe"
)

// BenchmarkObserve prints how many zone samples one core judges a second, with the limit that is aimed at beside it.
func BenchmarkObserve(b *testing.B) {
	for _, c := range []struct {
		name  string
		fault func(*sim, *simState)
		limit float64 // million samples a second
	}{
		{"healthy", nil, 1},
		{"faulty", simFaults[PairShort], 1},
	} {
		b.Run(c.name, func(b *testing.B) {
			const zones = 64
			z := newSim(1, 15, allPoints)
			z.fault = c.fault
			samples := make([]Sample, 5760)
			for i := range samples {
				samples[i] = z.next()
			}
			set := Settings{Devices: []string{"north"}}
			for i := range zones {
				one := z.settings()
				one.Name = strconv.Itoa(i)
				set.Zones = append(set.Zones, one)
			}
			j := New(set)
			b.ReportAllocs()
			for i := 0; b.Loop(); i++ {
				s := &samples[(i/zones+i%zones*97)%len(samples)]
				s.At = int64(i/zones) * 15e9
				j.Observe(i%zones, s)
				if i%zones == zones-1 {
					j.EndRound(s.At)
					j.Changes(func(Finding) {})
				}
			}
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds()/1e6, "Msamples/s")
			b.ReportMetric(c.limit, "limit-Msamples/s")
			b.ReportMetric(float64(unsafe.Sizeof(zone{})), "B/zone")
		})
	}
}

// Observing allocates nothing, neither while all is well nor while a finding stands.
func TestObserveAllocatesNothing(t *testing.T) {
	for name, fault := range map[string]func(*sim, *simState){"healthy": nil, "faulty": simFaults[PairShort]} {
		z := newSim(1, 15, allPoints)
		z.fault = fault
		j := New(Settings{Devices: []string{"north"}, Zones: []ZoneSettings{z.settings()}})
		samples := make([]Sample, 2000)
		for i := range samples {
			samples[i] = z.next()
		}
		i := 0
		step := func() {
			s := &samples[i]
			i++
			j.Answered(0, s.At, true)
			j.Compared(0, i%5, 5)
			j.Observe(0, s)
			j.EndRound(s.At)
		}
		for range 500 {
			step()
		}
		j.Changes(func(Finding) {})
		if n := testing.AllocsPerRun(1000, step); n != 0 {
			t.Errorf("%s: %g allocations a sample", name, n)
		}
		if name == "faulty" && len(j.open) == 0 {
			t.Error("no finding stands: the test shows nothing")
		}
	}
}

// What a zone remembers stays below 4 KiB.
func TestSizeOfZone(t *testing.T) {
	if n := unsafe.Sizeof(zone{}); n >= 4096 {
		t.Errorf("a zone takes %d bytes, and should take less than 4096", n)
	}
}
