package main

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"dimwatch/agent/judge"
	"dimwatch/loops"
)

// report is a review for people, as it is printed.
type report struct {
	*recording
	clock
	snap      judge.Snapshot
	incidents []incident
	written   map[string]string // checks that stand further up, and where
}

// report prints the review for people: what was judged, all findings at a glance, what to beware of, each finding in full, and
// how the zones stand. At a glance the worst comes first, since that decides whether somebody goes today; in full they are
// by zone, since whoever goes there does all that is to be done in one place.
func (r *recording) report(w io.Writer) {
	newReport(r, r.judge.Snapshot()).print(w)
}

func newReport(r *recording, snap judge.Snapshot) *report {
	return &report{
		recording: r, clock: newClock(r.site.Location, snap.From, snap.To), snap: snap,
		incidents: incidents(r.shown(snap.Findings)), written: map[string]string{},
	}
}

func (p *report) print(w io.Writer) {
	missing, others := p.problems()
	for _, text := range missing {
		hang(w, "INCOMPLETE: ", "  ", text)
	}
	p.head(w)
	p.glance(w)
	p.cautions(w)
	for _, place := range p.places() {
		for _, c := range place {
			p.incident(w, c)
		}
	}
	p.zones(w)
	p.energy(w)
	for _, text := range others {
		fmt.Fprintln(w, text)
	}
}

// shown are the findings of the report, in the order in which they were made; those that stand with what has been shown of a
// repair so far.
func (r *recording) shown(standing []loops.Finding) []loops.Finding {
	list := slices.DeleteFunc(slices.Clone(r.findings), func(f loops.Finding) bool { return !r.concerns(f) })
	for i := range list {
		for _, f := range standing {
			if f.Seq == list[i].Seq {
				list[i].Proof = f.Proof
			}
		}
	}
	return list
}

// head says what was judged.
func (p *report) head(w io.Writer) {
	from, to := p.snap.From.UnixNano(), p.snap.To.UnixNano()
	fmt.Fprintln(w, p.title())
	zone := ""
	if p.named == "" {
		zone = " " + p.snap.To.In(p.place).Format("MST")
	}
	fmt.Fprintf(w, "%s to %s%s, %s\n", p.at(from), p.at(to), zone, span(to-from))
	var states [unjudged + 1]int
	var judged, called float64
	zones := 0
	for i := range p.snap.Zones {
		if p.leftOut(i) {
			continue
		}
		st := p.snap.Zones[i].State
		zones++
		states[p.state(i)]++
		judged, called = judged+st.JudgedSeconds, called+st.CalledSeconds
	}
	fold(w, "", fmt.Sprintf("%s: %d with findings that stand, %d sound, %d hardly put to the test, %d not judged",
		count(zones, "zone", "zones"), states[sick], states[sound], states[untested], states[unjudged]))
	if called > 0 {
		fmt.Fprintf(w, "judged %.0f %% of the time with light asked for or on (%s over all zones)\n", 100*min(1, judged/called), span(int64(judged*1e9)))
	}
}

func (r *recording) title() string {
	if r.site.Title != r.site.Name {
		return r.site.Title + " (" + r.site.Name + ")"
	}
	return r.site.Name
}

// where says in a few words what an incident is about.
func (p *report) where(f *loops.Finding, most int) string {
	if f.Device >= 0 {
		return "device " + p.site.Devices[f.Device].Name
	}
	return listed(p.names(*f), most)
}

// glance prints one line an incident, and how many there are of these lines.
func (p *report) glance(w io.Writer) {
	ended := 0
	for i := range p.incidents {
		if !p.incidents[i].stands() {
			ended++
		}
	}
	if len(p.incidents) == 0 {
		fmt.Fprintln(w, "\nNo findings")
		return
	}
	fmt.Fprintf(w, "\n%s, %d of which ended\n", count(len(p.incidents), "finding", "findings"), ended)
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "  STATE\tSEVERITY\tWHERE\tFINDING\tPART\tSURE\tSINCE\tLASTED")
	for i := range p.incidents {
		c := &p.incidents[i]
		f, state, again := c.now(), "stands", ""
		row := &loops.Catalogue[f.ID]
		switch {
		case p.mended(c):
			state = "repaired?"
		case p.quiet(c):
			state = "quiet"
		case !c.stands():
			state = "ended"
		}
		if n := len(c.before); n > 0 {
			again = fmt.Sprintf(" (%d times)", n+1)
		}
		fmt.Fprintf(t, "  %s\t%s\t%s\t%s%s\t%s\t%.0f %%\t%s\t%s\n", state, row.Severity, p.where(f, 1), row.Name, again, row.Part,
			100*f.Confidence, p.at(c.onset()), p.lasted(c))
	}
	_ = t.Flush()
}

