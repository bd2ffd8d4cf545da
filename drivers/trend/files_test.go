package trend

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/iotest"

	"dimwatch/drivers"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

// TestFiles reads whole files: what is in them, and what is reported.
func TestFiles(t *testing.T) {
	tests := []struct {
		name, file string
		columns    string   // asked for, separated by spaces; "a b" where empty
		rows       []string // as readAll gives them
		problems   []string // those kept, then the summary
	}{
		{name: "plain", file: "time,a,b\n10,1,2.5\n20,0,-3\n", rows: []string{"10 1 2.5", "20 0 -3"}},
		{name: "no newline at the end", file: "time,a,b\n10,1,2", rows: []string{"10 1 2"}},
		{name: "header only", file: "time,a,b\n", rows: nil},
		{name: "time in any case", file: "Time,a,b\n10,1,2\n", rows: []string{"10 1 2"}},
		{name: "columns in any order", file: "time,b,x,a\n10,1,text,2\n", rows: []string{"10 2 1"}},
		{name: "one column twice", file: "time,a\n10,1\n", columns: "a a", rows: []string{"10 1 1"}},
		{name: "CR LF", file: "time,a,b\r\n10,1,2\r\n20,3,\r\n", rows: []string{"10 1 2", "20 3 -"}},
		{name: "BOM", file: "\xef\xbb\xbftime,a,b\n10,1,2\n", rows: []string{"10 1 2"}},
		{name: "BOM and quotes", file: "\xef\xbb\xbf\"time\";\"a\";b\n10;1;2\n", rows: []string{"10 1 2"}},
		{name: "blank lines", file: "\n\r\ntime,a,b\n\n10,1,2\n\r\n\n20,3,4\n\n", rows: []string{"10 1 2", "20 3 4"}},
		{name: "spaces around", file: "time, a ,\tb\n 10 , 1,2 \n", rows: []string{"10 1 2"}},
		{name: "separators at the end", file: "time;a;b;;\n10;1;2;;\n20;3;4\n", rows: []string{"10 1 2", "20 3 4"}},

		{name: "semicolon and decimal comma", file: "time;a;b\n10,5;1,25;-0,5\n20;3;4\n", rows: []string{"10.5 1.25 -0.5", "20 3 4"}},
		{name: "semicolon and decimal point", file: "time;a;b\n10.5;1.25;.5\n", rows: []string{"10.5 1.25 0.5"}},
		{name: "two decimal marks in one file", file: "time;a;b\n10;1;2,5\n20;1.5;3,5\n",
			rows:     []string{"10 1 2.5", "20 <bad: not a number> 3.5"},
			problems: []string{`line 3: column "a": "1.5" is not a number`, "cells that are no number: 1"}},
		{name: "thousands are not guessed", file: "time;a;b\n10;1.234,5;2\n",
			rows:     []string{"10 <bad: not a number> 2"},
			problems: []string{`line 2: column "a": "1.234,5" is not a number`, "cells that are no number: 1"}},
		{name: "decimal comma among commas", file: "time,a,b\n10,\"1,5\",2\n20,1,5,2\n",
			rows: []string{"10 <bad: not a number> 2"},
			problems: []string{`line 2: column "a": "1,5" is not a number`, "line 3: 4 fields where the header has 3",
				"cells that are no number: 1", "rows that do not fit the header: 1"}},
		{name: "tabs", file: "time\ta\tb\n10\t1,5\t2\n20\t\t3\n", rows: []string{"10 1.5 2", "20 - 3"}},

		{name: "quotes", file: "\"time\",\"a\",\"the \"\"b\"\", so to say\",note\n\"10\",\"1\",\"2\",\"left, right; \"\"up\"\"\nand down\r\nagain\"\n20,3,4,\"\"\n",
			columns: "a the_\"b\",_so_to_say", rows: []string{"10 1 2", "20 3 4"}},
		{name: "a quote inside a field", file: "time,a,b,note\n10,1,2,12\" pipe\n20,3,4,\n", rows: []string{"10 1 2", "20 3 4"}},
		{name: "a quote that is never closed", file: "time,a,b,note\n10,1,2,\"oops\n20,3,4,\n30,5,6,\n",
			rows:     []string{"20 3 4", "30 5 6"},
			problems: []string{"line 2: a quote is in the wrong place or is never closed", "rows that do not fit the header: 1"}},
		{name: "a quote closed by a later one", file: "time,a,b,note\n10,1,2,\"oops\n20,3,4,\"fine\"\n30,5,6,\n",
			rows:     []string{"20 3 4", "30 5 6"},
			problems: []string{"line 2: a quote is in the wrong place or is never closed", "rows that do not fit the header: 1"}},
		{name: "a quote and many lines", file: "time,a,b,note\n10,1,2,\"oops\n" + numbered(20, 100) + "999,3,4,\"\n1000,5,6,\n",
			columns: "a", rows: append(split(strings.ReplaceAll(numbered(20, 100), ",5,6,", " 5")), "1000 5"),
			problems: []string{"line 2: a quote is in the wrong place or is never closed", "line 103: a quote is in the wrong place or is never closed",
				"rows that do not fit the header: 2"}},
		{name: "line numbers count newlines in quotes", file: "time,a,b\n10,\"\n\n\n\",2\nx,1,2\n",
			rows: []string{"10 <bad: not a number> 2"},
			problems: []string{`line 2: column "a": "\n\n\n" is not a number`,
				`line 6: the time "x" is neither RFC 3339 (2026-03-02T08:15:00-08:00) nor seconds since 1970`,
				"cells that are no number: 1", "rows whose time cannot be read: 1"}},

		{name: "empty cells", file: "time,a,b\n10,,2\n20, ,\"\"\n30,1,\n", rows: []string{"10 - 2", "20 - - no answer", "30 1 -"}},
		{name: "bad cells", file: "time,a,b,c\n10,n/a,2,x\n20,NaN,inf,x\n30,0x10,1_000,x\n40,1e999,1e-999,x\n",
			rows: []string{"10 <bad: not a number> 2", "20 <bad: not a number> <bad: not a number>",
				"30 <bad: not a number> <bad: not a number>", "40 <bad: out of range> 0"},
			problems: []string{`line 2: column "a": "n/a" is not a number`, `line 3: column "a": "NaN" is not a number`,
				`line 3: column "b": "inf" is not a number`, `line 4: column "a": "0x10" is not a number`,
				`line 4: column "b": "1_000" is not a number`, "cells that are no number: 6"}},
		{name: "bad and empty is an answer", file: "time,a,b\n10,?,\n", rows: []string{"10 <bad: not a number> -"},
			problems: []string{`line 2: column "a": "?" is not a number`, "cells that are no number: 1"}},
		{name: "a row cut short", file: "time,a,b\n10,1,2\n20,1\n30,5,6\n", rows: []string{"10 1 2", "30 5 6"},
			problems: []string{"line 3: 2 fields where the header has 3", "rows that do not fit the header: 1"}},

		{name: "times of RFC 3339", file: "time,a,b\n1970-01-01T00:00:10Z,1,2\n1970-01-01T01:00:20.25+01:00,3,4\n1969-12-31 23:00:30,5-01:00,5,6\n1969-12-31t19:00:40-05:00,7,8\n",
			rows:     []string{"10 1 2", "20.25 3 4", "40 7 8"},
			problems: []string{"line 4: 4 fields where the header has 3", "rows that do not fit the header: 1"}},
		{name: "both forms of time", file: "time,a,b\n10,1,2\n1970-01-01T00:00:20Z,3,4\n30.000000001,5,6\n", rows: []string{"10 1 2", "20 3 4", "30.000000001 5 6"}},
		{name: "bad times", file: "time,a,b\n,1,2\n10,1,2\n1970-01-01T00:00:20,3,4\n1771117200000,5,6\n2026-02-30T00:00:00Z,7,8\n-5,9,9\n40,1,2\n",
			rows: []string{"10 1 2", "40 1 2"},
			problems: []string{
				`line 2: the time "" is neither RFC 3339 (2026-03-02T08:15:00-08:00) nor seconds since 1970`,
				`line 4: the time "1970-01-01T00:00:20" is without an offset from UTC: add Z or an offset such as +01:00`,
				`line 5: the time "1771117200000" is outside the years 1970 to 2261 (whole seconds are wanted, not milliseconds)`,
				`line 6: the time "2026-02-30T00:00:00Z" is neither RFC 3339 (2026-03-02T08:15:00-08:00) nor seconds since 1970`,
				`line 7: the time "-5" is neither RFC 3339 (2026-03-02T08:15:00-08:00) nor seconds since 1970`,
				"rows whose time cannot be read: 5"}},

		{name: "two rows changed places", file: "time,a,b\n10,1,2\n30,5,6\n20,3,4\n40,7,8\n", rows: []string{"10 1 2", "20 3 4", "30 5 6", "40 7 8"},
			problems: []string{`line 4: "20" comes late and is put in its place`, "rows put in order: 1"}},
		{name: "ten rows late", file: "time,a,b\n" + numbered3(20, 10) + "10,0,0\n", columns: "a",
			rows:     append([]string{"10 0"}, split(strings.ReplaceAll(numbered3(20, 10), ",5,6", " 5"))...),
			problems: []string{`line 12: "10" comes late and is put in its place`, "rows put in order: 1"}},
		{name: "eleven rows late", file: "time,a,b\n" + numbered3(20, 11) + "10,0,0\n99,5,6\n", columns: "a",
			rows:     append(split(strings.ReplaceAll(numbered3(20, 11), ",5,6", " 5")), "99 5"),
			problems: []string{`line 13: "10" comes more than 10 rows too late and is left out`, "rows that came too late to be put in order: 1"}},
		{name: "one time twice", file: "time,a,b\n10,1,2\n10,3,4\n20,5,6\n1970-01-01T00:00:10Z,7,8\n", rows: []string{"10 1 2", "20 5 6"},
			problems: []string{`line 3: "10" has come before; the first row with it counts`,
				`line 5: "1970-01-01T00:00:10Z" has come before; the first row with it counts`, "rows with the time of an earlier one: 2"}},
		{name: "twice, and given already", file: "time,a,b\n" + numbered3(20, 11) + "20,0,0\n", columns: "a",
			rows:     split(strings.ReplaceAll(numbered3(20, 11), ",5,6", " 5")),
			problems: []string{`line 13: "20" has come before; the first row with it counts`, "rows with the time of an earlier one: 1"}},
		{name: "no such row", file: "time,a,b\n10,1,2\n4000,3,4\n", rows: []string{"10 1 2", "4000 3 4"}},
		{name: "only the first five of a kind", file: "time,a,b\n" + strings.Repeat("x,1,2\n", 9) + "10,1,2\n10,1,\n",
			rows: []string{"10 1 2"},
			problems: append(repeat(5, func(i int) string {
				return fmt.Sprintf(`line %d: the time "x" is neither RFC 3339 (2026-03-02T08:15:00-08:00) nor seconds since 1970`, i+2)
			}), `line 12: "10" has come before; the first row with it counts`, "rows whose time cannot be read: 9", "rows with the time of an earlier one: 1")},
		{name: "a row without end", file: "time,a,b\n10,1,2\n" + strings.Repeat("x", 3*maxRow) + "\n20,3,4\n", rows: []string{"10 1 2", "20 3 4"},
			problems: []string{"line 3: row is longer than 1 MiB", "rows that do not fit the header: 1"}},
		{name: "a long row", file: "time,a," + strings.Repeat("x", maxRow/2) + ",b\n10,1,,2\n", rows: []string{"10 1 2"}},
	}
	for _, test := range tests {
		for _, ending := range []string{".csv", ".csv.gz"} {
			t.Run(test.name+ending, func(t *testing.T) {
				columns := []string{"a", "b"}
				if test.columns != "" {
					columns = strings.Fields(test.columns)
					for i := range columns {
						columns[i] = strings.ReplaceAll(columns[i], "_", " ")
					}
				}
				s := one(t, ending, test.file, columns...)
				rows, err := readAll(t, s)
				if err != io.EOF {
					t.Errorf("it ended with %v", err)
				}
				if diff := cmp.Diff(test.rows, rows); diff != "" {
					t.Errorf("rows, want - got +:\n%s", diff)
				}
				problems := s.Recording().Problems()
				var told []string
				for _, p := range problems.First() {
					told = append(told, p.String())
				}
				if diff := cmp.Diff(test.problems, append(told, problems.Summary()...)); diff != "" {
					t.Errorf("problems, want - got +:\n%s", diff)
				}
				if got := s.Recording().Rows(); got != uint64(len(rows)) {
					t.Errorf("Rows is %d after %d", got, len(rows))
				}
				if read, size := s.Recording().Progress(); read != size || size == 0 {
					t.Errorf("Progress at the end: %d of %d bytes", read, size)
				}
			})
		}
	}
}

