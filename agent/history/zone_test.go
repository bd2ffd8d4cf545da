package history

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"
	"unsafe"

	"github.com/google/go-cmp/cmp"
)

var nan = math.NaN()

const second = int64(time.Second)

// noon is a whole minute.
var noon = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC).UnixNano()

func pending(z *Zone) (list []Minute) {
	z.Pending(func(m *Minute) { list = append(list, *m) })
	return list
}

// A minute has least, mean and most of what was known in it, is there when the next begins, and goes when it is committed.
func TestMinutes(t *testing.T) {
	z := NewZone(20 * time.Second)
	for i, v := range [][Channels]float64{
		{50, 40, 30, 1000, nan}, {50, 60, nan, 2000, nan}, {50, 80, 33, nan, nan}, // 12:00
		{nan, nan, nan, nan, nan}, // 12:01: nothing was read
		{10, 10, 10, 10, 500},     // 12:02
		{20, 20, 20, 20, 600},     // 12:03
	} {
		at := noon + int64(i)*20*second
		if i > 2 {
			at = noon + int64(i-2)*60*second
		}
		z.Observe(&Sample{At: at}, &v)
	}
	first := Minute{At: noon / 60 / second, Samples: 3, Has: 0b01111, Stats: [Channels]Stat{
		{50, 50, 50}, {40, 60, 80}, {30, 31.5, 33}, {1000, 1500, 2000},
	}}
	second := Minute{At: first.At + 2, Samples: 1, Has: 0b11111, Stats: [Channels]Stat{
		{10, 10, 10}, {10, 10, 10}, {10, 10, 10}, {10, 10, 10}, {500, 500, 500},
	}}
	if diff := cmp.Diff([]Minute{first, second}, pending(z)); diff != "" {
		t.Error(diff)
	}
	z.Kept(first.At)
	if diff := cmp.Diff([]Minute{second}, pending(z)); diff != "" {
		t.Error(diff)
	}
	z.Close()
	if got := pending(z); len(got) != 2 || got[1].At != first.At+3 || got[1].Stats[Daylight].Mean != 600 {
		t.Errorf("the last minute is not closed: %+v", got)
	}
}

// Minutes that nobody commits are dropped from the oldest on, and counted.
func TestMinutesAreBounded(t *testing.T) {
	z := NewZone(time.Minute)
	for i := range 100 {
		z.Observe(&Sample{At: noon + int64(i)*60*second}, &[Channels]float64{float64(i), nan, nan, nan, nan})
	}
	got := pending(z)
	if len(got) != pendingMinutes || got[0].Stats[Setpoint].Mean != 69 || got[len(got)-1].Stats[Setpoint].Mean != 98 {
		t.Errorf("%d minutes from %v to %v", len(got), got[0].Stats[Setpoint], got[len(got)-1].Stats[Setpoint])
	}
	if z.Dropped() != 69 {
		t.Errorf("%d dropped", z.Dropped())
	}
}

// The ring has the newest samples in order and to the bit, and gives those of a span of time.
func TestSamples(t *testing.T) {
	z := NewZone(time.Minute)
	r := rand.New(rand.NewPCG(3, 4))
	var want []Sample
	for i := range 5000 {
		s := Sample{At: noon + int64(i)*second + r.Int64N(second), Raw: [Roles]float32{float32(r.IntN(1000)), float32(r.IntN(4096)), 0, 1, float32(i), float32(math.NaN())}}
		switch r.IntN(50) {
		case 0:
			s.Raw[0] = float32(r.NormFloat64())
		case 1:
			s.Raw[2] = float32(math.Copysign(0, -1))
		case 2:
			s.Raw[1] = 1 << 30
		}
		want = append(want, s)
		z.Observe(&s, &[Channels]float64{})
		z.Observe(&Sample{At: noon - 1}, &[Channels]float64{}) // comes too late
	}
	var got []Sample
	z.Samples(0, math.MaxInt64, func(s *Sample) { got = append(got, *s) })
	if len(got) < leastBlocks*blockBytes/20 || len(got) > leastBlocks*blockBytes/6 {
		t.Fatalf("%d samples are kept", len(got))
	}
	if diff := cmp.Diff(want[len(want)-len(got):], got, sameBits); diff != "" {
		t.Error(diff)
	}
	n := len(got)
	got = nil
	z.Samples(want[4900].At, want[4903].At, func(s *Sample) { got = append(got, *s) })
	if diff := cmp.Diff(want[4901:4904], got, sameBits); diff != "" {
		t.Error(diff)
	}
	t.Logf("%d samples in %d KiB", n, leastBlocks)
}

var sameBits = cmp.Comparer(func(a, b float32) bool { return math.Float32bits(a) == math.Float32bits(b) })

