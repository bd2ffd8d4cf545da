package plan

import (
	"cmp"
	"slices"
	"time"
)

// How long what was learned is believed.
const (
	// Lifetime of a learned gap or limit. Chosen: devices are exchanged and programmed anew, seldom more often than
	// weekly; at half of it the same lesson is paid for twice a week, with some bad values for a few cycles each time.
	Lifetime = 7 * 24 * time.Hour

	// Retest is the longest pause after which a value that the device refused is asked for again, and the pause for a
	// function that it does not have. Chosen: one more request a day costs nothing.
	Retest = 24 * time.Hour

	// firstRetest is the first such pause for a value; it doubles up to Retest. Chosen: a controller that is being
	// loaded with a program may refuse all addresses for minutes, and its values should not be missed for a day.
	firstRetest = time.Minute

	// patience is how often a thing must happen that can have other causes: a long read that gets no answer while short
	// ones do, a function refused by a device that may still be starting.
	patience = 3
)

// Outcome is how a read ended, as far as there is something to learn from it.
type Outcome uint8

// The outcomes. What is none of them, such as a busy device or a malformed answer, teaches nothing and is not reported.
const (
	Answered   Outcome = iota // with values
	NoAddress                 // exception 2: the run takes in something that the device does not have
	NoCount                   // exception 3: too many at once
	NoFunction                // exception 1: the device cannot read this kind of thing at all
	Silent                    // no answer, or the connection closed
)

// Area is one address space of one device, such as its holding registers: the spans wanted of it and what was learned.
// It begins with nothing learned, so a new set of spans is a new Area. It is not safe for concurrent use.
//
// A run that is refused for its address is not read again. It becomes a suspect, and from the next cycle on its two
// halves are read instead, then the halves of the half that failed, until a single span or the gap between two spans is
// found guilty: at most 2*ceil(log2 m) reads beyond the plan for one bad span among m. Only one suspect is questioned in
// a cycle, so that a device which refuses much is not stormed.
type Area struct {
	spans  []Span // sorted by start, without duplicates
	cost   Cost
	most   int // the protocol's limit
	widest int // width of the widest span: no limit can be lower

	gaps     []gap
	refused  []refusal
	suspects []suspect
	limit    limit

	refusals int       // cycles in a row in which the function was refused
	counted  bool      // this cycle is among them
	offUntil time.Time // not zero: the function is not asked for

	reads   []Read
	tasks   []task // what each read is for
	stale   bool   // reads must be planned anew
	event   time.Time
	version int
}

// task is what a read of the cycle is for, and whether it was answered or refused in this cycle.
type task struct {
	kind          taskKind
	good, refused bool
	code          Outcome // NoAddress or NoCount where refused
}

type taskKind uint8

const (
	planned taskKind = iota
	leftHalf
	rightHalf
	retest
)

// gap is a learned hole between two spans.
type gap struct {
	hole Hole
	at   time.Time
}

// refusal is a span that the device refuses.
type refusal struct {
	span  Span
	code  Outcome // NoAddress or NoCount
	pause time.Duration
	next  time.Time // when to ask again
}

// NewArea makes an area for the spans, with nothing learned. most is what the protocol allows in one read, MaxRegisters
// or MaxBits; no span may be wider.
func NewArea(spans []Span, cost Cost, most int) *Area {
	a := &Area{spans: slices.Clone(spans), cost: cost, most: most, stale: true}
	slices.SortFunc(a.spans, bySpan)
	a.spans = slices.Compact(a.spans)
	for _, s := range a.spans {
		a.widest = max(a.widest, s.Width)
	}
	a.limit = limit{use: most}
	return a
}

func bySpan(a, b Span) int {
	return cmp.Or(cmp.Compare(a.Start, b.Start), cmp.Compare(b.Width, a.Width))
}

// Reads ends the cycle before and gives the reads of the cycle that begins now. The slice is valid until the next call.
func (a *Area) Reads(now time.Time) []Read {
	a.judgeSuspect(now)
	a.searchLimit()
	if !a.event.IsZero() && !now.Before(a.event) {
		a.forget(now)
	}
	if a.stale {
		a.replan(now)
	}
	for i := range a.tasks {
		a.tasks[i].good, a.tasks[i].refused = false, false
	}
	a.counted = false
	return a.reads
}

// Version changes whenever Reads gives other reads than before.
func (a *Area) Version() int { return a.version }

