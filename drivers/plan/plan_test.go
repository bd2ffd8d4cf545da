package plan

import (
	"cmp"
	"encoding/binary"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// total is the price of a plan.
func total(reads []Read, c Cost) float64 {
	sum := 0.0
	for _, r := range reads {
		sum += c.Fixed + c.Each*float64(r.Count)
	}
	return sum
}

// singles are holes of one address each: no read may touch any of from..to-1.
func singles(from, to int) []Hole {
	var holes []Hole
	for a := from; a < to; a++ {
		holes = append(holes, Hole{a, a + 1})
	}
	return holes
}

// TestVectors are instances solved by hand and by an independent script; no published source. want is nil where several
// plans are the best.
func TestVectors(t *testing.T) {
	var eights []Span
	var eightSingles []Read
	for i := range 14 {
		eights = append(eights, Span{8 * i, 1})
		eightSingles = append(eightSingles, Read{8 * i, 1})
	}
	rtu, tcp := Cost{26, 2}, Cost{400, 1}
	for _, v := range []struct {
		name  string
		spans []Span
		cost  Cost
		limit int
		holes []Hole
		total float64
		reads int
		want  []Read
	}{
		{"V1 gap worth reading", []Span{{0, 1}, {1, 1}, {2, 1}, {10, 2}, {12, 2}}, rtu, 125, nil, 54, 1, []Read{{0, 14}}},
		{"V2 gap at the price of a read: fewer reads", []Span{{0, 1}, {14, 1}}, rtu, 125, nil, 56, 1, []Read{{0, 15}}},
		{"V3 one below", []Span{{0, 1}, {13, 1}}, rtu, 125, nil, 54, 1, []Read{{0, 14}}},
		{"V4 one above", []Span{{0, 1}, {15, 1}}, rtu, 125, nil, 56, 2, []Read{{0, 1}, {15, 1}}},
		{"V5 greedy merging costs 1004", []Span{{0, 2}, {60, 2}, {110, 2}, {124, 1}, {125, 2}, {200, 4}}, tcp, 125, nil, 956, 2, []Read{{0, 62}, {110, 94}}},
		{"V6 greedy merging costs 926", []Span{{0, 1}, {124, 1}, {125, 1}}, tcp, 125, nil, 803, 2, []Read{{0, 1}, {124, 2}}},
		{"V7 overlap at the limit", []Span{{0, 1}, {123, 2}, {124, 2}}, tcp, 125, nil, 804, 2, []Read{{0, 1}, {123, 3}}},
		{"V8 one over the limit", []Span{{0, 1}, {124, 2}}, tcp, 125, nil, 803, 2, []Read{{0, 1}, {124, 2}}},
		{"V9 tie of split", []Span{{0, 2}, {2, 2}, {4, 2}, {6, 2}, {8, 2}, {10, 1}}, rtu, 8, nil, 74, 2, nil},
		{"V10 odd limit", []Span{{0, 2}, {2, 2}, {4, 2}, {6, 2}}, rtu, 5, nil, 68, 2, []Read{{0, 4}, {4, 4}}},
		{"V11 forbidden", []Span{{0, 2}, {3, 1}, {7, 1}, {9, 1}}, rtu, 125, singles(5, 7), 66, 2, []Read{{0, 4}, {7, 3}}},
		{"V12 small limit", []Span{{0, 1}, {3, 1}, {6, 1}, {8, 1}}, Cost{4, 1}, 6, nil, 15, 2, []Read{{0, 4}, {6, 3}}},
		{"V13 greedy merging costs 19", []Span{{0, 1}, {6, 1}, {7, 1}, {8, 1}}, Cost{5, 1}, 8, nil, 14, 2, []Read{{0, 1}, {6, 3}}},
		{"V14 one register a read", []Span{{0, 1}, {1, 1}, {5, 1}}, rtu, 1, nil, 84, 3, []Read{{0, 1}, {1, 1}, {5, 1}}},
		{"V15 nested", []Span{{10, 2}, {11, 1}, {20, 4}, {22, 2}}, rtu, 125, nil, 54, 1, []Read{{10, 14}}},
		{"V16 chain of overlaps", []Span{{0, 4}, {3, 4}, {6, 2}}, rtu, 4, nil, 98, 3, []Read{{0, 4}, {3, 4}, {6, 2}}},
		{"V17 every eighth, dear requests", eights, rtu, 125, nil, 236, 1, []Read{{0, 105}}},
		{"V18 every eighth, cheap requests", eights, Cost{5, 2}, 125, nil, 98, 14, eightSingles},
	} {
		t.Run(v.name, func(t *testing.T) {
			reads, left := Reads(v.spans, v.cost, v.limit, v.holes)
			if len(left) > 0 {
				t.Errorf("left over: %v", left)
			}
			if got := total(reads, v.cost); got != v.total || len(reads) != v.reads {
				t.Errorf("%v: cost %v in %d reads, want %v in %d", reads, got, len(reads), v.total, v.reads)
			}
			if v.want != nil && !slices.Equal(reads, v.want) {
				t.Errorf("%v, want %v", reads, v.want)
			}
			sound(t, v.spans, v.limit, v.holes, reads, left)
		})
	}
}

// sound checks everything that holds for any plan.
func sound(t interface {
	Helper()
	Errorf(string, ...any)
}, spans []Span, limit int, holes []Hole, reads []Read, left []Span) {
	t.Helper()
	for _, s := range spans {
		covered := slices.ContainsFunc(reads, func(r Read) bool { return r.Covers(s) })
		if !covered && !slices.Contains(left, s) {
			t.Errorf("span %v is neither read whole nor left over, reads %v", s, reads)
		}
		takesIn := s.Width > limit || slices.ContainsFunc(holes, func(h Hole) bool { return s.Start <= h.From && h.To <= s.End() })
		if slices.Contains(left, s) != takesIn {
			t.Errorf("span %v left over: %v, want %v", s, !takesIn, takesIn)
		}
	}
	for i, r := range reads {
		if r.Count < 1 || r.Count > limit {
			t.Errorf("read %v, the limit is %d", r, limit)
		}
		if i > 0 && r.Start <= reads[i-1].Start {
			t.Errorf("reads are not in rising order: %v", reads)
		}
		for _, h := range holes {
			if r.Start <= h.From && h.To <= r.End() {
				t.Errorf("read %v takes in the hole %v", r, h)
			}
		}
		starts := slices.ContainsFunc(spans, func(s Span) bool { return s.Start == r.Start })
		ends := slices.ContainsFunc(spans, func(s Span) bool { return s.End() == r.End() })
		if !starts || !ends {
			t.Errorf("read %v does not begin and end with a span", r)
		}
	}
}

// bruteForce finds the lowest price, and the fewest reads for it, over all ways to put the spans into sets.
func bruteForce(spans []Span, c Cost, limit int, holes []Hole) (best float64, fewest int) {
	best = -1
	sets := []Read{}
	var place func(i int)
	place = func(i int) {
		if i == len(spans) {
			for _, r := range sets {
				if r.Count > limit || slices.ContainsFunc(holes, func(h Hole) bool { return r.Start <= h.From && h.To <= r.End() }) {
					return
				}
			}
			if price := total(sets, c); best < 0 || price < best || price == best && len(sets) < fewest {
				best, fewest = price, len(sets)
			}
			return
		}
		s := spans[i]
		for j := range sets {
			before := sets[j]
			start, end := min(before.Start, s.Start), max(before.End(), s.End())
			sets[j] = Read{start, end - start}
			place(i + 1)
			sets[j] = before
		}
		sets = append(sets, Read{s.Start, s.Width})
		place(i + 1)
		sets = sets[:len(sets)-1]
	}
	place(0)
	return best, fewest
}

func TestAgainstBruteForce(t *testing.T) {
	seed := rand.Uint64()
	rng := rand.New(rand.NewPCG(seed, 0))
	solvable := 0
	for range 4000 {
		limit := 4 + rng.IntN(122)
		width := 10 + rng.IntN(2*limit)
		spans := make([]Span, 1+rng.IntN(7))
		for i := range spans {
			spans[i] = Span{rng.IntN(width), []int{1, 2, 4}[rng.IntN(3)]}
		}
		var holes []Hole
		for range rng.IntN(4) {
			from := rng.IntN(width)
			if rng.IntN(2) == 0 {
				holes = append(holes, Hole{from, from + 1 + rng.IntN(9)})
			} else {
				holes = append(holes, singles(from, from+1+rng.IntN(3))...)
			}
		}
		cost := Cost{float64(rng.IntN(60)), float64(rng.IntN(4))}
		reads, left := Reads(spans, cost, limit, holes)
		sound(t, spans, limit, holes, reads, left)
		rest := slices.DeleteFunc(slices.Clone(spans), func(s Span) bool { return slices.Contains(left, s) })
		if len(rest) == 0 {
			continue
		}
		solvable++
		best, fewest := bruteForce(rest, cost, limit, holes)
		if got := total(reads, cost); got != best || len(reads) != fewest {
			t.Fatalf("seed %d: spans %v cost %v limit %d holes %v\ngot %v: %v in %d reads, the best is %v in %d",
				seed, spans, cost, limit, holes, reads, got, len(reads), best, fewest)
		}
	}
	if solvable < 3000 {
		t.Errorf("only %d of 4000 instances said anything", solvable)
	}
}

var genSpans = rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Span {
	return Span{rapid.IntRange(0, 2000).Draw(t, "start"), rapid.SampledFrom([]int{1, 2, 4}).Draw(t, "width")}
}), 0, 80)

