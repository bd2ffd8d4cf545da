package main

import (
	"context"
	"encoding/json"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"dimwatch/agent/energy"
	"dimwatch/agent/judge"
	"dimwatch/drivers"
	"dimwatch/loops"
)

// The judgement beside the alert that any building system offers, over recordings: setpoint and feedback of a lit zone more
// than 10 % apart for 10 minutes. It names neither fault nor part; whoever gets it has the whole chain to search.

const (
	genericPercent = 10.0
	genericTime    = 10 * time.Minute
)

// genericAlert is that alert over one zone.
type genericAlert struct {
	apart, active bool
	since         time.Time
}

// see takes a sample, and says whether the alert goes off with it.
func (g *genericAlert) see(at time.Time, s *loops.Sample, rated float64) bool {
	if !s.Has.Has(loops.Setpoint | loops.Feedback) {
		return false // as such alerts do, it holds the last value
	}
	was := g.apart
	g.apart = genericLit(s, rated) && math.Abs(s.Setpoint-s.Feedback) > genericPercent
	switch {
	case !g.apart:
		g.active = false
	case !was:
		g.since = at
	case !g.active && at.Sub(g.since) >= genericTime:
		g.active = true
		return true
	}
	return false
}

// genericLit is what such an alert takes for lit: the best that the zone's points tell, one sample at a time.
func genericLit(s *loops.Sample, rated float64) bool {
	switch {
	case s.Has.Has(loops.Contact):
		return s.Contact
	case s.Has.Has(loops.Power) && rated > 0:
		return s.Power > 0.04*rated
	case s.Has.Has(loops.Order):
		return s.Order
	}
	return !s.Has.Has(loops.Hours) || s.Open
}

// raise is one statement, ours or the alert's.
type raise struct {
	at    time.Time
	id    string // "" of the alert
	zones []string
}

// labelled is what is known of a recording.
type labelled struct {
	SampleSeconds float64 `json:"sample_seconds"`
	From, To      time.Time
	Zones         []string
	Faults        []*labelledFault
}

type labelledFault struct {
	Zones      []string
	ID         string `json:"id"`
	Accept     []string
	Onset      time.Time
	Observable *time.Time
	End        *time.Time
	Required   bool
}

// meets says whether a statement about a zone belongs to the fault: raised while it was there, or within half an hour (or
// ten samples) of its end, when what was seen may still be weighed.
func (f *labelledFault) meets(r raise, sample time.Duration) bool {
	if r.at.Before(f.Onset.Add(-2*sample)) || f.End != nil && r.at.After(f.End.Add(max(30*time.Minute, 10*sample))) {
		return false
	}
	return slices.ContainsFunc(r.zones, func(z string) bool { return slices.Contains(f.Zones, z) })
}

// tally is what one of the two made of the recordings.
type tally struct {
	found, named int
	delays       []float64 // seconds after the fault could be told from health
	raises       int
	wrong        int // raised where nothing was wrong
	alone        int // of these, in zones in which nothing was wrong in the whole recording
}

// take scores the statements about one recording; only faults with a claimed id count as found.
func (y *tally) take(truth *labelled, claimed func(*labelledFault) bool, raises []raise) {
	sample := time.Duration(truth.SampleSeconds * float64(time.Second))
	y.raises += len(raises)
	for _, r := range raises {
		if slices.ContainsFunc(truth.Faults, func(f *labelledFault) bool { return f.meets(r, sample) }) {
			continue
		}
		y.wrong++
		if !slices.ContainsFunc(truth.Faults, func(f *labelledFault) bool {
			return slices.ContainsFunc(r.zones, func(z string) bool { return slices.Contains(f.Zones, z) })
		}) {
			y.alone++
		}
	}
	for _, f := range truth.Faults {
		if !claimed(f) {
			continue
		}
		i := slices.IndexFunc(raises, func(r raise) bool { return f.meets(r, sample) })
		if i < 0 {
			continue
		}
		y.found++
		y.delays = append(y.delays, max(0, raises[i].at.Sub(*f.Observable).Seconds()))
		if slices.Contains(f.Accept, raises[i].id) {
			y.named++
		}
	}
}

