package trend

import (
	"fmt"
	"io"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"dimwatch/drivers"
)

// timeColumn is the name of the first column, in any case.
const timeColumn = "time"

// Recording is one file and the one parse of it that all its sources share.
type Recording struct {
	file    string
	columns []column
	members []*Source

	mu     sync.Mutex // sources may be used by different goroutines
	opened bool       // the first Read has come
	closer io.Closer  // the open file, nil where there is none
	err    error      // why there is no further row; it stays

	split   splitter
	width   int  // fields of a row
	mark    byte // decimal mark of the file, 0 where it has not shown yet
	waiting waiting
	ending  error // why the splitter gives no more, while rows are still waiting

	current  *row      // the row that is read now
	now      time.Time // its time
	number   uint64    // how many rows have been given, this one included
	problems Problems

	rows       atomic.Uint64
	read, size atomic.Int64
}

// column is a column that some point asks for.
type column struct {
	name  string
	user  string // whose it is, for people
	field int    // its place in a row, once the header has been read
}

// File is the path of the recording.
func (r *Recording) File() string { return r.file }

// Rows is how many rows have been given so far. It may be called at any time.
func (r *Recording) Rows() uint64 { return r.rows.Load() }

// Progress gives the bytes read so far and those of the whole file, both as they lie on disk, that is, compressed. Both
// are 0 before the first Read, and the size is 0 where there is none (a pipe). It may be called at any time.
func (r *Recording) Progress() (read, size int64) { return r.read.Load(), r.size.Load() }

// Problems gives what has been found wrong so far; at most 10 rows ahead of those given. The copy belongs to the caller.
func (r *Recording) Problems() Problems {
	r.mu.Lock()
	defer r.mu.Unlock()
	problems := r.problems
	problems.first = problems.First()
	return problems
}

// join adds a source for a device with these columns.
func (r *Recording) join(device drivers.Device, names []string) *Source {
	s := &Source{recording: r, device: device.Name, names: names, places: make([]int, len(names))}
	for i, name := range names {
		s.places[i] = r.place(name, device.Points[i].Name+" of device "+device.Name)
	}
	r.members = append(r.members, s)
	return s
}

// place is the index of a column in r.columns, made where it is new.
func (r *Recording) place(name, user string) int {
	for i := range r.columns {
		if r.columns[i].name == name {
			return i
		}
	}
	r.columns = append(r.columns, column{name: name, user: user})
	return len(r.columns) - 1
}

// advance makes the next row the current one.
func (r *Recording) advance() error {
	if !r.opened {
		r.opened = true
		r.err = r.open()
	}
	if r.err != nil {
		return r.err
	}
	for !r.waiting.full() && r.ending == nil {
		r.ending = r.decodeRow()
	}
	if r.waiting.n == 0 {
		r.err = r.end()
		r.close()
		return r.err
	}
	r.current = r.waiting.take()
	r.now = time.Unix(0, r.current.at).UTC()
	r.number++
	r.rows.Store(r.number)
	return nil
}

// unread says that some source has not read the current row yet.
func (r *Recording) unread() bool {
	for _, member := range r.members {
		if !member.closed && len(member.places) > 0 && member.read < r.number {
			return true
		}
	}
	return false
}

// decodeRow reads one row of the file and puts it among the waiting ones, or counts why not.
func (r *Recording) decodeRow() error {
	trouble, err := r.split.next()
	if err != nil {
		return err
	}
	line, fields := r.split.line, r.split.fields
	if trouble == "" {
		trouble = r.misfit(fields)
	}
	if trouble != "" {
		r.problems.add(BadRow, line, func() string { return trouble })
		return nil
	}
	at, why := clockTime(fields[0])
	if why != "" {
		r.problems.add(BadTime, line, func() string { return "the time " + shown(fields[0]) + " is " + why })
		return nil
	}
	row, kind := r.waiting.put(at)
	if kind != noProblem {
		r.problems.add(kind, line, func() string { return ordering(kind, fields[0]) })
	}
	if row == nil {
		return nil
	}
	row.line = line
	for i := range r.columns {
		text := fields[r.columns[i].field]
		c, mark := decodeCell(text, r.mark)
		if r.mark == 0 {
			r.mark = mark
		}
		if c.state >= wrong {
			r.problems.add(BadCell, line, func() string {
				return fmt.Sprintf("column %q: %s is %s", r.columns[i].name, shown(text), reasons[c.state])
			})
		}
		row.cells[i] = c
	}
	return nil
}

// misfit says why the fields of a row cannot be those that the header names, or "". Empty fields beyond the header's
// do no harm. A row that is too short is not trusted: its cells may be shifted, or its last one cut.
func (r *Recording) misfit(fields [][]byte) string {
	if len(fields) == r.width {
		return ""
	}
	fits := len(fields) > r.width
	for i := r.width; i < len(fields); i++ {
		fits = fits && len(trimSpace(fields[i])) == 0
	}
	if fits {
		return ""
	}
	return fmt.Sprintf("%d fields where the header has %d", len(fields), r.width)
}

// ordering is the text of a problem with the order of rows.
func ordering(kind ProblemKind, at []byte) string {
	switch kind {
	case LateRow:
		return fmt.Sprintf("%s comes more than %d rows too late and is left out", shown(at), maxLate)
	case RepeatedTime:
		return shown(at) + " has come before; the first row with it counts"
	}
	return shown(at) + " comes late and is put in its place"
}

// end is the error after the last row: io.EOF where the file was read to its end.
func (r *Recording) end() error {
	if r.ending != io.EOF {
		return r.cutOff(r.ending)
	}
	if r.number == 0 && r.problems.Lost() > 0 {
		return r.fail(drivers.ErrReply, nil, "no row can be used: %s; the first: %v",
			strings.Join(r.problems.Summary(), ", "), r.problems.first[0])
	}
	return io.EOF
}

// failure is an error of a file. Its text says what, where and what to do; the sentinel is only there to be asked for.
type failure struct {
	text     string
	sentinel error
	cause    error
}

func (f *failure) Error() string { return f.text }

func (f *failure) Unwrap() []error {
	if f.cause == nil {
		return []error{f.sentinel}
	}
	return []error{f.sentinel, f.cause}
}

func (r *Recording) fail(sentinel, cause error, format string, args ...any) error {
	return &failure{"trend " + r.file + ": " + fmt.Sprintf(format, args...), sentinel, cause}
}