// lasted is for how long an incident has been there.
func (p *report) lasted(c *incident) string {
	last := p.snap.To.UnixNano()
	if !c.stands() {
		last = c.now().Cleared
	}
	return span(last - c.onset())
}

// cautions prints what to beware of in all the checks that follow, each once and before any of them, in the order in which
// each finding has them.
func (p *report) cautions(w io.Writer) {
	var all []string
	for i := range p.incidents {
		c := &p.incidents[i]
		if !c.stands() {
			continue // its checks are not printed
		}
		at := 0
		for _, text := range c.now().Cautions {
			if have := slices.Index(all, text); have >= 0 {
				at = have + 1
				continue
			}
			all = slices.Insert(all, at, text)
			at++
		}
	}
	if len(all) == 0 {
		return
	}
	fmt.Fprintln(w, "\nBefore anything is touched")
	for _, text := range all {
		fold(w, "  ! ", text)
	}
}

// places are the incidents by where they are, the place with the worst one first.
func (p *report) places() [][]*incident {
	var list [][]*incident
	for i := range p.incidents {
		c := &p.incidents[i]
		at := slices.IndexFunc(list, func(place []*incident) bool {
			o := place[0].now()
			return o.Device == c.now().Device && (o.Device >= 0 || slices.Equal(o.Zones, c.now().Zones))
		})
		if at < 0 {
			list = append(list, nil)
			at = len(list) - 1
		}
		list[at] = append(list[at], c)
	}
	return list
}

// incident prints one in full. Of one that has ended the checks are left out: what they would find is gone.
func (p *report) incident(w io.Writer, c *incident) {
	f := c.now()
	row := &loops.Catalogue[f.ID]
	fmt.Fprintln(w)
	hang(w, "", "  ", fmt.Sprintf("%s: %s (%s, part: %s, %s, confidence %.0f %%)", p.where(f, 4), row.Title, row.Name, row.Part, row.Severity, 100*f.Confidence))
	end := "still there at the end"
	switch {
	case p.quiet(c):
		end = fmt.Sprintf("last showed %s, and nothing has spoken for it in %s of light since", p.after(f.Proof.Last, c.raised()), span(int64(f.Proof.Quiet*1e9)))
	case !c.stands():
		end = "ended " + p.after(f.Cleared, c.raised())
	}
	fold(w, "  ", fmt.Sprintf("since %s, certain %s, %s (%s)", p.at(c.onset()), p.after(c.raised(), c.onset()), end, p.lasted(c)))
	p.history(w, c)
	fold(w, "  ", f.Summary)
	p.cost(w, c)
	if text := also(f); text != "" {
		fold(w, "  ", text)
	}
	p.proof(w, c)
	if c.stands() {
		p.checks(w, f)
	}
}

// history prints what an incident was called before, its earlier times, and where the same began with it.
func (p *report) history(w io.Writer, c *incident) {
	f := c.now()
	var was []string
	for i := range c.named {
		n := &c.named[i]
		text := fmt.Sprintf("%s (%.0f %%)", n.ID, 100*n.Confidence)
		if n.Seq == f.Seq {
			text = n.ID.String()
		}
		if !slices.Equal(n.Zones, f.Zones) {
			text += " of " + p.where(n, 4)
		}
		if i == 0 {
			text += " at first"
		} else {
			text += " from " + p.after(n.Raised, c.named[i-1].Raised)
		}
		was = append(was, text)
	}
	if len(was) > 1 {
		fold(w, "  ", "Named "+strings.Join(was, ", ")+".")
	}
	const most = 4
	var times []string
	for i := range c.before {
		times = append(times, fmt.Sprintf("%s (%s)", p.at(c.before[i].onset()), p.lasted(&c.before[i])))
	}
	if n := len(times); n > 0 {
		often := "Once"
		if n > 1 {
			often = fmt.Sprintf("%d times", n)
		}
		fold(w, "  ", fmt.Sprintf("%s before: %s.", often, listed(times, most)))
	}
	if n := len(c.lost); n > 0 {
		lost := make([]string, n)
		for i, d := range c.lost {
			lost[i] = p.site.Devices[d].Name
		}
		slices.Sort(lost)
		fold(w, "  ", fmt.Sprintf("%s %s lost at the same time: what they share is the first suspect, such as a gateway, a switch or a supply.",
			map[bool]string{true: "Device", false: "Devices"}[n == 1]+" "+listed(lost, 6), map[bool]string{true: "was", false: "were"}[n == 1]))
	}
	if len(c.beside) > 0 {
		beside := make([]string, len(c.beside))
		for i, z := range c.beside {
			beside[i] = p.site.Zones[z].Name
		}
		slices.Sort(beside)
		fold(w, "  ", "The same began at the same time in "+listed(beside, 6)+": look for what they share.")
	}
}

