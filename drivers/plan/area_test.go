package plan

import (
	"math/bits"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

var start = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)

const cycleTime = 5 * time.Second

// target is a device with missing addresses, seams that no read may cross, and a longest read.
type target struct {
	missing map[int]bool
	seams   map[int]bool // between address a-1 and a
	longest int          // 0 for none
	mute    bool         // says nothing where a read is too long, instead of exception 3
	off     bool         // function not known
}

func (d target) ask(r Read) Outcome {
	if d.off {
		return NoFunction
	}
	if d.longest > 0 && r.Count > d.longest {
		if d.mute {
			return Silent
		}
		return NoCount
	}
	for a := r.Start; a < r.End(); a++ {
		if d.missing[a] || a > r.Start && d.seams[a] {
			return NoAddress
		}
	}
	return Answered
}

// poll runs one cycle and gives the reads and the spans that were answered.
func poll(a *Area, d target, now time.Time) (reads []Read, good []Read) {
	reads = slices.Clone(a.Reads(now))
	for i, r := range reads {
		o := d.ask(r)
		a.Report(i, o, now)
		if o == Answered {
			good = append(good, r)
		}
	}
	return reads, good
}

func covered(spans []Span, good []Read) int {
	n := 0
	for _, s := range spans {
		if slices.ContainsFunc(good, func(r Read) bool { return r.Covers(s) }) {
			n++
		}
	}
	return n
}

func registers(from, n int) []Span {
	var spans []Span
	for i := range n {
		spans = append(spans, Span{from + i, 1})
	}
	return spans
}

// TestOneBadSpan: among m spans in one run the bad one is isolated in ceil(log2 m) cycles of two more reads.
func TestOneBadSpan(t *testing.T) {
	for _, m := range []int{2, 3, 4, 7, 9, 16, 60, 125} {
		deepest := bits.Len(uint(m - 1))
		for bad := range m {
			spans := registers(100, m)
			a := NewArea(spans, Cost{400, 1}, MaxRegisters)
			d := target{missing: map[int]bool{100 + bad: true}}
			now, extra, cycles := start, 0, 0
			for ; ; cycles++ {
				_, good := poll(a, d, now)
				for _, k := range a.tasks {
					if k.kind != planned {
						extra++
					}
				}
				if n := len(a.tasks); n > 4 {
					t.Fatalf("m %d bad %d: %d reads in one cycle", m, bad, n)
				}
				if covered(spans, good) == m-1 {
					break
				}
				if cycles > deepest+1 {
					t.Fatalf("m %d bad %d: not isolated after %d cycles", m, bad, cycles)
				}
				now = now.Add(cycleTime)
			}
			if extra > 2*deepest {
				t.Errorf("m %d bad %d: %d extra reads, at most %d are allowed", m, bad, extra, 2*deepest)
			}
			if reads, good := poll(a, d, now); len(good) != len(reads) || len(reads) > 2 {
				t.Errorf("m %d bad %d: then %d of %d reads are answered", m, bad, len(good), len(reads))
			}
			if why := a.Missing(Span{100 + bad, 1}); why != "exception 2: not in device" {
				t.Errorf("m %d bad %d: Missing says %q", m, bad, why)
			}
		}
	}
}

// TestGapLearned: where both halves of a refused run are answered, what lies between them is not read again.
func TestGapLearned(t *testing.T) {
	for name, d := range map[string]target{
		"gap":  {missing: map[int]bool{13: true}},
		"seam": {seams: map[int]bool{12: true}},
	} {
		t.Run(name, func(t *testing.T) {
			spans := []Span{{10, 2}, {12, 1}}
			if name == "gap" {
				spans = []Span{{10, 2}, {15, 2}}
			}
			a := NewArea(spans, Cost{400, 1}, MaxRegisters)
			if reads, good := poll(a, d, start); len(reads) != 1 || len(good) != 0 {
				t.Fatalf("the first cycle: %v, answered %v", reads, good)
			}
			for i := range 5 {
				if _, good := poll(a, d, start.Add(time.Duration(i)*cycleTime)); covered(spans, good) != 2 {
					t.Fatalf("cycle %d: %v", i, good)
				}
			}
			if len(a.gaps) != 1 {
				t.Fatalf("gaps: %v", a.gaps)
			}
			// After its lifetime it is tried again, which shows a device that was exchanged.
			reads, good := poll(a, target{}, start.Add(Lifetime+time.Hour))
			if len(reads) != 1 || len(good) != 1 {
				t.Errorf("a week later: %v, answered %v", reads, good)
			}
		})
	}
}

