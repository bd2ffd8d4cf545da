package loops

import (
	"fmt"
	"slices"
	"testing"
)

// Two zones that lose their supply in one event are one record with both; the one that is lit again first leaves it, and
// it ends with the other. A zone whose supply is lost later has a record of its own.
func TestCommonSupply(t *testing.T) {
	lost := [][2]float64{{4, 5}, {4, 7}, {4.5, 5}} // hours
	var sims []*sim
	set := Settings{Devices: []string{"north"}}
	for i := range lost {
		z := newSim(uint64(300+i), 15, allPoints)
		s := z.settings()
		s.Name = fmt.Sprint("zone-", i)
		sims, set.Zones = append(sims, z), append(set.Zones, s)
	}
	j := New(set)
	var said []string
	for sims[0].at < 10*3600 {
		var at int64
		for i, z := range sims {
			z.fault = nil
			if z.at >= lost[i][0]*3600 && z.at < lost[i][1]*3600 {
				z.fault = simFaults[CircuitOff]
			}
			s := z.next()
			at = s.At
			j.Observe(i, &s)
		}
		j.EndRound(at)
		j.Changes(func(f Finding) {
			what := "raised"
			if f.Cleared != 0 {
				what = "ended"
			}
			if f.Revised {
				what = "revised"
			}
			said = append(said, fmt.Sprint(f.ID, " ", f.Zones, " ", what, " ", f.Cause))
		})
	}
	want := []string{
		"circuit-off [0 1] raised zone/zone-0/1",
		"circuit-off [2] raised zone/zone-2/1",
	}
	if len(said) < len(want) || !slices.Equal(said[:len(want)], want) {
		t.Fatalf("said\n%q\nwant\n%q", said, want)
	}
	rest := said[len(want):]
	slices.Sort(rest)
	if want := []string{
		"circuit-off [0 1] revised zone/zone-0/1", "circuit-off [1] ended zone/zone-0/1", "circuit-off [1] raised zone/zone-0/1",
		"circuit-off [2] ended zone/zone-2/1",
	}; !slices.Equal(rest, want) {
		t.Errorf("then said\n%q\nwant\n%q", rest, want)
	}
	if len(j.open) != 0 {
		t.Errorf("%d findings stand at the end", len(j.open))
	}
}