// also says what the points cannot tell from a finding, the likeliest first, those that are as likely together; "" for nothing.
func also(f *loops.Finding) string {
	var texts []string
	last := ""
	for _, a := range f.Also {
		text := fmt.Sprintf("%s (%s)", loops.Catalogue[a.ID].Title, a.ID)
		if n := len(texts); a.Likely() == last {
			texts[n-1] += ", " + text
			continue
		}
		last = a.Likely()
		texts = append(texts, last+": "+text)
	}
	if len(texts) == 0 {
		return ""
	}
	lead := "It could also be, "
	if f.Cleared != 0 {
		lead = "It could also have been, "
	}
	return lead + strings.Join(texts, "; ")
}

// proof prints what was proved of the repair and what not yet.
func (p *report) proof(w io.Writer, c *incident) {
	f := c.now()
	switch {
	case p.mended(c):
		fold(w, "  ", "Perhaps repaired, and not proved yet. Since it last showed, "+followed(f.Proof)+".")
	case c.stands(): // nothing yet
	case proved(f) != "":
		fold(w, "  ", "Proved: "+proved(f)+".")
	}
}

// proved says in words what a finding that has ended was ended by, "" where it was renamed.
func proved(f *loops.Finding) string {
	texts := []string{loops.Catalogue[f.ID].Ends, followed(f.Proof)}
	return strings.Join(slices.DeleteFunc(texts, func(s string) bool { return s == "" || f.Revised }), "; ")
}

// followed says in words in which range a loop was seen to work and in which not yet, "" where it was not.
func followed(p loops.Proof) string {
	if p.Seconds == 0 {
		return ""
	}
	from, to := math.Ceil(p.From), math.Floor(p.To)
	reach := fmt.Sprintf("from %.0f to %.0f %%", from, to)
	if from >= to {
		reach = fmt.Sprintf("at %.0f %%", p.To)
	}
	text := fmt.Sprintf("the pair followed its command and met the setpoint %s (%s)", reach, span(int64(p.Seconds*1e9)))
	if ends := p.NotYet(); len(ends) > 0 {
		text += "; not yet: " + strings.Join(ends, ", ")
	}
	return text
}

// mended says whether a finding that stands may have been repaired: the loop has been seen to work since it last showed, for
// five minutes at least. Chosen: one wild reading is no repair; at half, it is with slow trends; at double, it is said late.
func (p *report) mended(c *incident) bool {
	return c.stands() && c.now().Proof.Seconds >= 300 && c.now().ID != loops.PairIntermittent // which is quiet between its spells
}

// quiet says whether nothing has spoken for a finding that stands for half an hour of light: it may be over, or what the zone does
// now cannot show it. Chosen: at half, a slow trend has hardly a sample in it; at double, a repair before closing time is not seen.
func (p *report) quiet(c *incident) bool {
	return c.stands() && c.now().Proof.Last != 0 && c.now().Proof.Quiet >= 1800
}

// checks prints what to do, in order. A long one that stands further up word for word is named by its place there: most of a long
// report would be the same few tests again. Where the report is of one zone, all of it is there.
func (p *report) checks(w io.Writer, f *loops.Finding) {
	const long = 120 // characters
	for i, text := range f.Checks {
		lead := fmt.Sprintf("  %d. ", i+1)
		if at, ok := p.written[text]; ok && len(text) > long && p.recording.zone == "" {
			fold(w, lead, "The same as "+at+", above.")
			continue
		}
		p.written[text] = fmt.Sprintf("check %d of %s (%s)", i+1, p.where(f, 2), f.ID)
		fold(w, lead, text)
	}
}

// ago writes how long before the end of the recording something was, in days.
func (p *report) ago(nanos int64) string {
	return fmt.Sprintf("%.0f d ago", time.Duration(p.snap.To.UnixNano()-nanos).Hours()/24)
}
