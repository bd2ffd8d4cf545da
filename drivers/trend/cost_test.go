package trend

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"path/filepath"
	"runtime"
	"testing"

	"dimwatch/drivers"
)

// stream makes a recording row by row as it is read, so that none of it lies in memory.
type stream struct {
	rows, made int
	rest       []byte
	random     *rand.Rand
}

const streamColumns = 12

func newStream(rows int) *stream {
	s := &stream{rows: rows, random: rand.New(rand.NewPCG(1, 2)), rest: []byte("time")}
	for i := range streamColumns {
		s.rest = fmt.Appendf(s.rest, ",%s", streamColumn(i))
	}
	s.rest = append(s.rest, '\n')
	return s
}

func streamColumn(i int) string { return fmt.Sprintf("z%02d", i) }

func streamNames() (names []string) {
	for i := range streamColumns {
		names = append(names, streamColumn(i))
	}
	return names
}

func (s *stream) Read(p []byte) (int, error) {
	if len(s.rest) == 0 {
		if s.made == s.rows {
			return 0, io.EOF
		}
		// A row in ten is off its place, and some cells are empty: what happens in the field.
		at := 5 * s.made
		if s.made%10 == 3 {
			at += 12
		}
		s.made++
		s.rest = fmt.Appendf(s.rest[:0], "2026-03-%02dT%02d:%02d:%02d.%03d-08:00", 2+at/86400, at/3600%24, at/60%60, at%60, s.made%1000)
		for i := range streamColumns {
			switch {
			case s.random.IntN(50) == 0:
				s.rest = append(s.rest, ',')
			case i%4 == 3:
				s.rest = fmt.Appendf(s.rest, ",%d", s.random.IntN(2))
			default:
				s.rest = fmt.Appendf(s.rest, ",%.2f", s.random.Float64()*100)
			}
		}
		s.rest = append(s.rest, '\n')
	}
	n := copy(p, s.rest)
	s.rest = s.rest[n:]
	return n, nil
}

// TestConstantMemory reads 200,000 rows, some 20 MB, and wants the heap that it had after 10,000.
func TestConstantMemory(t *testing.T) {
	const few, many, most = 10_000, 200_000, 64 << 10 // bytes that the runtime may move: a third of a byte a row
	s := started(t, newStream(many), streamNames()...)
	out := make([]drivers.Reading, streamColumns)
	heap := map[int]uint64{}
	for row := 1; row <= many; row++ {
		if err := s.Read(context.Background(), out); err != nil {
			t.Fatal(err)
		}
		if row == few || row == many {
			var m runtime.MemStats
			runtime.GC()
			runtime.ReadMemStats(&m)
			heap[row] = m.HeapAlloc
		}
	}
	t.Logf("%d bytes, then %d", heap[few], heap[many])
	if heap[many] > heap[few]+most {
		t.Errorf("the heap is %d bytes after %d rows, %d after %d", heap[few], few, heap[many], many)
	}
	if heap[many] > 8<<20 {
		t.Errorf("the heap is %d bytes, too much for a gateway", heap[many])
	}
}

