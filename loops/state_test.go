package loops

import (
	"bytes"
	"fmt"
	"hash/crc32"
	"math"
	"math/rand/v2"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"
)

// story is what one run of a small site feeds to a judge, one call after the other: any two of them may have a cut between.
func story(seed uint64) (set Settings, steps []func(*Judge)) {
	r := rand.New(rand.NewPCG(seed, 7))
	ids := []ID{None}
	for id := None + 1; id < IDs; id++ {
		if simFaults[id] != nil {
			ids = append(ids, id)
		}
	}
	set.Devices = []string{"north", "south"}
	var sims []*sim
	var faults []ID
	cycle := []float64{5, 15, 60}[seed%3]
	for k := range 3 {
		z := newSim(100*seed+uint64(k), cycle, pointSets[r.IntN(len(pointSets))].has)
		s := z.settings()
		s.Name, s.Device = fmt.Sprint("zone-", k), k%2
		sims, faults, set.Zones = append(sims, z), append(faults, ids[r.IntN(len(ids))]), append(set.Zones, s)
	}
	const healthy, faulty, repaired = 240, 120, 160 // rounds
	lost := healthy + r.IntN(faulty)
	for round := range healthy + faulty + repaired {
		at := int64(float64(round) * cycle * 1e9)
		for d := range set.Devices {
			ok := d > 0 || round < lost || round > lost+40
			steps = append(steps, func(j *Judge) { j.Answered(d, at, ok) })
		}
		for k, z := range sims {
			z.fault = nil
			if round >= healthy && round < healthy+faulty {
				z.fault = simFaults[faults[k]]
				if seed%4 == 1 && k < 2 { // the feedback wires of two zones are exchanged
					z.fault = func(_ *sim, s *simState) {
						s.pair, s.light = math.Max(5, math.Min(100, sims[1-k].command)), s.pair
					}
				}
			}
			s := z.next()
			steps = append(steps, func(j *Judge) { j.Observe(k, &s) })
		}
		steps = append(steps, func(j *Judge) { j.EndRound(at) })
	}
	return set, steps
}

// cutRun runs a story and gives all that was said, to the last bit; where cut says so, a new judge goes on from the bytes
// of the one before. What is said is asked for every few steps only, so that some cuts lie between.
func cutRun(t *testing.T, set Settings, steps []func(*Judge), cut func(step int) bool) (said []string, end *Judge) {
	t.Helper()
	j := New(set)
	for i, step := range steps {
		if cut(i) {
			next := New(set)
			if err := next.Restore(j.Save()); err != nil {
				t.Fatal(err)
			}
			j = next
		}
		step(j)
		if i%6 == 5 {
			j.Changes(func(f Finding) { said = append(said, fmt.Sprintf("%+v", f)) })
		}
	}
	return said, j
}

// plainText is a judge as text, without the addresses of its settings, the suspects of the round before, and names of
// findings that are over.
func plainText(j *Judge) string {
	c := *j
	c.zones, c.suspects = slices.Clone(j.zones), nil
	for i := range c.zones {
		z := &c.zones[i]
		z.memory.set = nil
		for t := range z.open {
			if z.open[t] < 0 {
				z.named[t] = 0
			}
		}
	}
	return fmt.Sprintf("%+v", c)
}

// A run that is cut anywhere and resumed says the same to the last bit as one that is not, and is left with the same
// judge. With DIMWATCH_LONG set there are ten times as many sites, each cut at every step.
func TestCutAnywhere(t *testing.T) {
	seeds := uint64(12)
	if os.Getenv("DIMWATCH_LONG") != "" {
		seeds = 120
	}
	statements, cuts, crossed := 0, 0, 0
	for seed := range seeds {
		set, steps := story(seed)
		whole, end := cutRun(t, set, steps, func(int) bool { return false })
		statements += len(whole)
		crossed += strings.Count(strings.Join(whole, " "), fmt.Sprintf(" ID:%s ", ZonesCrossed))
		same := func(what string, cut func(int) bool) {
			said, last := cutRun(t, set, steps, func(i int) bool {
				if !cut(i) {
					return false
				}
				cuts++
				return true
			})
			if !slices.Equal(said, whole) {
				t.Fatalf("seed %d, %s: it says\n%s\nand should say\n%s", seed, what, strings.Join(said, "\n"), strings.Join(whole, "\n"))
			}
			if plainText(last) != plainText(end) {
				t.Fatalf("seed %d, %s: the judge is left another one:\n%s\n%s", seed, what, plainText(last), plainText(end))
			}
		}
		r := rand.New(rand.NewPCG(seed, 8))
		for range 8 {
			at := r.IntN(len(steps))
			same(fmt.Sprint("cut at step ", at), func(i int) bool { return i == at })
		}
		often := 20
		if seed == 0 || seeds > 100 {
			often = 1
		}
		same(fmt.Sprint("cut about every ", often, " steps"), func(int) bool { return r.IntN(often) == 0 })
	}
	t.Logf("%d sites, %d statements, %d of them of crossed zones, %d cuts", seeds, statements, crossed, cuts)
	if statements < 3*int(seeds) || crossed == 0 {
		t.Errorf("only %d statements of %d sites: the test shows nothing", statements, seeds)
	}
}

