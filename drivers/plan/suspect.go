package plan

import (
	"slices"
	"time"
)

// suspect is a run of at least two spans, none nested, that was refused as a whole for its address.
type suspect []Span

// halves are what is read instead of it.
func (s suspect) halves() (left, right []Span) {
	m := len(s) / 2
	return s[:m], s[m:]
}

// cover is the read that brings a run of spans.
func cover(spans []Span) Read {
	start := spans[0].Start
	return Read{start, spans[len(spans)-1].End() - start}
}

// within gives the spans that a read is for: the outermost of those that it brings and that are not known as refused.
func (a *Area) within(r Read) []Span {
	var in []Span
	for _, s := range a.spans {
		if r.Covers(s) && !a.isRefused(s) {
			in = append(in, s)
		}
	}
	return outermost(in)
}

func (a *Area) isRefused(s Span) bool {
	return slices.ContainsFunc(a.refused, func(f refusal) bool { return f.span == s })
}

// isSuspect says whether a span is, or lies within, a span of a suspect.
func (a *Area) isSuspect(s Span) bool {
	for _, run := range a.suspects {
		for _, t := range run {
			if t.Start <= s.Start && s.End() <= t.End() {
				return true
			}
		}
	}
	return false
}

// refuse notes that read i of this cycle was refused for its address.
func (a *Area) refuse(i int, code Outcome, now time.Time) {
	a.tasks[i].refused, a.tasks[i].code = true, code
	r := a.reads[i]
	switch a.tasks[i].kind {
	case planned:
		a.accuse(a.within(r), code, now)
	case retest:
		for j := range a.refused {
			if f := &a.refused[j]; cover([]Span{f.span}) == r {
				f.pause = min(2*f.pause, Retest)
				f.next = now.Add(f.pause)
			}
		}
	}
	// The halves of a suspect are judged together when the cycle is over.
}

// accuse makes a refused run a suspect, or notes a single span as refused.
func (a *Area) accuse(run []Span, code Outcome, now time.Time) {
	a.stale = true
	switch len(run) {
	case 0:
	case 1:
		a.refused = append(a.refused, refusal{run[0], code, firstRetest, now.Add(firstRetest)})
	default:
		a.suspects = append(a.suspects, run)
	}
}

// restore takes back that the span of a retest is refused. Others may be back as well, and are asked for at once, one a
// cycle.
func (a *Area) restore(r Read, now time.Time) {
	a.stale = true
	a.refused = slices.DeleteFunc(a.refused, func(f refusal) bool { return cover([]Span{f.span}) == r })
	for i := range a.refused {
		a.refused[i].pause, a.refused[i].next = firstRetest, now
	}
}

// judgeSuspect draws the conclusion from the two halves of the first suspect, once both are known.
func (a *Area) judgeSuspect(now time.Time) {
	if len(a.suspects) == 0 {
		return
	}
	l, r := a.suspects[0].halves()
	left, right := a.asked(leftHalf, l), a.asked(rightHalf, r)
	if !(left.good || left.refused) || !(right.good || right.refused) {
		return
	}
	waiting := a.suspects[1:]
	a.suspects = nil
	a.stale = true
	if left.good && right.good {
		a.gaps = append(a.gaps, gap{between(l[len(l)-1], r[0]), now})
	}
	if left.refused {
		a.accuse(l, left.code, now)
	}
	if right.refused {
		a.accuse(r, right.code, now)
	}
	a.suspects = append(a.suspects, waiting...)
}

// asked gives the task of this cycle by which half of a suspect was read; the zero task if it was not.
func (a *Area) asked(kind taskKind, half []Span) task {
	for i, t := range a.tasks {
		if t.kind == kind && a.reads[i] == cover(half) {
			return t
		}
	}
	return task{}
}

// between is the hole between two spans that can be read, but not together: the addresses between them or, where there
// are none, the seam, which only a read of both takes in.
func between(left, right Span) Hole {
	if left.End() < right.Start {
		return Hole{left.End(), right.Start}
	}
	return Hole{left.Start, right.End()}
}