var genHoles = rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Hole {
	from := rapid.IntRange(0, 2000).Draw(t, "from")
	return Hole{from, from + rapid.IntRange(1, 20).Draw(t, "length")}
}), 0, 10)

func TestPlansAreSound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		spans, holes := genSpans.Draw(t, "spans"), genHoles.Draw(t, "holes")
		limit := rapid.IntRange(1, MaxRegisters).Draw(t, "limit")
		cost := Cost{rapid.Float64Range(0, 500).Draw(t, "fixed"), rapid.Float64Range(0, 5).Draw(t, "each")}
		before := slices.Clone(spans)
		reads, left := Reads(spans, cost, limit, holes)
		if !slices.Equal(spans, before) {
			t.Fatalf("Reads changed its argument")
		}
		sound(t, spans, limit, holes, reads, left)

		// The order in which the spans are named says nothing, nor does a second naming.
		shuffled := slices.Concat(spans, spans)
		slices.Reverse(shuffled)
		if again, _ := Reads(shuffled, cost, limit, holes); !slices.Equal(reads, again) {
			t.Fatalf("%v, of the spans reversed and doubled %v", reads, again)
		}

		// A forbidden address is never read.
		at := rapid.IntRange(0, 2000).Draw(t, "forbidden")
		reads, _ = Reads(spans, cost, limit, append(holes, Hole{at, at + 1}))
		for _, r := range reads {
			if r.Start <= at && at < r.End() {
				t.Fatalf("read %v has the forbidden address %d", r, at)
			}
		}
	})
}