// The same over days of daylight, with sensors and setpoints that fail one after the other, alone and together.
func TestCutDays(t *testing.T) {
	for seed, put := range []func(z *dayZone){
		func(z *dayZone) { z.loop = 3.2 },
		func(z *dayZone) { z.deadband = 1e9 },
		func(z *dayZone) { z.sensor = func(_ *dayZone, lux, _, _ float64) float64 { return 0.05 * lux } },
		func(z *dayZone) { z.stop = true },
		func(z *dayZone) { z.unused = true },
	} {
		said := func(cut func() bool) (out []string) {
			s := newDaySite(uint64(700+seed), 47, 5, 300, 4)
			for _, z := range s.zones {
				z.has |= DaylightLoop
				z.bright = min(z.bright, 0.5*z.factor)
			}
			s.settle()
			j := New(s.set)
			for day := range 14 {
				switch day {
				case 5:
					put(s.zones[0])
				case 6:
					put(s.zones[1])
				case 11:
					was := *s.zones[0]
					was.loop, was.deadband, was.sensor, was.stop, was.unused = 0, 0, nil, false, false
					*s.zones[0] = was
				}
				for end := s.at + 86400; s.at < end; {
					at := s.next(func(i int, sample *Sample) {
						if cut() {
							next := New(s.set)
							if err := next.Restore(j.Save()); err != nil {
								t.Fatal(err)
							}
							j = next
						}
						j.Observe(i, sample)
					})
					j.Answered(0, at, true)
					j.EndRound(at)
					j.Changes(func(f Finding) { out = append(out, fmt.Sprintf("%+v", f)) })
				}
			}
			return append(out, plainText(j))
		}
		whole := said(func() bool { return false })
		if len(whole) < 4 {
			t.Errorf("case %d: only %d statements: the test shows nothing", seed, len(whole)-1)
		}
		r := rand.New(rand.NewPCG(uint64(seed), 9))
		for _, often := range []int{40, 4000, 8000} {
			if got := said(func() bool { return r.IntN(often) == 0 }); !slices.Equal(got, whole) {
				t.Fatalf("case %d, cut every %d samples: it says\n%s\nand should say\n%s", seed, often, strings.Join(got, "\n"), strings.Join(whole, "\n"))
			}
		}
	}
}

// All that a judge knows has a form as bytes, and what is kept by place has no place that a new finding would move.
func TestStateHoldsAll(t *testing.T) {
	seen := map[reflect.Type]bool{}
	var walk func(t reflect.Type, where string)
	walk = func(typ reflect.Type, where string) {
		if seen[typ] {
			return
		}
		seen[typ] = true
		switch typ.Kind() {
		case reflect.Struct:
			for i := range typ.NumField() {
				if f := typ.Field(i); !untouched(f) {
					walk(f.Type, where+"."+f.Name)
				}
			}
		case reflect.Array:
			n := typ.Len()
			if !typ.Implements(keyedType) && (n == len(explanations) || n == int(IDs)) {
				t.Errorf("%s has a place for each explanation or finding, it seems: make it a byExplanation or a byFinding", where)
			}
			walk(typ.Elem(), where+"[]")
		case reflect.Slice:
			walk(typ.Elem(), where+"[]")
		case reflect.Pointer, reflect.Map, reflect.Interface, reflect.Func, reflect.Chan, reflect.UnsafePointer,
			reflect.Complex64, reflect.Complex128, reflect.Uintptr:
			t.Errorf("%s is a %s, which has no form as bytes: it needs the tag `state:\"-\"` where it follows from the settings", where, typ)
		}
	}
	walk(reflect.TypeFor[Judge](), "Judge")
	if !seen[reflect.TypeFor[learned]()] || !seen[reflect.TypeFor[sums]()] || !seen[reflect.TypeFor[Finding]()] {
		t.Error("the walk has lost its way")
	}
	names := map[string]bool{}
	for i := range explanations {
		name := byExplanation[int]{}.key(i)
		if names[name] {
			t.Errorf("two explanations are kept as %q", name)
		}
		names[name] = true
	}
}