// What is written is read: levels to a hundredth of a percent, the rest and all samples to the bit.
func TestEncoding(t *testing.T) {
	m := Minute{At: 29_000_000, Samples: 12, Has: 0b11101, Stats: [Channels]Stat{
		Setpoint: {-12.34, 56.78, 100}, Feedback: {0, 0.01, 327.67}, Power: {0.1, 1e6, 3e38}, Daylight: {-1, 0, 1234.5},
	}}
	b := m.Append(nil)
	got, err := DecodeMinute(m.At, b)
	if diff := cmp.Diff(m, got); diff != "" || err != nil {
		t.Error(err, diff)
	}
	for n := range b {
		if _, err := DecodeMinute(1, b[:n]); err == nil {
			t.Errorf("%d of %d bytes are a minute", n, len(b))
		}
	}
	m.Stats[Setpoint] = Stat{-1e9, 1e9, 50}
	if got, err := DecodeMinute(1, m.Append(nil)); err != nil || got.Stats[Setpoint] != (Stat{-327.68, 327.67, 50}) {
		t.Errorf("what does not fit becomes %v, %v", got.Stats[Setpoint], err)
	}

	r := rand.New(rand.NewPCG(1, 2))
	var w Writer
	var want []Sample
	at := noon
	for range 500 {
		at += 4*second + r.Int64N(2*second)
		s := Sample{At: at, Raw: [Roles]float32{float32(r.IntN(2)), float32(r.IntN(4096)), float32(r.NormFloat64()), 1, float32(nan), 7}}
		w.Add(&s)
		want = append(want, s)
	}
	list, err := DecodeSamples(w.Bytes)
	if diff := cmp.Diff(want, list, sameBits); diff != "" || err != nil {
		t.Error(err, diff)
	}
	t.Logf("%.1f bytes a sample", float64(len(w.Bytes))/500)
	if _, err := DecodeSamples(w.Bytes[:len(w.Bytes)-1]); err == nil {
		t.Error("samples that were cut off are read")
	}
}

// Nothing that stands in a file makes the decoders fail otherwise than with an error.
func FuzzDecode(f *testing.F) {
	m := Minute{Has: 31}
	f.Add(m.Append(nil))
	var w Writer
	w.Add(&Sample{At: noon})
	w.Add(&Sample{At: noon + 1})
	f.Add(w.Bytes)
	f.Fuzz(func(t *testing.T, b []byte) {
		if m, err := DecodeMinute(1, b); err == nil && len(m.Append(nil)) != len(b) {
			t.Errorf("%x is read as %+v", b, m)
		}
		if list, err := DecodeSamples(b); err == nil && len(b) > 0 && len(list) == 0 {
			t.Errorf("%x is read as nothing", b)
		}
	})
}

// Observing allocates nothing, and the size of a zone and the reach of its ring are what the comment of the package says.
func TestCost(t *testing.T) {
	for _, c := range []struct {
		cycle    time.Duration
		bytes    int
		least    time.Duration
		fraction bool
	}{
		{time.Second, 40_000, 45 * time.Minute, false},
		{5 * time.Second, 17_000, 90 * time.Minute, false},
		{5 * time.Second, 17_000, 30 * time.Minute, true},
		{15 * time.Second, 10_000, 100 * time.Minute, false},
		{time.Hour, 10_000, 24 * time.Hour, false},
	} {
		z := NewZone(c.cycle)
		r := rand.New(rand.NewPCG(5, 6))
		s, v := Sample{At: noon}, [Channels]float64{50, 50, 50, 900, 1000}
		observe := func() {
			s.At += int64(c.cycle) + r.Int64N(2e6) - 1e6
			s.Raw = [Roles]float32{500, float32(500 + r.IntN(20)), float32(2400 + r.IntN(20)), 1, float32(700 + r.IntN(10)), float32(3000 + r.IntN(50))}
			if c.fraction {
				s.Raw[4] += r.Float32()
			}
			z.Observe(&s, &v)
		}
		if n := testing.AllocsPerRun(8000, observe); n != 0 {
			t.Errorf("a sample allocates %v times", n)
		}
		count, first := 0, int64(0)
		z.Samples(0, math.MaxInt64, func(x *Sample) {
			if count++; count == 1 {
				first = x.At
			}
		})
		size := int(unsafe.Sizeof(*z)) + cap(z.blocks)*int(unsafe.Sizeof(block{}))
		reach := time.Duration(s.At - first).Round(time.Minute)
		t.Logf("at %v, fractions %v: a zone takes %d bytes, 64 zones %.1f MB; %d samples of %.1f bytes reach back %v", c.cycle, c.fraction,
			size, 64e-6*float64(size), count, float64(len(z.blocks)*blockBytes)/float64(count), reach)
		if size > c.bytes {
			t.Errorf("a zone takes %d bytes", size)
		}
		if reach < c.least {
			t.Errorf("the ring reaches back %v", reach)
		}
	}
}
