package trend

import (
	"fmt"
	"slices"
)

// ProblemKind is one way in which a recording is not as it should be.
type ProblemKind uint8

// The kinds of problems. Of the first four something was lost, of the last two nothing.
const (
	noProblem    ProblemKind = iota
	BadCell                  // a cell that is asked for is no number: its reading is bad
	BadTime                  // the time of a row cannot be read: the row is dropped
	BadRow                   // the fields of a row do not fit the header, or a quote is out of place: the row is dropped
	LateRow                  // a row comes more than 10 rows after its place in time: it is dropped
	RepeatedTime             // a row has a time that another had: the first counts
	Reordered                // a row came late and was put in its place
	kinds
)

// String says it for people: "cells that are no number".
func (k ProblemKind) String() string {
	return [kinds]string{
		"no problem",
		"cells that are no number",
		"rows whose time cannot be read",
		"rows that do not fit the header",
		"rows that came too late to be put in order",
		"rows with the time of an earlier one",
		"rows put in order",
	}[k]
}

// Problem is one of them, with its place.
type Problem struct {
	Kind ProblemKind
	Line int    // line of the file (of the uncompressed text), from 1
	Text string // what is wrong, with what the file says
}

// String gives "line 12: ...".
func (p Problem) String() string { return fmt.Sprintf("line %d: %s", p.Line, p.Text) }

// firstOfKind is how many problems of one kind are kept with their text. Chosen: enough to see a pattern.
const firstOfKind = 5

// Problems are what was found wrong in a recording so far.
type Problems struct {
	counts [kinds]uint64
	first  []Problem
}

// Count is how often this kind was found.
func (p *Problems) Count(k ProblemKind) uint64 { return p.counts[k] }

// Lost is how often something had to be thrown away: bad cells, bad times, bad rows, rows that came too late. 0 says
// that the recording is whole.
func (p *Problems) Lost() uint64 {
	return p.counts[BadCell] + p.counts[BadTime] + p.counts[BadRow] + p.counts[LateRow]
}

// First are the first five problems of each kind, by line.
func (p *Problems) First() []Problem {
	first := slices.Clone(p.first)
	slices.SortStableFunc(first, func(a, b Problem) int { return a.Line - b.Line })
	return first
}

// Summary has one line for each kind that was found, such as "cells that are no number: 3". It is empty where there is
// none.
func (p *Problems) Summary() []string {
	var lines []string
	for kind, n := range p.counts {
		if n > 0 {
			lines = append(lines, fmt.Sprintf("%v: %d", ProblemKind(kind), n))
		}
	}
	return lines
}

// add counts a problem and keeps the first ones with their text, which is made only for those.
func (p *Problems) add(kind ProblemKind, line int, text func() string) {
	p.counts[kind]++
	if p.counts[kind] <= firstOfKind {
		p.first = append(p.first, Problem{kind, line, text()})
	}
}

// shown quotes text out of a file and cuts it to a length that people read.
func shown(b []byte) string {
	const most = 40
	if len(b) > most {
		return fmt.Sprintf("%q...", b[:most])
	}
	return fmt.Sprintf("%q", b)
}