// TestNestedSpanOfABadOne: a value that is refused does not take one within it along.
func TestNestedSpanOfABadOne(t *testing.T) {
	spans := []Span{{10, 2}, {10, 1}}
	a := NewArea(spans, Cost{400, 1}, MaxRegisters)
	d := target{missing: map[int]bool{11: true}}
	poll(a, d, start)
	_, good := poll(a, d, start.Add(cycleTime))
	if !slices.Equal(good, []Read{{10, 1}}) {
		t.Errorf("answered: %v", good)
	}
}

func TestRetest(t *testing.T) {
	spans := registers(0, 4)
	a := NewArea(spans, Cost{400, 1}, MaxRegisters)
	d := target{missing: map[int]bool{2: true}}
	now, retests := start, 0
	for now.Before(start.Add(48 * time.Hour)) {
		poll(a, d, now)
		for _, k := range a.tasks {
			if k.kind == retest {
				retests++
			}
		}
		now = now.Add(time.Minute)
	}
	// 1, 2, 4 ... 1024 minutes add up to a little over a day, then once a day.
	if retests < 10 || retests > 13 {
		t.Errorf("%d retests in two days", retests)
	}
	for i := range 60 * 24 {
		if _, good := poll(a, target{}, now); covered(spans, good) == 4 {
			if reads, _ := poll(a, target{}, now.Add(cycleTime)); len(reads) != 1 {
				t.Errorf("after the return of a register the plan is %v", reads)
			}
			return
		}
		now = now.Add(time.Duration(i) * time.Minute)
	}
	t.Error("the register was never found again")
}

// TestReturnOfAll: a device that refused everything for a while is read whole soon after.
func TestReturnOfAll(t *testing.T) {
	spans := registers(0, 16)
	a := NewArea(spans, Cost{400, 1}, MaxRegisters)
	all := target{missing: map[int]bool{}}
	for i := range 16 {
		all.missing[i] = true
	}
	now := start
	for range 60 {
		reads, _ := poll(a, all, now)
		if len(reads) > 2 {
			t.Fatalf("%d reads in one cycle of a device that refuses all", len(reads))
		}
		now = now.Add(cycleTime)
	}
	for i := 0; ; i++ {
		if _, good := poll(a, target{}, now); covered(spans, good) == 16 {
			break
		}
		if i > 16+int(10*time.Minute/cycleTime) {
			t.Fatal("not read whole ten minutes later")
		}
		now = now.Add(cycleTime)
	}
}

func TestLimitLearned(t *testing.T) {
	for _, longest := range []int{1, 2, 7, 16, 32, 50, 64, 100, 120, 124} {
		for _, mute := range []bool{false, true} {
			spans := registers(0, 125)
			a := NewArea(spans, Cost{400, 1}, MaxRegisters)
			d := target{longest: longest, mute: mute}
			now, cycles := start, 0
			var reads []Read
			for ; cycles < 60; cycles++ {
				if mute {
					a.Alive() // as a probe tells between the cycles
				}
				reads, _ = poll(a, d, now)
				now = now.Add(cycleTime)
			}
			best, _ := Reads(spans, Cost{400, 1}, longest, nil)
			if len(reads) != len(best) {
				t.Errorf("longest %d mute %v: %d reads at the end, %d would do (limit learned: %d)", longest, mute, len(reads), len(best), a.limit.use)
			}
			if _, good := poll(a, d, now); covered(spans, good) != 125 {
				t.Errorf("longest %d mute %v: %d of 125 spans are read", longest, mute, covered(spans, good))
			}
			if reads, _ := poll(a, target{}, now.Add(Lifetime)); len(reads) != 1 {
				t.Errorf("longest %d mute %v: a week later %d reads", longest, mute, len(reads))
			}
		}
	}
}

