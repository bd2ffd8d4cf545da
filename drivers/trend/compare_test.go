package trend

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"dimwatch/drivers"

	"pgregory.net/rapid"
)

// started is a source on a text that lies nowhere: the seam below the file.
func started(t testing.TB, in io.Reader, columns ...string) *Source {
	t.Helper()
	s := opened(t, device(t, "log", "/nowhere", `file = "x.csv"`, columns...))[0]
	r := s.recording
	r.opened = true
	r.err = r.start(in)
	return s
}

// TestSameAsStandardLibrary writes random files with encoding/csv and wants what encoding/csv and strconv read.
func TestSameAsStandardLibrary(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		comma := rapid.SampledFrom([]rune{',', ';', '\t'}).Draw(rt, "separator")
		width := rapid.IntRange(1, 8).Draw(rt, "columns")
		var file bytes.Buffer
		w := csv.NewWriter(&file)
		w.Comma = comma
		w.UseCRLF = rapid.Bool().Draw(rt, "CR LF")
		header := []string{"time"}
		for i := range width {
			header = append(header, fmt.Sprintf("c%d %s", i, rapid.SampledFrom([]string{"", `"`, ",", ";", "\t", "x\ny"}).Draw(rt, "name")))
		}
		w.Write(header)
		cell := rapid.OneOf(
			rapid.Map(rapid.Float64Range(-1000, 5000), func(v float64) string { return strconv.FormatFloat(v, 'f', 2, 64) }),
			rapid.Map(rapid.Float64(), func(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }),
			rapid.SampledFrom([]string{"", "0", "1", "n/a", `say "x"`, "a,b;c\td", "two\nlines", "x"}))
		rows := rapid.IntRange(1, 40).Draw(rt, "rows")
		for i := range rows {
			record := []string{strconv.Itoa(1_700_000_000 + i*5)}
			for range width {
				record = append(record, cell.Draw(rt, "cell"))
			}
			w.Write(record)
		}
		w.Flush()

		// Columns asked for: some, in any order.
		asked := rapid.Permutation(indexes(width)).Draw(rt, "asked")[:rapid.IntRange(1, width).Draw(rt, "how many")]
		var names []string
		for _, i := range asked {
			names = append(names, strings.TrimSpace(header[i+1]))
		}
		reader := csv.NewReader(bytes.NewReader(file.Bytes()))
		reader.Comma = comma
		records, err := reader.ReadAll()
		if err != nil {
			rt.Fatal(err)
		}

		s := started(t, &drip{r: &file, most: rapid.IntRange(1, 3000).Draw(rt, "bytes at once")}, names...)
		out := make([]drivers.Reading, len(names))
		for _, record := range records[1:] {
			err := s.Read(context.Background(), out)
			if err != nil && !errors.Is(err, drivers.ErrNoAnswer) {
				rt.Fatal(err)
			}
			if got := strconv.FormatInt(out[0].At.Unix(), 10); got != record[0] {
				rt.Fatalf("time %s, want %s", got, record[0])
			}
			for i, place := range asked {
				text := record[place+1]
				want, err := strconv.ParseFloat(text, 64)
				good := err == nil && !math.IsInf(want, 0) && !math.IsNaN(want)
				if good != (out[i].Quality == drivers.Good) || good && math.Float64bits(want) != math.Float64bits(out[i].Value) {
					rt.Fatalf("column %q: %+v, its text is %q", names[i], out[i], text)
				}
				if (text == "") != (out[i].Reason == "no reading") {
					rt.Fatalf("column %q: %+v, its text is %q", names[i], out[i], text)
				}
			}
		}
		if err := s.Read(context.Background(), out); err != io.EOF {
			rt.Fatalf("at the end: %v", err)
		}
	})
}

func indexes(n int) []int {
	all := make([]int, n)
	for i := range all {
		all[i] = i
	}
	return all
}

// drip gives a few bytes at a time.
type drip struct {
	r    io.Reader
	most int
}

func (d *drip) Read(p []byte) (int, error) { return d.r.Read(p[:min(len(p), d.most)]) }