// through writes a value, and reads it in the place of another.
func through[A, B any](t *testing.T, from A, into *B) {
	t.Helper()
	e := encoder{names: map[string]uint64{}}
	e.value(reflect.ValueOf(&from).Elem())
	n, err := read(e.out)
	if err != nil {
		t.Fatal(err)
	}
	fill(reflect.ValueOf(into).Elem(), &n)
}

// Numbers come back to the bit, whatever they are.
func TestStateIsExact(t *testing.T) {
	type all struct {
		f    []float64
		i    []int64
		u    []uint64
		b    [3]bool
		s    []string
		i8   int8
		deep struct {
			s struct{ x [2]struct{ f float64 } }
		}
		id []ID
	}
	from := all{
		f: []float64{0, math.Copysign(0, -1), 1, -1, 0.1, 1 << 53, -1 << 53, 1<<53 - 1, math.MaxFloat64, math.SmallestNonzeroFloat64,
			math.Inf(1), math.Inf(-1), math.NaN(), math.Float64frombits(0x7ff8dead00000001), 1e15 + 0.5},
		i: []int64{0, 1, -1, math.MaxInt64, math.MinInt64}, u: []uint64{0, 1, math.MaxUint64},
		b: [3]bool{true, false, true}, s: []string{"", "a", "\x00\xff"}, i8: -128, id: []ID{TrackingError, None, PairShort},
	}
	from.deep.s.x[1].f = -2.5
	r := rand.New(rand.NewPCG(1, 2))
	for range 1000 {
		from.f = append(from.f, math.Float64frombits(r.Uint64()), math.Trunc(1e6*r.NormFloat64()))
		from.i = append(from.i, int64(r.Uint64())>>r.IntN(64))
	}
	var to all
	through(t, from, &to)
	for i := range from.f {
		if math.Float64bits(from.f[i]) != math.Float64bits(to.f[i]) {
			t.Errorf("%x came back as %x", math.Float64bits(from.f[i]), math.Float64bits(to.f[i]))
		}
	}
	from.f, to.f = nil, nil
	if !reflect.DeepEqual(from, to) {
		t.Errorf("%+v\ncame back as\n%+v", from, to)
	}
}

// byWord is an array by name as another catalogue would have it.
type (
	byWord      [3]float64
	byMoreWords [4]float64
)

func (byWord) key(i int) string      { return []string{"pair-short", "wild", "pair-open"}[i] }
func (byMoreWords) key(i int) string { return []string{"new", "pair-open", "newer", "pair-short"}[i] }

// A program reads the state of an older one: what has gone is left, what is new stays as it was made, arrays by name find
// their places, and a value that has become of another kind is not forced.
func TestStateOfAnotherVersion(t *testing.T) {
	type oldZone struct {
		name  string
		level float64
		gone  [3]struct{ a, b float64 }
		count float64
		kind  string
		ring  [4]int
		sums  byWord
		small int
		list  []struct{ a, b int }
	}
	type newZone struct {
		sums  byMoreWords
		added float64
		count int
		ring  [2]int
		level float64
		kind  int
		small int8
		name  string
		list  []struct{ b, c int }
	}
	was := oldZone{name: "bakery", gone: [3]struct{ a, b float64 }{{1, 2}}, level: math.Inf(-1), count: 7, kind: "word", ring: [4]int{1, 2, 3, 4}, sums: byWord{10, 20, 30}, small: 1000,
		list: []struct{ a, b int }{{1, 2}, {3, 4}}}
	is := newZone{added: 5, kind: 6, small: 9, sums: byMoreWords{-1, -2, -3, -4}}
	through(t, was, &is)
	want := newZone{name: "bakery", level: math.Inf(-1), count: 7, ring: [2]int{1, 2}, added: 5, kind: 6, small: 9,
		sums: byMoreWords{-1, 30, -3, 10}, list: []struct{ b, c int }{{b: 2}, {b: 4}}}
	if !reflect.DeepEqual(is, want) {
		t.Errorf("got  %+v\nwant %+v", is, want)
	}
}

// aged is a judge in the middle of a story, with a finding that stands.
func aged(t testing.TB) (Settings, *Judge) {
	t.Helper()
	for seed := range uint64(20) {
		set, steps := story(seed)
		j := New(set)
		for _, step := range steps[:len(steps)*2/3] {
			step(j)
		}
		if len(j.open) > 0 {
			return set, j
		}
	}
	t.Fatal("no story has a finding that stands")
	return Settings{}, nil
}