// numbered is rows "20,5,6," "21,5,6," and so on; numbered3 has no note.
func numbered(from, n int) string {
	return strings.Join(repeat(n, func(i int) string { return fmt.Sprintf("%d,5,6,\n", from+i) }), "")
}

func numbered3(from, n int) string { return strings.ReplaceAll(numbered(from, n), ",\n", "\n") }

func repeat(n int, f func(int) string) (texts []string) {
	for i := range n {
		texts = append(texts, f(i))
	}
	return texts
}

func split(text string) []string { return strings.Split(strings.TrimSuffix(text, "\n"), "\n") }

// TestFilesThatFail has files that are no recordings, or only half of one. FILE stands for the path.
func TestFilesThatFail(t *testing.T) {
	good := "time,a,b\n" + numbered3(10, 1000)
	packed := string(compressed(t, good))
	damaged := []byte(packed)
	damaged[len(damaged)-8] ^= 1 // the checksum of RFC 1952 section 2.3.1
	tests := []struct {
		name, file string
		rows       int
		want       string
		is         error
	}{
		{"empty", "", 0, "trend FILE: the file is empty: see whether the recorder writes it, or name another in `file`", drivers.ErrReply},
		{"blank", "\n\r\n\n", 0, "trend FILE: the file is empty: see whether the recorder writes it, or name another in `file`", drivers.ErrReply},
		{"BOM alone", "\xef\xbb\xbf", 0, "trend FILE: the file is empty: see whether the recorder writes it, or name another in `file`", drivers.ErrReply},
		{"empty and compressed", string(compressed(t, "")), 0, "trend FILE: the file is empty: see whether the recorder writes it, or name another in `file`", drivers.ErrReply},
		{"column missing", "time,b,A\n10,1,2\n", 0, `trend FILE: line 1: there is no column "a" (point a of device log), did you mean "A"?; the columns are ["b" "A"]`, drivers.ErrReply},
		{"columns missing", "time,x\n10,1,2\n", 0, `trend FILE: line 1: there is no column "a" (point a of device log); there is no column "b" (point b of device log); the columns are ["x"]`, drivers.ErrReply},
		{"column twice", "time,a,b,a\n10,1,2,3\n", 0, `trend FILE: line 1: the column "a" (point a of device log) is there twice: give one of them another name; the columns are ["a" "b" "a"]`, drivers.ErrReply},
		{"no header", "2026-03-02T00:00:00Z,1,2\n", 0, `trend FILE: line 1: the first column is "2026-03-02T00:00:00Z", not "time": the first line must name the columns, the first of them time`, drivers.ErrReply},
		{"quote in the header", "time,\"a\"x,b\n10,1,2\n", 0, `trend FILE: line 1: a quote is in the wrong place or is never closed: the first line must name the columns, such as time,z01_setpoint`, drivers.ErrReply},
		{"CR alone", "time,a,b\r10,1,2\r", 0, "trend FILE: line 1: lines end in CR alone: save the file with LF or CR LF", drivers.ErrReply},
		{"a first line without end", "time," + strings.Repeat("x", maxRow), 0, "trend FILE: line 1: row is longer than 1 MiB: the first line must name the columns, such as time,z01_setpoint", drivers.ErrReply},
		{"long bad time", "time,a,b\n" + strings.Repeat("x", 50) + ",1,2\n", 0, "trend FILE: no row can be used: rows whose time cannot be read: 1; the first: " +
			"line 2: the time \"" + strings.Repeat("x", 40) + "\"... is neither RFC 3339 (2026-03-02T08:15:00-08:00) nor seconds since 1970", drivers.ErrReply},
		{"UTF-16", "\xff\xfet\x00i\x00", 0, "trend FILE: the text is UTF-16: save it as UTF-8", drivers.ErrReply},
		{"zip", "PK\x03\x04rest", 0, "trend FILE: this is a zip archive or a spreadsheet: unpack it, or save it as CSV", drivers.ErrReply},
		{"no row of use", "time,a,b\nx,1,2\n10,1\n", 0, "trend FILE: no row can be used: rows whose time cannot be read: 1, rows that do not fit the header: 1; the first: " +
			`line 2: the time "x" is neither RFC 3339 (2026-03-02T08:15:00-08:00) nor seconds since 1970`, drivers.ErrReply},
		{"gzip of two bytes", "\x1f\x8b", 0, "trend FILE: the compressed text ends too early, after 0 lines: copy the file again, or wait until the recorder has closed it", drivers.ErrReply},
		{"gzip that breaks in the header", "\x1f\x8b\x08\x00\x00\x00\x00\x00\x00\xff\x07", 0, "trend FILE: the compressed text is damaged after 0 lines: copy the file again", drivers.ErrReply}, // block type 3, RFC 1951 section 3.2.3
		{"gzip without its end", packed[:len(packed)-8], 1000, "trend FILE: the compressed text ends too early, after 1001 lines: copy the file again, or wait until the recorder has closed it", io.ErrUnexpectedEOF},
		{"gzip with a wrong checksum", string(damaged), 1000, "trend FILE: the checksum of the compressed text is wrong, so that values before it may be too: copy the file again", drivers.ErrReply},
		{"gzip and something after it", packed + "rest of a file", 1000, "trend FILE: the compressed text is damaged after 1001 lines: copy the file again", drivers.ErrReply},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			s := one(t, ".csv", test.file, "a", "b") // the name does not matter
			rows, err := readAll(t, s)
			if err == nil || !errors.Is(err, test.is) || errors.Is(err, io.EOF) {
				t.Fatalf("error %v, want one that is %v", err, test.is)
			}
			if got := strings.ReplaceAll(err.Error(), s.Recording().File(), "FILE"); got != test.want {
				t.Errorf("error\n%s\nwant\n%s", got, test.want)
			}
			if len(rows) != test.rows {
				t.Errorf("%d rows before it, want %d", len(rows), test.rows)
			}
			if again := s.Read(context.Background(), make([]drivers.Reading, 2)); again != err {
				t.Errorf("the next Read gives another error: %v", again)
			}
		})
	}
}

