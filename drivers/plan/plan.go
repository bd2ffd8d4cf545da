// Package plan decides which requests read a set of values most cheaply, and learns what a device refuses.
//
// A device answers one request for a run of neighbouring addresses, up to a limit. Each request has a fixed price, so it
// often pays to read a few addresses that nobody wants; but a run that takes in an address that the device does not have
// is refused as a whole, and a value that lies over several addresses must come from one request or it may be torn.
//
// Reads is the planner: pure and exact. Area adds what has been learned of one address space of one device, cycle by
// cycle. Nothing here knows a clock, a wire or a protocol: time is an argument.
package plan

import (
	"cmp"
	"slices"
)

// Limits of one request of the Modbus protocol (Modbus Application Protocol V1.1b3, sections 6.1 to 6.4).
const (
	MaxRegisters = 125
	MaxBits      = 2000
)

// Span is one value: Width neighbouring addresses from Start, which are read in one request or not at all. Width is at
// least 1.
type Span struct{ Start, Width int }

// End is the address behind the last one.
func (s Span) End() int { return s.Start + s.Width }

// Read is one request: Count addresses from Start.
type Read struct{ Start, Count int }

// End is the address behind the last one.
func (r Read) End() int { return r.Start + r.Count }

// Covers says whether the read brings the whole span.
func (r Read) Covers(s Span) bool { return r.Start <= s.Start && s.End() <= r.End() }

// Cost is the price of a request, in any unit: Fixed for itself and Each for every address that it reads. Neither is
// negative.
type Cost struct{ Fixed, Each float64 }

// Hole is a range of addresses, To not included, that a device refuses to read as a whole: a read that takes in all of
// it fails. A hole of one address is thus never read; a hole of two may be the seam between two tables of the device,
// each of which can be read alone.
type Hole struct{ From, To int }

// Reads gives the cheapest reads that cover every span whole, in rising order; where two plans cost the same, the one
// with fewer reads. No read is longer than limit and none takes in a hole. Spans that no read can bring, because they are
// longer than limit or take in a hole, are given back as left.
//
// The method is exact. Spans without duplicates and nested ones, sorted by start, are sorted by end as well, and then
// some optimum consists of contiguous runs: a shortest path over the places between spans. It takes O(n log n + n*k)
// steps for n spans of which k fit into one read.
func Reads(spans []Span, cost Cost, limit int, holes []Hole) (reads []Read, left []Span) {
	walls := newWalls(holes)
	var items []Span
	for _, s := range spans {
		if s.Width > limit || walls.before(s.End()) >= s.Start {
			left = append(left, s)
		} else {
			items = append(items, s)
		}
	}
	items = outermost(items)

	// best[j] is the cheapest way to read the first j items; its last run begins with item from.
	type step struct {
		cost  float64
		reads int
		from  int
	}
	best := make([]step, len(items)+1)
	for j := 1; j <= len(items); j++ {
		end := items[j-1].End()
		wall := walls.before(end)
		for i := j - 1; i >= 0; i-- {
			length := end - items[i].Start
			if length > limit || items[i].Start <= wall {
				break
			}
			s := step{best[i].cost + cost.Fixed + cost.Each*float64(length), best[i].reads + 1, i}
			if b := best[j]; b.reads == 0 || s.cost < b.cost || s.cost == b.cost && s.reads < b.reads {
				best[j] = s
			}
		}
	}
	for j := len(items); j > 0; j = best[j].from {
		start := items[best[j].from].Start
		reads = append(reads, Read{start, items[j-1].End() - start})
	}
	slices.Reverse(reads)
	return reads, left
}

// outermost sorts spans by start and drops those that lie within another.
func outermost(spans []Span) []Span {
	slices.SortFunc(spans, func(a, b Span) int {
		return cmp.Or(cmp.Compare(a.Start, b.Start), cmp.Compare(b.Width, a.Width))
	})
	kept := spans[:0]
	for _, s := range spans {
		if len(kept) == 0 || s.End() > kept[len(kept)-1].End() {
			kept = append(kept, s)
		}
	}
	return kept
}

// walls answers, for the end of a read, the address behind which it must begin.
type walls struct {
	to   []int // ends of holes, rising
	from []int // the highest start of the holes up to there
}

func newWalls(holes []Hole) walls {
	sorted := slices.Clone(holes)
	slices.SortFunc(sorted, func(a, b Hole) int { return cmp.Compare(a.To, b.To) })
	var w walls
	for i, h := range sorted {
		from := h.From
		if i > 0 {
			from = max(from, w.from[i-1])
		}
		w.to, w.from = append(w.to, h.To), append(w.from, from)
	}
	return w
}

// before gives the highest start of a hole that ends at or before end, or -1: a read up to end that begins there or
// lower takes in that hole.
func (w walls) before(end int) int {
	n, _ := slices.BinarySearch(w.to, end+1)
	if n == 0 {
		return -1
	}
	return w.from[n-1]
}
