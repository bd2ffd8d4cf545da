package judge_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"

	"dimwatch/loops"
)

// accepted are the names that may come first for a fault, by what the zone's points can carry. One picture, one set.
func accepted(f *fault, p *zonePoints) []loops.ID {
	list := []loops.ID{f.id}
	add := func(ids ...loops.ID) { list = append(list, ids...) }
	mA := p.feedback.point.HasLoop
	switch f.id {
	case loops.PairShort, loops.RepairIncomplete:
		add(loops.PairShort)
		if !p.power {
			add(loops.PairOpen)
			if p.lit != 2 {
				add(loops.CircuitOff)
			}
		}
	case loops.PairOpen:
		if !p.power {
			add(loops.PairShort)
			if p.lit != 2 {
				add(loops.CircuitOff)
			}
		}
	case loops.CircuitOff:
		if !p.power && (p.lit != 2 || f.variant != 0) {
			add(loops.PairShort, loops.PairOpen)
		}
	case loops.StuckDim:
		if f.variant == 0 {
			add(loops.PairShort) // a floor of 0.3 V
		}
		add(loops.StuckMid)
	case loops.StuckMid:
		add(loops.CeilingLow, loops.FloorHigh)
	case loops.NotDimming:
		add(loops.FeedbackLoopHigh)
		if !p.power {
			add(loops.FeedbackFrozen) // at the end of a converter
		}
	case loops.CeilingLow:
		add(loops.StuckMid, loops.StuckDim)
	case loops.FloorHigh:
		add(loops.StuckMid, loops.NotDimming)
		if f.variant == 1 {
			add(loops.FeedbackDrift)
		}
	case loops.PairIntermittent:
		add(loops.PairShort, loops.PairOpen, loops.NotDimming, loops.FeedbackLoopHigh, loops.CircuitOff)
	case loops.FeedbackLoopHigh:
		if !p.power {
			add(loops.NotDimming)
		}
	case loops.FeedbackDrift:
		if f.value < 0 || f.second < 0 {
			add(loops.CeilingLow, loops.StuckMid) // as long as only the top is asked for
		}
	case loops.FeedbackLoopLow:
		if !p.power && f.value > 3 {
			add(loops.PairShort, loops.PairOpen)
		}
	case loops.CommandHeld:
		add(loops.ReversedAction)
	case loops.ReversedAction:
		add(loops.CommandHeld)
	case loops.Hunting, loops.Sluggish:
		add(loops.TrackingError)
	case loops.SetpointFrozen, loops.DaylightUnused:
		add(loops.SetpointFrozen, loops.DaylightUnused)
	}
	if !mA && (f.id == loops.FeedbackLoopLow || f.id == loops.FeedbackLoopHigh) {
		add(loops.PairShort, loops.PairOpen, loops.NotDimming, loops.FeedbackFrozen, loops.StuckMid, loops.StuckDim, loops.CircuitOff)
	}
	return list
}

// shows is for how long, in seconds, and in how many samples a fault shows in the points of its zone against the same hours
// without it.
func shows(ill, well []visible, p *zonePoints, rated, from, to float64) (seconds float64, samples int) {
	for i := 1; i < len(ill) && i < len(well); i++ {
		v, w := &ill[i], &well[i]
		if v.at < from || v.at > to || !w.lit {
			continue
		}
		if math.Abs(v.seen-w.seen) > 4 || math.Abs(v.command-w.command) > 6 || p.power && math.Abs(v.power-w.power) > 0.04*rated {
			seconds += min(v.at-ill[i-1].at, 600)
			samples++
		}
	}
	return seconds, samples
}

// faultKinds are the faults of one zone that the model injects; gone is for how many days it lives with them.
var faultKinds = []loops.ID{
	loops.PairShort, loops.PairOpen, loops.CircuitOff, loops.StuckDim, loops.StuckMid, loops.NotDimming, loops.CeilingLow, loops.FloorHigh,
	loops.PairIntermittent, loops.FeedbackFrozen, loops.FeedbackLoopLow, loops.FeedbackLoopHigh, loops.FeedbackDrift, loops.FeedbackNoisy,
	loops.GearStray, loops.LampsOut, loops.CommandHeld, loops.Hunting, loops.Sluggish, loops.ReversedAction, loops.RepairIncomplete, loops.ZonesCrossed,
	loops.DeviceLost, loops.PointsStale,
	loops.SetpointFrozen, loops.DaylightUnused, loops.SensorLoopLow, loops.SensorLoopHigh, loops.SensorFrozen, loops.SensorImplausible,
}