// TestReadingFails has readers that fail where files seldom do.
func TestReadingFails(t *testing.T) {
	broken := errors.New("input/output error")
	for _, test := range []struct {
		name, before string
		after        io.Reader
		rows         int
		want         string
		is           []error
	}{
		{"before anything", "", iotest.ErrReader(broken), 0, "trend /nowhere/x.csv: reading fails after 0 lines: input/output error: see whether the disk or the share is well", []error{broken, drivers.ErrRefused}},
		{"inside a row", "time,a\n10,1\n20,2", iotest.ErrReader(broken), 1, "trend /nowhere/x.csv: reading fails after 2 lines: input/output error: see whether the disk or the share is well", []error{broken, drivers.ErrRefused}},
		{"inside quotes", "time,a\n10,1\n20,\"2\n", iotest.ErrReader(broken), 1, "trend /nowhere/x.csv: reading fails after 2 lines: input/output error: see whether the disk or the share is well", []error{broken, drivers.ErrRefused}},
		{"inside a row too long", "time,a\n10,1\n" + strings.Repeat("x", 2*maxRow), iotest.ErrReader(broken), 1, "trend /nowhere/x.csv: reading fails after 2 lines: input/output error: see whether the disk or the share is well", []error{broken, drivers.ErrRefused}},
		{"nothing for ever", "time,a\n10,1\n", nothing{}, 1, "trend /nowhere/x.csv: reading fails after 2 lines: " + io.ErrNoProgress.Error() + ": see whether the disk or the share is well", []error{io.ErrNoProgress, drivers.ErrRefused}},
	} {
		t.Run(test.name, func(t *testing.T) {
			s := started(t, io.MultiReader(strings.NewReader(test.before), test.after), "a")
			rows, err := readAll(t, s)
			if errorText(err) != test.want || len(rows) != test.rows {
				t.Errorf("%d rows, want %d, then %v", len(rows), test.rows, err)
			}
			for _, is := range test.is {
				if !errors.Is(err, is) {
					t.Errorf("%v is not %v", err, is)
				}
			}
		})
	}
}