// TestSilenceAloneTeachesNothing: a device that does not answer at all is not thought to mind the length.
func TestSilenceAloneTeachesNothing(t *testing.T) {
	a := NewArea(registers(0, 100), Cost{400, 1}, MaxRegisters)
	for i := range 100 {
		now := start.Add(time.Duration(i) * cycleTime)
		if reads := a.Reads(now); len(reads) != 1 {
			t.Fatalf("cycle %d: %v", i, reads)
		}
		a.Report(0, Silent, now)
	}
}

// TestCountAnsweredElsewhere: exception 3 to a count that was answered at another address is about the address.
func TestCountAnsweredElsewhere(t *testing.T) {
	spans := slices.Concat(registers(0, 20), registers(1000, 20))
	a := NewArea(spans, Cost{400, 1}, MaxRegisters)
	bad := func(r Read) bool { return r.Start <= 1003 && 1003 < r.End() }
	var good []Read
	for i := range 20 {
		now := start.Add(time.Duration(i) * cycleTime)
		good = nil
		for j, r := range a.Reads(now) {
			if bad(r) {
				a.Report(j, NoCount, now)
			} else {
				a.Report(j, Answered, now)
				good = append(good, r)
			}
		}
	}
	if n := covered(spans, good); n != 39 || a.limit.use != MaxRegisters {
		t.Errorf("%d of 39 spans are read, the limit is %d", n, a.limit.use)
	}
	if why := a.Missing(Span{1003, 1}); !strings.HasPrefix(why, "exception 3") {
		t.Errorf("Missing says %q", why)
	}
}

func TestFunctionRefused(t *testing.T) {
	a := NewArea(registers(0, 3), Cost{400, 1}, MaxRegisters)
	asked := 0
	now := start
	for now.Before(start.Add(48 * time.Hour)) {
		reads, _ := poll(a, target{off: true}, now)
		asked += len(reads)
		now = now.Add(time.Minute)
	}
	if asked < patience || asked > patience+2 {
		t.Errorf("asked %d times in two days", asked)
	}
	if why := a.Missing(Span{0, 1}); !strings.HasPrefix(why, "exception 1") {
		t.Errorf("Missing says %q", why)
	}
	if _, good := poll(a, target{}, now.Add(Retest)); len(good) != 1 {
		t.Error("not asked again a day later")
	}
}

// TestLearning: whatever a device refuses, it is soon read as well as it can be, with few reads on the way.
func TestLearning(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		spans := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Span {
			return Span{rapid.IntRange(0, 150).Draw(t, "start"), rapid.SampledFrom([]int{1, 2, 4}).Draw(t, "width")}
		}), 1, 40).Draw(t, "spans")
		d := target{missing: map[int]bool{}, seams: map[int]bool{}}
		for _, at := range rapid.SliceOfN(rapid.IntRange(0, 155), 0, 6).Draw(t, "missing") {
			d.missing[at] = true
		}
		for _, at := range rapid.SliceOfN(rapid.IntRange(0, 155), 0, 3).Draw(t, "seams") {
			d.seams[at] = true
		}
		a := NewArea(spans, Cost{400, 1}, MaxRegisters)
		readable := 0
		for _, s := range spans {
			if d.ask(Read{s.Start, s.Width}) == Answered {
				readable++
			}
		}
		// Without retests falling due: the clock stands still.
		for range 400 {
			poll(a, d, start)
		}
		reads, good := poll(a, d, start)
		if n := covered(spans, good); n != readable {
			t.Fatalf("%d spans are read, the device has %d", n, readable)
		}
		if len(good) != len(reads) {
			t.Fatalf("%d of %d reads are refused in the end", len(reads)-len(good), len(reads))
		}
		sound(t, spans, MaxRegisters, a.holes(), reads, slices.DeleteFunc(slices.Clone(spans), func(s Span) bool { return covered([]Span{s}, reads) == 1 }))
	})
}

// TestSteadyReadsAllocateNothing: the plan is made when something was learned, never in the cycle.
func TestSteadyReadsAllocateNothing(t *testing.T) {
	a := NewArea(registers(0, 200), Cost{400, 1}, MaxRegisters)
	if n := testing.AllocsPerRun(100, func() {
		for i := range a.Reads(start) {
			a.Report(i, Answered, start)
		}
	}); n != 0 {
		t.Errorf("%v allocations a cycle", n)
	}
}
