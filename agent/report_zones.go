package main

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"dimwatch/loops"
)

// zoneState is how a report classes a zone.
type zoneState int

const (
	sick     zoneState = iota // a finding stands
	sound                     // nothing found that stands, and most could have been found
	untested                  // nothing found that stands, and most could not have been found
	unjudged
)

const (
	// testedWithin is how long a test of a finding counts, as in the metric of the share tested.
	testedWithin = 7 * 24 * time.Hour

	// soundShare is the share of the findings that its points support which a zone has to be tested for to be called sound.
	// Chosen: a zone that stands at full all week is tested for about half, one that follows daylight for nearly all; at half,
	// the first would be called sound; at double, no zone would.
	soundShare = 0.6
)

// state classes a zone.
func (p *report) state(at int) zoneState {
	switch st := p.snap.Zones[at].State; {
	case len(p.standing(at)) > 0:
		return sick
	case st.JudgedSeconds == 0:
		return unjudged
	default:
		if tested, all := p.tested(st); float64(tested) < soundShare*float64(all) {
			return untested
		}
		return sound
	}
}

// standing are the findings of a zone that stand, and had those that have ended.
func (p *report) standing(zone int) []loops.ID { return p.idsOf(zone, true) }
func (p *report) had(zone int) []loops.ID      { return p.idsOf(zone, false) }

func (p *report) idsOf(zone int, stands bool) (ids []loops.ID) {
	for i := range p.incidents {
		c := &p.incidents[i]
		if id := c.now().ID; c.stands() == stands && slices.Contains(c.now().Zones, zone) && !slices.Contains(ids, id) {
			ids = append(ids, id)
		}
	}
	return ids
}

// ofZones says whether a finding is one that a zone can be put to the test for; those of devices are not.
func ofZones(id loops.ID) bool { return loops.Catalogue[id].Needs != 0 }

// tested counts the findings that a zone's points support, and those of them that were put to the test of late.
func (p *report) tested(st loops.ZoneState) (tested, supported int) {
	for id := loops.None + 1; id < loops.IDs; id++ {
		if st.Supported[id] && ofZones(id) {
			supported++
			if p.lately(st.Tested[id]) {
				tested++
			}
		}
	}
	return tested, supported
}

func (p *report) lately(tested int64) bool {
	return tested > 0 && p.snap.To.UnixNano()-tested <= int64(testedWithin)
}

// zones prints which zones are sound, which were put to little test, and which could not be judged, and why.
func (p *report) zones(w io.Writer) {
	fmt.Fprintf(w, "\nZones\n")
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "  ZONE\tJUDGED\tCOVERAGE\tTESTED\tSTATE")
	for state := sick; state <= unjudged; state++ {
		for i := range p.snap.Zones {
			if p.leftOut(i) || p.state(i) != state {
				continue
			}
			z := &p.snap.Zones[i]
			if z.State.JudgedSeconds == 0 {
				fmt.Fprintf(t, "  %s\t-\t-\t-\t%s\n", z.Config.Name, p.says(i))
				continue
			}
			tested, supported := p.tested(z.State)
			fmt.Fprintf(t, "  %s\t%s\t%.0f %%\t%d of %d\t%s\n", z.Config.Name, hours(z.State), 100*coverage(z.State), tested, supported, p.says(i))
		}
	}
	_ = t.Flush()
	p.tests(w)
}

// says puts the state of a zone in words.
func (p *report) says(at int) string {
	st := p.snap.Zones[at].State
	text := ""
	switch p.state(at) {
	case sick:
		text = joinIDs(p.standing(at)) + " " + map[bool]string{true: "stands", false: "stand"}[len(p.standing(at)) == 1]
		if st.JudgedSeconds == 0 {
			text += "; not judged: " + reason(&st)
		}
	case unjudged:
		return "not judged: " + reason(&st)
	case untested:
		text = "hardly put to the test"
	case sound:
		text = "sound"
	}
	if ids := p.had(at); len(ids) > 0 {
		text += "; ended: " + joinIDs(ids)
	}
	return text
}

// reason says why a zone was not judged at all.
func reason(st *loops.ZoneState) string {
	if st.CalledSeconds == 0 && strings.HasPrefix(st.Reason, "switched off") {
		return "switched off all the time"
	}
	return st.Reason
}

func joinIDs(ids []loops.ID) string {
	names := make([]string, len(ids))
	for i, id := range ids {
		names[i] = id.String()
	}
	return listed(names, 2)
}

// tests prints which findings were not put to the test of late and when they last were, zones of which the same is to be said
// together. Of a report of one zone it is all of them.
func (p *report) tests(w io.Writer) {
	var texts []string
	zones := map[string][]string{}
	for i := range p.snap.Zones {
		if p.leftOut(i) || p.snap.Zones[i].State.JudgedSeconds == 0 {
			continue
		}
		text := p.missing(i)
		if text == "" {
			continue
		}
		if zones[text] == nil {
			texts = append(texts, text)
		}
		zones[text] = append(zones[text], p.snap.Zones[i].Config.Name)
	}
	if len(texts) > 0 {
		fmt.Fprintf(w, "\nNot put to the test within the last 7 days: nothing that the zone did could have shown it\n")
	}
	for _, text := range texts {
		hang(w, "  ", "    ", strings.Join(zones[text], ", ")+": "+text)
	}
	for i := range p.snap.Zones {
		if p.recording.zone != "" && !p.leftOut(i) {
			p.last(w, p.snap.Zones[i].State)
		}
	}
}

// last prints when a zone was last put to the test for each finding, the latest first.
func (p *report) last(w io.Writer, st loops.ZoneState) {
	var times []string
	tests := map[string][]string{}
	ids := make([]loops.ID, 0, loops.IDs)
	for id := loops.None + 1; id < loops.IDs; id++ {
		if st.Supported[id] && ofZones(id) && p.lately(st.Tested[id]) {
			ids = append(ids, id)
		}
	}
	slices.SortStableFunc(ids, func(a, b loops.ID) int { return cmp.Compare(st.Tested[b], st.Tested[a]) })
	for _, id := range ids {
		at := p.at(st.Tested[id])
		if tests[at] == nil {
			times = append(times, at)
		}
		tests[at] = append(tests[at], id.String())
	}
	if len(times) > 0 {
		fmt.Fprintf(w, "\nLast put to the test\n")
	}
	for _, at := range times {
		fold(w, "  "+at+"  ", strings.Join(tests[at], ", "))
	}
}

// missing lists the findings of a zone that it was not put to the test for of late, but not those that stand.
func (p *report) missing(zone int) string {
	st := p.snap.Zones[zone].State
	var never, long []string
	for id := loops.None + 1; id < loops.IDs; id++ {
		switch {
		case !st.Supported[id] || !ofZones(id) || p.lately(st.Tested[id]) || slices.Contains(p.standing(zone), id):
		case st.Tested[id] == 0:
			never = append(never, id.String())
		default:
			long = append(long, fmt.Sprintf("%s %s", id, p.ago(st.Tested[id])))
		}
	}
	if len(never) > 0 {
		long = slices.Insert(long, 0, "never "+strings.Join(never, ", "))
	}
	return strings.Join(long, "; ")
}

func hours(st loops.ZoneState) string { return span(int64(st.JudgedSeconds * 1e9)) }