// listen has a recording judged, with the alert over the same samples.
func listen(t *testing.T, file string) (ours, generic []raise) {
	t.Helper()
	site, _, ok := loadConfig(file, os.Stderr)
	if !ok {
		t.Fatalf("%s cannot be read", file)
	}
	defer closeSources(site)
	r := &recording{site: site, judge: judge.New(site), costs: map[int]energy.Cost{}}
	alerts := make([]genericAlert, len(site.Zones))
	ctx := context.Background()
	for i := range site.Devices {
		if d := &site.Devices[i]; len(d.Points) > 0 {
			r.devices = append(r.devices, recorded{index: i, source: d.Source, readings: make([]drivers.Reading, len(d.Points))})
		}
	}
	next := func(at time.Time) {
		for i := range r.devices {
			if d := &r.devices[i]; !d.done && d.at.Equal(at) {
				if err := d.next(ctx); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
	next(time.Time{})
	for {
		at, any := r.earliest()
		if !any {
			break
		}
		var polls []judge.Poll
		for i := range r.devices {
			if d := &r.devices[i]; !d.done && d.at.Equal(at) {
				polls = append(polls, judge.Poll{Device: d.index, Readings: d.readings, Err: d.err})
			}
		}
		r.judge.Take(at, polls)
		r.judge.Changes(r.keep)
		for i, z := range r.judge.Snapshot().Zones {
			if s := z.Sample; s.At == at.UnixNano() && alerts[i].see(at, &s, z.Config.RatedPower) {
				generic = append(generic, raise{at: at, zones: []string{z.Config.Name}})
			}
		}
		next(at)
	}
	for _, f := range r.ordered() {
		ours = append(ours, raise{at: time.Unix(0, f.Raised), id: f.ID.String(), zones: r.names(f)})
	}
	return ours, generic
}

// Over every set of recordings: found more often and sooner, wrong less often, and with a name.
func TestBesideAGenericAlert(t *testing.T) {
	dir := os.Getenv("DIMWATCH_TRENDS")
	if dir == "" {
		t.Skip("skipped: DIMWATCH_TRENDS names no folder of recordings")
	}
	for _, set := range []string{dir, dir + "-wide"} {
		files, err := filepath.Glob(filepath.Join(set, "*", "truth.json"))
		if err != nil || len(files) == 0 {
			if set == dir {
				t.Errorf("no labelled recordings in %s: %v", set, err)
			}
			continue
		}
		t.Run(filepath.Base(set), func(t *testing.T) { compareWithGeneric(t, files) })
	}
}

func compareWithGeneric(t *testing.T, files []string) {
	ids, err := os.ReadFile("../.ci/ids") // what the program is held to find
	if err != nil {
		t.Fatal(err)
	}
	list := strings.Fields(string(ids))
	claimed := func(f *labelledFault) bool { return f.Required && f.Observable != nil && slices.Contains(list, f.ID) }
	var ours, generic tally
	byID := map[string]*[2]tally{}
	faults, zoneDays := map[string]int{}, 0.0
	for _, file := range files {
		var truth labelled
		b, err := os.ReadFile(file)
		if err == nil {
			err = json.Unmarshal(b, &truth)
		}
		if err != nil {
			t.Fatalf("%s: %v", file, err)
		}
		zoneDays += float64(len(truth.Zones)) * truth.To.Sub(truth.From).Hours() / 24
		a, g := listen(t, filepath.Join(filepath.Dir(file), "site.hcl"))
		ours.take(&truth, claimed, a)
		generic.take(&truth, claimed, g)
		for _, f := range truth.Faults {
			if claimed(f) {
				faults[f.ID]++
				if byID[f.ID] == nil {
					byID[f.ID] = &[2]tally{}
				}
				one := truth
				one.Faults = []*labelledFault{f}
				byID[f.ID][0].take(&one, claimed, a)
				byID[f.ID][1].take(&one, claimed, g)
			}
		}
	}
	n := 0
	t.Log("fault                 there   found  named    median   generic: found    median")
	for _, id := range slices.Sorted(maps.Keys(byID)) {
		a, g := &byID[id][0], &byID[id][1]
		t.Logf("%-20s %6d %7d %6d %7.0f s %15d %7.0f s", id, faults[id], a.found, a.named, a.median(), g.found, g.median())
		n += faults[id]
	}
	t.Logf("%-20s %6d %7d %6d %7.0f s %15d %7.0f s", "all", n, ours.found, ours.named, ours.median(), generic.found, generic.median())
	t.Logf("raised where nothing was wrong, in %.0f zone-days: %d of %d (%d in healthy zones); generic: %d of %d (%d); it names no part",
		zoneDays, ours.wrong, ours.raises, ours.alone, generic.wrong, generic.raises, generic.alone)
	if n == 0 || ours.found <= generic.found || ours.wrong >= generic.wrong || ours.named*10 < 9*ours.found || ours.median() >= generic.median() {
		t.Errorf("found %d, named %d, wrong %d, after %.0f s; the generic alert found %d, wrong %d, after %.0f s",
			ours.found, ours.named, ours.wrong, ours.median(), generic.found, generic.wrong, generic.median())
	}
}

// median is the median delay in seconds, 0 where nothing was found.
func (y *tally) median() float64 {
	if len(y.delays) == 0 {
		return 0
	}
	slices.Sort(y.delays)
	return y.delays[len(y.delays)/2]
}