// nothing is a reader that gives nothing and says nothing.
type nothing struct{}

func (nothing) Read([]byte) (int, error) { return 0, nil }

// TestCutAnywhere cuts a compressed file at many places: what was whole is read, a cut value never.
func TestCutAnywhere(t *testing.T) {
	var text strings.Builder
	text.WriteString("time,a,b\n")
	for i := range 2000 {
		fmt.Fprintf(&text, "%d,%d,%d\n", 1000+i, 1_000_000_000+i, (i*7919)%100_000)
	}
	packed := string(compressed(t, text.String()))
	whole, err := readAll(t, one(t, ".gz", text.String(), "a", "b"))
	if err != io.EOF || len(whole) != 2000 {
		t.Fatalf("the whole file: %d rows, %v", len(whole), err)
	}
	rows := 0
	for n := 2; n < len(packed); n += 1 + len(packed)/60 {
		got, err := readAll(t, one(t, ".csv", packed[:n], "a", "b"))
		if !errors.Is(err, io.ErrUnexpectedEOF) || !errors.Is(err, drivers.ErrReply) {
			t.Errorf("cut at %d of %d bytes: %v", n, len(packed), err)
		}
		if diff := cmp.Diff(whole[:len(got)], got, cmpopts.EquateEmpty()); diff != "" {
			t.Errorf("cut at %d bytes, want - got +:\n%s", n, diff)
		}
		rows = max(rows, len(got))
	}
	if rows == 0 {
		t.Error("no cut left any row")
	}
}

// TestNoFile has paths that lead to no file.
func TestNoFile(t *testing.T) {
	dir := t.TempDir()
	if err := os.Mkdir(filepath.Join(dir, "store"), 0o700); err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]string{
		"none.csv": "trend " + dir + "/none.csv: cannot be opened: no such file or directory: see whether `file` is right; it is relative to the configuration",
		"store":    "trend " + dir + "/store: is a folder: name the file in it, such as store/trend.csv.gz",
	} {
		s := opened(t, device(t, "log", dir, fmt.Sprintf("file = %q", name), "a"))[0]
		_, err := readAll(t, s)
		if !errors.Is(err, drivers.ErrRefused) || err.Error() != want {
			t.Errorf("%s: %v, want %s", name, err, want)
		}
		if name == "none.csv" && !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("%s: the cause is lost", name)
		}
		if s.Counts() != (drivers.Counts{Closed: 1}) {
			t.Errorf("%s: counts %+v", name, s.Counts())
		}
	}
}