// TestOrderLaw shuffles rows by up to ten places and wants the sorted file, and with more than that never a row out of
// order.
func TestOrderLaw(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		late := rapid.IntRange(0, 20).Draw(rt, "late")
		n := rapid.IntRange(1, 80).Draw(rt, "rows")
		// Each row is moved back behind at most `late` rows that come after it: sort by place plus delay.
		type moved struct{ row, key int }
		order := make([]moved, n)
		for i := range order {
			order[i] = moved{i, i + rapid.IntRange(0, late).Draw(rt, "delay")}
		}
		for i := range order { // stable insertion sort: rows of one key stay in order
			for j := i; j > 0 && order[j-1].key > order[j].key; j-- {
				order[j-1], order[j] = order[j], order[j-1]
			}
		}
		var file strings.Builder
		file.WriteString("time,a\n")
		for _, m := range order {
			fmt.Fprintf(&file, "%d,%d\n", 1000+m.row, m.row)
		}
		s := started(t, strings.NewReader(file.String()), "a")
		out := make([]drivers.Reading, 1)
		last, got := -1.0, 0
		for s.Read(context.Background(), out) == nil {
			if out[0].Value <= last || out[0].At.Unix() != 1000+int64(out[0].Value) {
				rt.Fatalf("row %v of time %v comes after row %v", out[0].Value, out[0].At.Unix(), last)
			}
			last = out[0].Value
			got++
		}
		problems := s.Recording().Problems()
		if got+int(problems.Count(LateRow)) != n || late <= maxLate && got != n {
			rt.Fatalf("%d rows of %d, with delays up to %d: %q", got, n, late, problems.Summary())
		}
	})
}

// TestRecordings reads every recording in the folder that DIMWATCH_TRENDS names, through encoding/csv too.
func TestRecordings(t *testing.T) {
	root := os.Getenv("DIMWATCH_TRENDS")
	if root == "" {
		t.Skip("skipped: DIMWATCH_TRENDS names no folder with recordings")
	}
	files, err := filepath.Glob(filepath.Join(root, "*", "trend.csv.gz"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no recording under %s (%v)", root, err)
	}
	for _, path := range files {
		t.Run(filepath.Base(filepath.Dir(path)), func(t *testing.T) {
			reference := standard(t, path)
			s := opened(t, device(t, "log", "", fmt.Sprintf("file = %q", path), reference.names...))[0]
			out := make([]drivers.Reading, len(reference.names))
			rows := 0
			for ; ; rows++ {
				err := s.Read(context.Background(), out)
				if err == io.EOF {
					break
				}
				if err != nil && !errors.Is(err, drivers.ErrNoAnswer) {
					t.Fatal(err)
				}
				want, ok := reference.rows[out[0].At.UnixNano()]
				if !ok {
					t.Fatalf("a row of %v is not in the file", out[0].At)
				}
				for i, text := range want {
					value, err := strconv.ParseFloat(text, 64)
					if (err == nil) != (out[i].Quality == drivers.Good) || err == nil && value != out[i].Value {
						t.Fatalf("%v %s: %+v, its text is %q", out[i].At, reference.names[i], out[i], text)
					}
				}
			}
			problems := s.Recording().Problems()
			if problems.Lost() > 0 || rows != len(reference.rows) {
				t.Errorf("%d rows of %d, %q: %v", rows, len(reference.rows), problems.Summary(), problems.First())
			}
		})
	}
}

// reference is a recording as the standard library reads it: the first row of each time.
type reference struct {
	names []string
	rows  map[int64][]string
}

func standard(t *testing.T, path string) reference {
	t.Helper()
	file, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	unpacked, err := gzip.NewReader(file)
	if err != nil {
		t.Fatal(err)
	}
	records, err := csv.NewReader(unpacked).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	ref := reference{names: records[0][1:], rows: map[int64][]string{}}
	for _, record := range records[1:] {
		at, err := time.Parse(time.RFC3339Nano, record[0])
		if err != nil {
			whole, part, _ := strings.Cut(record[0], ".")
			seconds, err := strconv.ParseInt(whole, 10, 64)
			nanos, partErr := strconv.ParseInt((part + "000000000")[:9], 10, 64)
			if err != nil || partErr != nil {
				t.Fatalf("time %q", record[0])
			}
			at = time.Unix(seconds, nanos)
		}
		if _, seen := ref.rows[at.UnixNano()]; !seen {
			ref.rows[at.UnixNano()] = record[1:]
		}
	}
	return ref
}