func FuzzReads(f *testing.F) {
	f.Add([]byte{0, 0, 1, 0, 10, 2, 0, 124, 4}, uint8(125), uint8(26), uint8(2))
	f.Add([]byte{0xFF, 0xFF, 1}, uint8(1), uint8(0), uint8(0))
	f.Fuzz(func(t *testing.T, data []byte, limit, fixed, each uint8) {
		var spans []Span
		var holes []Hole
		for ; len(data) >= 3 && len(spans) < 200; data = data[3:] {
			start, width := int(binary.BigEndian.Uint16(data)), int(data[2])
			if width%5 == 0 {
				holes = append(holes, Hole{start, start + 1 + width/5})
			} else {
				spans = append(spans, Span{start, width % 5})
			}
		}
		most := max(1, int(limit))
		reads, left := Reads(spans, Cost{float64(fixed), float64(each)}, most, holes)
		sound(t, spans, most, holes, reads, left)
		if !slices.IsSortedFunc(reads, func(a, b Read) int { return cmp.Compare(a.Start, b.Start) }) {
			t.Errorf("not sorted: %v", reads)
		}
	})
}

func BenchmarkReads60Zones(b *testing.B) {
	var spans []Span
	for z := range 60 {
		for p := range 4 {
			spans = append(spans, Span{20*z + 2*p, 2})
		}
	}
	b.ReportAllocs()
	for b.Loop() {
		Reads(spans, Cost{400, 1}, MaxRegisters, nil)
	}
}
