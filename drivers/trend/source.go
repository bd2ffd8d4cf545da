package trend

import (
	"context"
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"time"

	"dimwatch/drivers"
)

// Source is one device of a recording. It implements drivers.Source.
type Source struct {
	recording *Recording
	device    string
	names     []string // of the points' columns
	places    []int    // of the points' columns in Recording.columns

	read   uint64 // number of the row that was read last
	closed bool
	counts drivers.Counts
}

// What a cell gives, where it is no number, as the reason of its reading.
var reasons = [...]string{
	empty: "no reading",
	wrong: "not a number",
	huge:  "out of range",
}

// Recording is the file behind the source, for progress and problems. Devices on one file have the same.
func (s *Source) Recording() *Recording { return s.recording }

// Read gives the next row; At of every reading is the row's time, in UTC. An empty cell is a bad reading with the
// reason "no reading". Where all cells of the device are empty the error is drivers.ErrNoAnswer, which the next Read
// may not have again. After the last row it is io.EOF; that, and every other error, stays.
//
// Devices on one file are read in turn: each reads a row once before any reads the next. A Read out of turn fails and
// moves nothing. A device without points does not hold up the others, nor does a closed one.
func (s *Source) Read(ctx context.Context, out []drivers.Reading) error {
	r := s.recording
	r.mu.Lock()
	defer r.mu.Unlock()
	if err := s.ready(ctx, out); err != nil {
		return s.spoil(out, err)
	}
	if s.read == r.number {
		if r.unread() {
			return s.spoil(out, r.fail(drivers.ErrRefused, nil,
				"device %s asks for row %d before all other devices on this file have read row %d: read each device once a row", s.device, r.number+1, r.number))
		}
		if err := r.advance(); err != nil {
			s.count(err)
			return s.spoil(out, err)
		}
	}
	s.read = r.number
	return s.fill(out)
}

// ReadLast goes to the end of the recording and gives its last row, as Read would have given it. It reads the whole
// file, once for all devices that share it, and returns when ctx is done. io.EOF says that there is no row at all.
// A Read after it finds the recording at its end.
func (s *Source) ReadLast(ctx context.Context, out []drivers.Reading) error {
	r := s.recording
	r.mu.Lock()
	defer r.mu.Unlock()
	for {
		if err := s.ready(ctx, out); err != nil {
			return s.spoil(out, err)
		}
		err := r.advance()
		switch {
		case err == nil:
			continue
		case err != io.EOF || r.current == nil:
			s.count(err)
			return s.spoil(out, err)
		}
		s.read = r.number
		return s.fill(out)
	}
}

// ready says why a Read cannot begin.
func (s *Source) ready(ctx context.Context, out []drivers.Reading) error {
	if s.closed {
		return s.recording.fail(drivers.ErrClosed, nil, "device %s is read after it was closed", s.device)
	}
	if err := ctx.Err(); err != nil {
		return s.recording.fail(drivers.ErrTimeout, err, "reading device %s: %v", s.device, err)
	}
	if len(out) != len(s.places) {
		return s.recording.fail(drivers.ErrRefused, nil, "device %s has %d points, but room for %d readings was given", s.device, len(s.places), len(out))
	}
	return nil
}

// fill gives the current row.
func (s *Source) fill(out []drivers.Reading) error {
	r := s.recording
	missing := 0
	for i, place := range s.places {
		c := &r.current.cells[place]
		if c.state == number {
			out[i] = drivers.Reading{At: r.now, Value: c.value, Quality: drivers.Good}
			continue
		}
		if c.state == empty {
			missing++
		}
		out[i] = drivers.Reading{At: r.now, Quality: drivers.Bad, Reason: reasons[c.state]}
	}
	if missing > 0 && missing == len(out) {
		s.counts.Timeout++
		return &noAnswer{s, r.current.line}
	}
	s.counts.OK++
	return nil
}

// noAnswer is drivers.ErrNoAnswer with its place. Its text is made when somebody wants it, since a device may be lost
// for many rows.
type noAnswer struct {
	source *Source
	line   int
}

func (e *noAnswer) Error() string {
	return fmt.Sprintf("trend %s line %d: all values of device %s are empty: %v", e.source.recording.file, e.line, e.source.device, drivers.ErrNoAnswer)
}

func (e *noAnswer) Unwrap() error { return drivers.ErrNoAnswer }

// spoil makes every reading bad, since the device as a whole gave none. Its time is that of the last row; where there
// was none yet it is now.
func (s *Source) spoil(out []drivers.Reading, err error) error {
	at := s.recording.now
	if at.IsZero() {
		at = time.Now()
	}
	for i := range out {
		out[i] = drivers.Reading{At: at, Reason: "no row"}
	}
	return err
}

// count counts an error of the file.
func (s *Source) count(err error) {
	switch f, ok := err.(*failure); {
	case !ok: // the end
	case f.sentinel == drivers.ErrReply:
		s.counts.Protocol++
	default:
		s.counts.Closed++
	}
}

// Plan says which columns a Read takes from a row.
func (s *Source) Plan() []string {
	if len(s.names) == 0 {
		return nil
	}
	columns := "columns"
	if len(s.names) == 1 {
		columns = "column"
	}
	return []string{fmt.Sprintf("read %d %s of each row of %s: %s",
		len(s.names), columns, filepath.Base(s.recording.file), strings.Join(s.names, ", "))}
}

// Counts are rows: OK with values, Timeout without any. Closed and Protocol count failures of the file.
func (s *Source) Counts() drivers.Counts { return s.counts }

// Close ends the source, and with the last one on it lets go of the file.
func (s *Source) Close() error {
	r := s.recording
	r.mu.Lock()
	defer r.mu.Unlock()
	s.closed = true
	for _, member := range r.members {
		if !member.closed {
			return nil
		}
	}
	r.close()
	return nil
}