// sample is a recording in memory.
func sample(t testing.TB, rows int) []byte {
	data, err := io.ReadAll(newStream(rows))
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// TestNoAllocation wants a row to cost no allocation, whatever is in it.
func TestNoAllocation(t *testing.T) {
	const runs = 2000
	quoted := append([]byte("time,z00,z01,z02,note\n"), bytes.Repeat([]byte("@,\"1.5\",1e-3,123456789012345678.5,\"a \"\"b\"\", c\"\n"), runs+100)...)
	for i, n := 0, 0; i < len(quoted); i++ {
		if quoted[i] == '@' { // the rows need times that differ: 1,000,000 and up
			quoted = append(quoted[:i], append(fmt.Appendf(nil, "%d", 1_000_000+n), quoted[i+1:]...)...)
			n++
		}
	}
	for name, test := range map[string]struct {
		data    []byte
		columns []string
	}{
		"plain":  {sample(t, runs+100), streamNames()},
		"quoted": {quoted, []string{"z00", "z01", "z02"}},
	} {
		t.Run(name, func(t *testing.T) {
			s := started(t, bytes.NewReader(test.data), test.columns...)
			out := make([]drivers.Reading, len(test.columns))
			ctx, cancel := context.WithCancel(context.Background())
			defer cancel()
			for range 20 {
				s.Read(ctx, out)
			}
			got := testing.AllocsPerRun(runs, func() {
				if err := s.Read(ctx, out); err != nil {
					t.Fatal(err)
				}
			})
			if got != 0 {
				t.Errorf("%v allocations a row", got)
			}
		})
	}
}

// BenchmarkParser reads numbers out of text in memory: split, times, decimals, order. Limit: 5 million cells a second.
func BenchmarkParser(b *testing.B) { benchmark(b, false) }

// BenchmarkParserGzip is the same with the text compressed.
func BenchmarkParserGzip(b *testing.B) { benchmark(b, true) }

func benchmark(b *testing.B, pack bool) {
	const rows = 20_000
	data := sample(b, rows)
	if pack {
		data = compressed(b, string(data))
	}
	out := make([]drivers.Reading, streamColumns)
	b.ReportAllocs()
	read := 0
	for b.Loop() {
		s := started(b, bytes.NewReader(data), streamNames()...)
		for {
			err := s.Read(context.Background(), out)
			if err == io.EOF {
				break
			}
			if err != nil {
				b.Fatal(err)
			}
			read++
		}
	}
	seconds := b.Elapsed().Seconds()
	b.ReportMetric(float64(read)*streamColumns/seconds/1e6, "Mcells/s")
	b.ReportMetric(5, "Mcells/s-limit")
	b.ReportMetric(seconds*1e9/float64(read), "ns/row")
	b.ReportMetric(2000, "ns/row-limit")
}

// FuzzRows reads any text as a recording: it ends, rows come in the order of time, and what is good is a number.
func FuzzRows(f *testing.F) {
	for _, seed := range []string{
		"time,a,b\n10,1,2.5\n20,,x\n", "\xef\xbb\xbftime;a;b\r\n10,5;1,5;\"2\"\r\n", "time\ta\tb\n1970-01-01T00:00:10Z\t1\t2\n",
		"time,a,b,\"c\nd\"\n10,1,2,\"\"\"\n30,1,2,\"x\n20,1,2,\n", "time,a,b\n10,1e400,0x1\n10,,\n5,1,2\n", "time,a\n", "", "\x1f\x8b", "PK\x03\x04", "\xff\xfe",
	} {
		f.Add([]byte(seed))
	}
	f.Add(compressed(f, "time,a,b\n10,1,2\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		s := started(t, bytes.NewReader(data), "a", "b")
		out := make([]drivers.Reading, 2)
		lines := bytes.Count(data, []byte("\n")) + 1
		compressedText := bytes.HasPrefix(data, []byte("\x1f\x8b"))
		last := int64(-1)
		for rows := 0; ; rows++ {
			out[0], out[1] = drivers.Reading{Quality: drivers.Good}, drivers.Reading{Quality: drivers.Good}
			err := s.Read(context.Background(), out)
			noAnswer := errors.Is(err, drivers.ErrNoAnswer)
			if err != nil && !noAnswer {
				if again := s.Read(context.Background(), out); again != err {
					t.Fatalf("after %v comes %v", err, again)
				}
				if err != io.EOF && !errors.Is(err, drivers.ErrReply) {
					t.Fatal(err)
				}
				return
			}
			if !compressedText && rows > lines {
				t.Fatalf("more rows than the %d lines", lines)
			}
			if at := out[0].At.UnixNano(); at <= last || !out[1].At.Equal(out[0].At) {
				t.Fatalf("a row of %d and %d comes after one of %d", at, out[1].At.UnixNano(), last)
			} else {
				last = at
			}
			for i, r := range out {
				if (r.Quality == drivers.Good) == (r.Reason != "") || noAnswer && r.Quality == drivers.Good || r.Value-r.Value != 0 {
					t.Fatalf("reading %d: %+v (%v)", i, r, err)
				}
			}
		}
	})
}

// BenchmarkReview reads a compressed file through two devices in turn, as review does.
func BenchmarkReview(b *testing.B) {
	const rows = 20_000
	dir := b.TempDir()
	put(b, filepath.Join(dir, "trend.csv.gz"), string(sample(b, rows)))
	names := streamNames()
	out := make([]drivers.Reading, streamColumns/2)
	read := 0
	for b.Loop() {
		sources := opened(b, device(b, "north", dir, `file = "trend.csv.gz"`, names[:6]...), device(b, "south", dir, `file = "trend.csv.gz"`, names[6:]...))
		for ended := false; !ended; read++ {
			for _, s := range sources {
				switch err := s.Read(context.Background(), out); {
				case err == io.EOF:
					ended = true
				case err != nil && !errors.Is(err, drivers.ErrNoAnswer):
					b.Fatal(err)
				}
			}
		}
	}
	seconds := b.Elapsed().Seconds()
	b.ReportMetric(float64(read)/seconds/1e6, "Mrows/s")
	b.ReportMetric(0.2, "Mrows/s-limit")
}
