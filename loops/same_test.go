package loops

import (
	"fmt"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// What may be done to the samples without a change in what is said.

// tape is a recording of zones side by side: rounds of samples, one a zone.
type tape struct {
	set    Settings
	rounds [][]Sample
}

// record makes a tape of zones with faults that come and go.
func record(seed uint64, ids []ID, hours float64) tape {
	t := tape{set: Settings{Devices: []string{"north"}}}
	var sims []*sim
	for k := range ids {
		z := newSim(seed+uint64(k), 15, []Channels{allPoints, loopPoints | FeedbackLoop | Hours}[k%2])
		s := z.settings()
		s.Name = fmt.Sprint("zone-", k)
		sims, t.set.Zones = append(sims, z), append(t.set.Zones, s)
	}
	for at := 0.0; at < hours*3600; at += 15 {
		row := make([]Sample, len(sims))
		for k, z := range sims {
			z.fault = nil
			if from := hours * 3600 * (0.4 + 0.05*float64(k)); at > from && at < from+hours*900 {
				z.fault = simFaults[ids[k]]
			}
			row[k] = z.next()
		}
		t.rounds = append(t.rounds, row)
	}
	return t
}

// play has a tape judged, the zones in an order of their own, and each round in another; before a round, cut may have the
// findings fetched, or the judge exchanged for one that resumes. The statements are complete but for their number, which
// goes by the order of the zones, with zones by name.
func (p tape) play(order []int, within func(round int) []int, fetch, exchange func(round int) bool) []string {
	set := Settings{Devices: p.set.Devices}
	for _, k := range order {
		set.Zones = append(set.Zones, p.set.Zones[k])
	}
	j := New(set)
	var out []string
	take := func(f Finding) {
		var names []string
		for _, z := range f.Zones {
			names = append(names, set.Zones[z].Name)
		}
		f.Seq, f.Zones = 0, nil
		out = append(out, fmt.Sprintf("%v %+v", names, f))
	}
	for i, row := range p.rounds {
		if exchange(i) {
			j.Changes(take)
			old := j
			j = New(set)
			j.Resume(old)
		}
		for _, place := range within(i) {
			j.Observe(place, &row[order[place]])
		}
		j.EndRound(row[0].At)
		if fetch(i) {
			j.Changes(take)
		}
	}
	j.Changes(take)
	slices.Sort(out)
	return out
}

// The order of the zones, the order in which they are observed, and the cutting into batches change no byte of what is said,
// and neither does a judge that takes over from another.
func TestOrderAndBatchesChangeNothing(t *testing.T) {
	ids := []ID{PairShort, None, StuckDim, FeedbackLoopHigh, NotDimming, CircuitOff}
	p := record(70, ids, 8)
	never := func(int) bool { return false }
	inOrder := []int{0, 1, 2, 3, 4, 5}
	first := p.play(inOrder, func(int) []int { return inOrder }, func(int) bool { return true }, never)
	if len(first) < 8 {
		t.Fatalf("only %d statements: the test shows nothing: %v", len(first), first)
	}
	rapid.Check(t, func(t *rapid.T) {
		order := rapid.Permutation(inOrder).Draw(t, "order")
		within := rapid.Permutation(inOrder).Draw(t, "within a round")
		batch := rapid.IntRange(1, 3000).Draw(t, "rounds in a batch")
		exchange := rapid.SampledFrom([]int{0, 1, 7, 333}).Draw(t, "rounds of a judge")
		got := p.play(order, func(i int) []int {
			if i%2 == 0 {
				return within
			}
			return inOrder
		}, func(i int) bool { return i%batch == 0 }, func(i int) bool { return exchange > 0 && i > 0 && i%exchange == 0 })
		if !slices.Equal(got, first) {
			t.Fatalf("differs:\n%v\n%v", got, first)
		}
	})
}

const changedAt = 6 * 3600 // seconds

// polled gives the statements about one zone that is polled every so many seconds: one life, lived in steps of 5 s, of
// which a slower poll sees less. The fault comes at changedAt.
func polled(id ID, seed uint64, every int) []Finding {
	z := newSim(8000+seed, 5, allPoints)
	set := z.settings()
	set.CycleSeconds = float64(every)
	j := New(Settings{Devices: []string{"north"}, Zones: []ZoneSettings{set}})
	var said []Finding
	for i := 0; z.at < 9*3600; i++ {
		if z.at >= changedAt {
			z.fault = simFaults[id]
		}
		s := z.next()
		if i%(every/5) != 0 {
			continue
		}
		j.Observe(0, &s)
		j.EndRound(s.At)
		j.Changes(func(f Finding) {
			if f.Cleared == 0 {
				said = append(said, f)
			}
		})
	}
	return said
}

// Polling faster gives the same ids (or one that is the same picture to the points), raised no later than one coarse period: counted from the end of the fine period, since a
// sample speaks for the time before it. Two things may take longer, and no more than is said here. Where another explanation
// is within reach, a finding waits five correlation times for what would tell them apart. And what gathers slowly loses a
// little with each correlation time that is sampled, of which a slow poll has fewer: a twentieth of its delay.
func TestPollingFaster(t *testing.T) {
	periods := []int{5, 15, 30, 60, 300}
	compared := 0
	for id := None + 1; id < IDs; id++ {
		if ok, _ := Support(id, allPoints); simFaults[id] == nil || !ok {
			continue
		}
		for seed := range uint64(10) {
			var said [][]Finding
			for _, every := range periods {
				said = append(said, polled(id, seed, every))
			}
			for c := range periods {
				for f := range c {
					if len(said[f]) == 0 && len(said[c]) == 0 {
						continue
					}
					if len(said[f]) == 0 || len(said[c]) == 0 || !alike(said[f][0].ID, said[c][0].ID, allPoints) {
						t.Errorf("%s, seed %d: every %d s %v, every %d s %v", id, seed, periods[f], ids(said[f]), periods[c], ids(said[c]))
						continue
					}
					compared++
					fast, coarse := &said[f][0], &said[c][0]
					limit := coarse.Raised
					if len(fast.Also) > 0 {
						limit = max(limit, fast.Onset+int64(5*mostCorrelationSeconds*1e9))
					}
					if !atOnce[id] {
						limit += (coarse.Raised - changedAt*1e9) / 20
					}
					if limit += int64(periods[c]+periods[f]) * 1e9; fast.Raised > limit {
						t.Errorf("%s, seed %d: polled every %d s after %d s, every %d s after %d s", id, seed, periods[f], fast.Raised/1e9-changedAt,
							periods[c], coarse.Raised/1e9-changedAt)
					}
				}
			}
		}
	}
	if compared < 500 {
		t.Errorf("only %d pairs were compared", compared)
	}
}

func ids(list []Finding) (ids []ID) {
	for _, f := range list {
		ids = append(ids, f.ID)
	}
	return ids
}
