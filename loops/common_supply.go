package loops

import (
	"math"
	"slices"
)

// Zones on one breaker or one contactor go dark together. That is one cause and one record with its zones: where the supply of
// another zone is lost in the same event, the record is raised anew with that zone in it, under the same cause; and where one of
// them is lit again, anew without it.

// suppliedWith gives the record of lost supply that began with a zone's, -1 for none.
func (j *Judge) suppliedWith(at, best int) int {
	z := &j.zones[at]
	since := z.sums.since[best]
	lit := z.memory.callSeconds - float64(z.memory.at-since)/1e9
	if explanations[best].id != CircuitOff || lit < suddenSeconds {
		return -1 // what broke in the dark shows in all zones when they are switched on
	}
	return slices.IndexFunc(j.open, func(f Finding) bool {
		if f.ID != CircuitOff || slices.Contains(f.Zones, at) {
			return false
		}
		cycle := max(z.memory.set.CycleSeconds, j.zones[f.Zones[0]].memory.set.CycleSeconds)
		return math.Abs(float64(f.Onset-since))/1e9 <= 2.5*cycle
	})
}

// regroup ends a record of zones and raises it anew, under the same cause, with other zones.
func (j *Judge) regroup(open int, zones []int) {
	old := j.open[open]
	if i := slices.IndexFunc(j.changes, func(f Finding) bool { return f.Seq == old.Seq }); i >= 0 {
		j.changes = slices.Delete(j.changes, i, i+1) // nobody has been told of it yet
		j.remove(open)
	} else {
		j.end(old.Zones[0], loopTrack, true)
	}
	for _, at := range old.Zones {
		j.zones[at].open[loopTrack] = -1
	}
	shown := make([]proof, len(zones)) // of those that stay: what has been proved of them
	for k, i := range zones {
		shown[k] = j.zones[i].unproved()
		if slices.Contains(old.Zones, i) {
			shown[k] = j.zones[i].proof
		}
	}
	at := zones[0]
	j.raise(at, explanationOf(old.ID), old.Cause)
	f := &j.open[len(j.open)-1]
	f.Zones, f.Onset = zones, min(f.Onset, old.Onset)
	j.describe(f, &j.zones[at])
	j.changes[len(j.changes)-1] = *f
	for k, i := range zones {
		z := &j.zones[i]
		z.open[loopTrack], z.named[loopTrack] = len(j.open)-1, j.zones[at].named[loopTrack]
		z.proof = shown[k]
	}
}

// leave takes a zone out of a record that others share; false where none does.
func (j *Judge) leave(at int, t track) bool {
	open := j.zones[at].open[t]
	if t != loopTrack || len(j.open[open].Zones) == 1 {
		return false
	}
	rest := slices.DeleteFunc(slices.Clone(j.open[open].Zones), func(i int) bool { return i == at })
	j.regroup(open, rest)
	j.zones[at].starts(t)
	return true
}