// A zone with other settings begins anew, and the others go on; a setting that was not there at the time makes no zone a
// stranger.
func TestStateOfOtherSettings(t *testing.T) {
	set, j := aged(t)
	now := Settings{Devices: slices.Clone(set.Devices), Zones: slices.Clone(set.Zones)}
	now.Zones[1].Tolerance++
	next := New(now)
	if err := next.Restore(j.Save()); err != nil {
		t.Fatal(err)
	}
	for i, z := range next.zones {
		if anew := z.judgedSeconds == 0; anew != (i == 1) {
			t.Errorf("zone %d begins anew: %v", i, anew)
		}
	}

	state := bytes.Replace(j.Save(), []byte("FalseFindings"), []byte("FalseLandings"), 1) // a name that this program does not have
	next = New(set)
	if err := next.Restore(sealed(state)); err != nil {
		t.Fatal(err)
	}
	if plainText(next) != plainText(j) {
		t.Error("a setting that was not there made the zones strangers")
	}
}

// sealed gives bytes the checksum that they should have.
func sealed(state []byte) []byte {
	body := state[:len(state)-4]
	sum := crc32.Checksum(body, castagnoli)
	return append(slices.Clone(body), byte(sum>>24), byte(sum>>16), byte(sum>>8), byte(sum))
}

// Damaged bytes are refused, and leave the judge as it was.
func TestDamagedState(t *testing.T) {
	set, j := aged(t)
	state := j.Save()
	next := New(set)
	fresh := plainText(next)
	refused := func(what string, b []byte) {
		t.Helper()
		if err := next.Restore(b); err == nil {
			t.Fatalf("%s was taken", what)
		}
	}
	for i := range state {
		b := slices.Clone(state)
		b[i] ^= 1 << (i % 8)
		refused(fmt.Sprint("a change at byte ", i), b)
	}
	for n := range len(state) {
		if n < 100 || n%37 == 0 {
			refused(fmt.Sprint("the first bytes, ", n), state[:n])
			if n > 30 {
				refused("what breaks off, with its checksum", sealed(state[:n]))
			}
		}
	}
	refused("a byte too many", sealed(append(slices.Clone(state), 0)))
	b := slices.Clone(state)
	b[len(stateMark)]++
	refused("another version", sealed(b))
	if plainText(next) != fresh {
		t.Error("bytes that were refused have changed the judge")
	}
	if err := next.Restore(state); err != nil || plainText(next) != plainText(j) {
		t.Errorf("the sound state was not taken: %v", err)
	}
}

// FuzzRestore restores nonsense under a right checksum: nothing panics, and what was refused leaves the judge as it was.
func FuzzRestore(f *testing.F) {
	z := newSim(1, 15, allPoints)
	set := Settings{Devices: []string{"north"}, Zones: []ZoneSettings{z.settings()}}
	j := New(set)
	body := func(j *Judge) []byte { b := j.Save(); return b[len(stateMark)+1 : len(b)-4] }
	f.Add(body(j))
	z.fault = simFaults[PairShort]
	for range 40 {
		s := z.next()
		j.Observe(0, &s)
	}
	f.Add(body(j))
	f.Add([]byte("r\x01\x00\x03setz"))
	fresh := plainText(New(set))
	f.Fuzz(func(t *testing.T, body []byte) {
		b := append(append([]byte(stateMark), stateVersion), body...)
		next := New(set)
		if err := next.Restore(sealed(append(b, 0, 0, 0, 0))); err != nil {
			if plainText(next) != fresh {
				t.Error("a refused state has changed the judge")
			}
			return
		}
		again := New(set)
		if err := again.Restore(next.Save()); err != nil {
			t.Errorf("what was restored can not be saved: %v", err)
		}
		for i := range set.Zones {
			next.State(i)
		}
		next.Changes(func(Finding) {})
		next.Active(func(Finding) {})
	})
}

// BenchmarkSave is the saving and restoring of 64 zones; it prints the bytes that they take.
func BenchmarkSave(b *testing.B) {
	set := Settings{Devices: []string{"north"}}
	var sims []*sim
	for k := range 64 {
		z := newSim(uint64(k), 15, allPoints)
		s := z.settings()
		s.Name = fmt.Sprint("zone-", k)
		sims, set.Zones = append(sims, z), append(set.Zones, s)
	}
	j := New(set)
	for range 4 * 60 * 12 {
		for k, z := range sims {
			s := z.next()
			j.Observe(k, &s)
		}
	}
	var state []byte
	for b.Loop() {
		state = j.Save()
		if err := New(set).Restore(state); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(state)), "bytes")
	b.ReportMetric(float64(len(state))/64, "bytes/zone")
}