// Report tells how read number i of this cycle ended.
func (a *Area) Report(i int, o Outcome, now time.Time) {
	r := a.reads[i]
	if o != Silent && o != NoFunction {
		a.refusals = 0
	}
	switch o {
	case Answered:
		a.tasks[i].good = true
		a.limit.answered(r.Count)
		if a.tasks[i].kind == retest {
			a.restore(r, now)
		}
	case NoAddress:
		a.refuse(i, o, now)
	case NoCount:
		// What was answered elsewhere, or could not be cut, is not refused for its number.
		if r.Count <= a.limit.longest || r.Count <= a.widest {
			a.refuse(i, o, now)
		} else {
			a.lower(r.Count, now)
		}
	case NoFunction:
		if a.counted {
			return
		}
		a.counted = true
		if a.refusals++; a.refusals >= patience {
			a.refusals = patience - 1 // at the retest one more is enough
			a.offUntil = now.Add(Retest)
			a.stale = true
		}
	case Silent:
		if a.limit.silent(r.Count) && r.Count > a.widest {
			a.lower(r.Count, now)
		}
	}
}

// Alive tells that the device answered a shorter read than those of the plan, outside of it.
func (a *Area) Alive() { a.limit.shortAnswered = true }

// Missing says in a few words why no read of this cycle brings the span; "" where one does.
func (a *Area) Missing(s Span) string {
	if slices.ContainsFunc(a.reads, func(r Read) bool { return r.Covers(s) }) {
		return ""
	}
	if !a.offUntil.IsZero() {
		return "exception 1: the device cannot read this kind of point"
	}
	for _, r := range a.refused {
		if r.span != s {
			continue
		}
		if r.code == NoCount {
			return "exception 3: the device refuses to read it, alone as well"
		}
		return "exception 2: not in device"
	}
	return "exception 2: among points of which one is not in device, being narrowed down"
}

// replan makes the reads of a cycle from what is known.
func (a *Area) replan(now time.Time) {
	before := a.reads
	a.reads, a.tasks, a.stale = nil, nil, false
	if a.offUntil.IsZero() {
		var pool []Span
		for _, s := range a.spans {
			if !a.isSuspect(s) {
				pool = append(pool, s)
			}
		}
		reads, _ := Reads(pool, a.cost, a.limit.use, a.holes())
		for _, r := range reads {
			a.add(r, planned)
		}
		a.question(now)
	}
	if !slices.Equal(before, a.reads) {
		a.version++
	}
	a.event = a.nextEvent()
}

func (a *Area) add(r Read, kind taskKind) {
	a.reads = append(a.reads, r)
	a.tasks = append(a.tasks, task{kind: kind})
}

// question adds what is asked beyond the plan: the halves of one suspect or else one refused span whose time has come.
func (a *Area) question(now time.Time) {
	if len(a.suspects) > 0 {
		left, right := a.suspects[0].halves()
		a.add(cover(left), leftHalf)
		a.add(cover(right), rightHalf)
		return
	}
	for _, f := range a.refused {
		if !now.Before(f.next) {
			a.add(cover([]Span{f.span}), retest)
			a.stale = true // only in this cycle
			return
		}
	}
}

// holes gives everything that no read may take in.
func (a *Area) holes() []Hole {
	var holes []Hole
	for _, g := range a.gaps {
		holes = append(holes, g.hole)
	}
	for _, f := range a.refused {
		holes = append(holes, Hole{f.span.Start, f.span.End()})
	}
	for _, s := range a.suspects {
		r := cover(s)
		holes = append(holes, Hole{r.Start, r.End()})
	}
	return holes
}

// nextEvent is the next time at which something is to be forgotten or asked again; zero for never.
func (a *Area) nextEvent() time.Time {
	var next time.Time
	consider := func(t time.Time) {
		if !t.IsZero() && (next.IsZero() || t.Before(next)) {
			next = t
		}
	}
	consider(a.offUntil)
	for _, g := range a.gaps {
		consider(g.at.Add(Lifetime))
	}
	for _, f := range a.refused {
		consider(f.next)
	}
	if a.limit.refused > 0 {
		consider(a.limit.at.Add(Lifetime))
	}
	return next
}

// forget drops what was learned too long ago and has everything planned anew.
func (a *Area) forget(now time.Time) {
	a.stale = true
	if !now.Before(a.offUntil) {
		a.offUntil = time.Time{}
	}
	a.gaps = slices.DeleteFunc(a.gaps, func(g gap) bool { return !now.Before(g.at.Add(Lifetime)) })
	if a.limit.refused > 0 && !now.Before(a.limit.at.Add(Lifetime)) {
		a.limit = limit{use: a.most}
	}
}