// Each kind of fault, in stores as the healthy ones are, at any time and of any severity: nearly all that stand out are found
// and named right. It prints a table.
func TestFaultyStores(t *testing.T) {
	each, zones := 1, 3
	if os.Getenv("DIMWATCH_LONG") != "" {
		each, zones = 24, 6
	}
	required, found, named := 0, 0, 0
	for k, id := range faultKinds {
		if one := os.Getenv("FAULT"); one != "" && one != id.String() {
			continue
		}
		var n, hit, right, more, again, premature, before int
		names := map[string]int{}
		for i := range each {
			seed := uint64(50000 + 100*k + i)
			r := rand.New(rand.NewPCG(seed, 9))
			days := 3
			if id >= loops.SetpointFrozen && id <= loops.SensorImplausible {
				days = 9
			}
			if id == loops.GearStray || id == loops.LampsOut || id == loops.FeedbackDrift || id == loops.Sluggish {
				days = 5
			}
			well := newStore(seed, zones, days)
			at := r.IntN(zones)
			p := &well.points[at]
			switch id { // points that carry it
			case loops.GearStray, loops.LampsOut:
				p.power = true
			case loops.SensorLoopLow, loops.SensorLoopHigh, loops.SensorFrozen, loops.SensorImplausible, loops.SetpointFrozen, loops.DaylightUnused:
				p.daylight, well.placed = true, true
			}
			healthy, bad := well.healthy()
			ill := newStore(seed, zones, days)
			ill.points, ill.placed = well.points, well.placed
			onset := 86400 * (0.3 + r.Float64()*float64(days)*0.4)
			end := 86400 * float64(days)
			if r.Float64() < 0.4 {
				end = onset + (end-onset)*(0.5+0.5*r.Float64())
			}
			z := ill.zones[at]
			f := newFault(r, id, z, onset, end)
			z.fault = f
			sick := []int{at}
			switch id {
			case loops.ZonesCrossed:
				other := (at + 1) % zones
				sick = append(sick, other)
				z.peer, ill.zones[other].peer = ill.zones[other], z
				z.wires = 1 + r.IntN(2)
				ill.zones[other].wires, ill.zones[other].fault = z.wires, f
			case loops.DeviceLost, loops.PointsStale:
				d := r.IntN(len(ill.devices))
				span := interval{from: onset, to: min(end, onset+3600*(1+10*r.Float64()))}
				f.end = span.to
				if id == loops.DeviceLost {
					ill.devices[d].lost = []interval{span}
				} else {
					ill.devices[d].stale = []interval{span}
				}
				z.fault = nil
				sick = sick[:0]
				for i := range ill.points {
					if ill.points[i].device == d || ill.points[i].second == d {
						sick = append(sick, i)
					}
				}
			}
			rec := ill.record()
			for i := range rec.cfg.Zones {
				rec.cfg.Zones[i].Judge.Settle = healthy.cfg.Zones[i].Judge.Settle
			}
			seconds, samples := shows(rec.trace[at], healthy.trace[at], p, z.gear.rated, onset, end)
			need := seconds > 3600 && samples >= 20 && bad[at] == ""
			switch id {
			case loops.DeviceLost, loops.PointsStale:
				need = len(sick) > 0
			case loops.FeedbackLoopLow, loops.FeedbackLoopHigh:
				c := &p.feedback
				need = c.point.HasLoop && c.point.Loop.At(c.high) > f.value // else its converter ends below
			case loops.SensorLoopLow, loops.SensorLoopHigh:
				need = p.lux.point.HasLoop && end-onset > 86400
			case loops.SensorFrozen, loops.SensorImplausible:
				need = end-onset > 3*86400
			case loops.SetpointFrozen, loops.DaylightUnused:
				need = need && seconds > 6*3600 && end-onset > 2.5*86400 && z.sp.kind != schedule && z.sp.kind != full
			case loops.FeedbackNoisy:
				need = end-onset > 43200
			}
			ok := accepted(f, p)
			first := loops.None
			var said []string
			count := 0
			for _, got := range rec.judged() {
				mine := got.Device >= 0 && (id == loops.DeviceLost || id == loops.PointsStale)
				for _, s := range sick {
					mine = mine || slices.Contains(got.Zones, s)
				}
				raised := rec.since(got.Raised)
				if !mine {
					continue
				}
				said = append(said, fmt.Sprintf("      %v %s raised %.0f min after onset, its onset %.0f, cleared %.0f, revised %v: %.110s", got.Zones, got.ID, (raised-onset)/60,
					(rec.since(got.Onset)-onset)/60, (rec.since(got.Cleared)-onset)/60, got.Revised, got.Summary))
				switch {
				case raised < onset:
					before++
					continue
				case raised > f.end+7200:
					continue
				case first == loops.None:
					first = got.ID
				case !slices.Contains(ok, got.ID) && !got.Revised:
					more++
				}
				if slices.Contains(ok, got.ID) {
					if count++; count > 1 && got.ID == f.id && !strings.Contains(got.Cause, "/1") {
						again++
					}
				}
				if got.Cleared != 0 && !got.Revised && rec.since(got.Cleared) < f.end && id != loops.PairIntermittent && id != loops.RepairIncomplete {
					premature++
				}
			}
			if !need {
				continue
			}
			n++
			label := "missed"
			if first != loops.None {
				hit++
				label = first.String()
				if slices.Contains(ok, first) {
					right++
				}
			}
			names[label]++
			if first == loops.None || !slices.Contains(ok, first) {
				for _, line := range said {
					t.Log(line)
				}
				t.Logf("  %s seed %d zone %d: %s; shows %.0f min; variant %d value %.3g, onset day %.2f end %.2f; %s", id, seed, at, label, seconds/60, f.variant, f.value, onset/86400, end/86400, rec.state(at, onset+7200))
			}
		}
		required, found, named = required+n, found+hit, named+right
		t.Logf("%-18s %2d of %2d found, %2d named; %d more, %d again, %d cleared early, %d before: %s", id, hit, n, right, more, again, premature, before, fmt.Sprint(names))
	}
	t.Logf("%d required, %d found (%.3f), %d named (%.3f of the found)", required, found, float64(found)/float64(required), named, float64(named)/float64(max(1, found)))
	// Measured: 0.91 found, 0.90 of them named right, in the long run; what is left is listed in the log.
	const leastFound, leastNamed = 0.8, 0.7
	if os.Getenv("FAULT") == "" && (float64(found) < leastFound*float64(required) || float64(named) < leastNamed*float64(found)) {
		t.Errorf("of %d faults that stand out %d were found and %d named", required, found, named)
	}
}
