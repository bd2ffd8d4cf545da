package trend

import (
	"bytes"
	"errors"
	"io"
)

const (
	// firstBuffer is what is read at once; maxRow is the longest row that is understood, since a limit there must be:
	// about 100,000 cells. Chosen: no recorder comes near it, and a file that is no CSV at all is refused early.
	firstBuffer = 256 << 10
	maxRow      = 1 << 20

	// maxQuotedLines is over how many lines a row with newlines in its quotes may run. Chosen: a comment typed by a
	// person is shorter, and one stray quote must not swallow the file.
	maxQuotedLines = 64
)

var errLongRow = errors.New("row is longer than 1 MiB")

// splitter cuts a stream into rows and rows into fields, by RFC 4180 with any separator of one byte. A quote inside a
// field that does not begin with one stands for itself.
type splitter struct {
	r   io.Reader
	sep byte

	// fields are those of the row that next found, without their quotes, and line is where it begins, from 1. The
	// fields lie in buf or spare and are valid until the next call.
	fields [][]byte
	line   int

	buf      []byte
	pos, end int   // buf[pos:end] is read but not yet given
	err      error // why r gives no more, io.EOF at its end
	lines    int   // lines given
	spare    []byte
}

func newSplitter(r io.Reader) splitter {
	return splitter{r: r, buf: make([]byte, firstBuffer)}
}

// next moves to the next row that is not blank. A row that cannot be cut comes back as trouble, in words, and only its
// first line is given up: the rows after it are not lost. At the end it is io.EOF; any other error is the reader's, and
// a row that was cut off by it is not given.
func (s *splitter) next() (trouble string, err error) {
	for {
		s.line = s.lines + 1
		n, err := s.find(0)
		switch {
		case err == errLongRow:
			return err.Error(), s.skipLine()
		case err == io.EOF && n == 0, err != nil && err != io.EOF:
			return "", err
		}
		row := s.buf[s.pos : s.pos+n]
		if bytes.IndexByte(row, '"') >= 0 {
			return s.nextQuoted(n)
		}
		s.consume(n, 1)
		if row = trimReturn(row); len(row) > 0 {
			s.cut(row)
			return "", nil
		}
	}
}

// nextQuoted is next for a row with quotes, whose first line has n bytes.
func (s *splitter) nextQuoted(n int) (trouble string, err error) {
	first := n
	for lines := 1; ; lines++ {
		found := s.cutQuoted(trimReturn(s.buf[s.pos : s.pos+n]))
		if found == whole {
			s.consume(n, lines)
			return "", nil
		}
		if found == misplaced || lines == maxQuotedLines || s.pos+n >= s.end {
			break
		}
		// The quote is still open: the row goes on in the next line.
		longer, err := s.find(n + 1)
		if err != nil && err != io.EOF && err != errLongRow {
			return "", err
		}
		if err == errLongRow || longer == n+1 && err == io.EOF {
			break
		}
		n = longer
	}
	s.consume(first, 1)
	return "a quote is in the wrong place or is never closed", nil
}

// find gives the length of the text from pos to the first newline at or after pos+from, reading more where needed.
// Where there is none it gives the length of what is left, with the error.
func (s *splitter) find(from int) (int, error) {
	for {
		if i := bytes.IndexByte(s.buf[s.pos+from:s.end], '\n'); i >= 0 {
			return from + i, nil
		}
		from = s.end - s.pos
		if err := s.fill(); err != nil {
			return from, err
		}
	}
}

// fill reads on, and fails where nothing more can be had.
func (s *splitter) fill() error {
	if s.err != nil {
		return s.err
	}
	if s.pos > 0 {
		s.end = copy(s.buf, s.buf[s.pos:s.end])
		s.pos = 0
	}
	if s.end == len(s.buf) {
		if len(s.buf) >= maxRow {
			return errLongRow
		}
		s.buf = append(s.buf, make([]byte, len(s.buf))...)
	}
	for range 100 { // a reader may give nothing for once, but not for ever
		n, err := s.r.Read(s.buf[s.end:])
		s.end += n
		s.err = err
		if n > 0 {
			return nil
		}
		if err != nil {
			return err
		}
	}
	s.err = io.ErrNoProgress
	return s.err
}

// consume gives up n bytes and the newline after them.
func (s *splitter) consume(n, lines int) {
	s.pos = min(s.pos+n+1, s.end)
	s.lines += lines
}

// skipLine gives up everything to the next newline, however far it is.
func (s *splitter) skipLine() error {
	for {
		n, err := s.find(0)
		s.pos += n
		switch err {
		case nil, io.EOF:
			s.consume(0, 1)
			return nil
		case errLongRow: // the buffer is empty now
		default:
			return err
		}
	}
}

// cut splits a row without quotes.
func (s *splitter) cut(row []byte) {
	fields := s.fields[:0]
	for {
		i := bytes.IndexByte(row, s.sep)
		if i < 0 {
			break
		}
		fields = append(fields, row[:i])
		row = row[i+1:]
	}
	s.fields = append(fields, row)
}

// What cutQuoted found.
const (
	whole     = iota
	unclosed  // the row ends inside quotes
	misplaced // text follows a closing quote
)

// cutQuoted splits a row in which some field may be in quotes.
func (s *splitter) cutQuoted(row []byte) int {
	fields, spare := s.fields[:0], s.spare[:0]
	for {
		if len(row) == 0 || row[0] != '"' {
			i := bytes.IndexByte(row, s.sep)
			if i < 0 {
				s.fields, s.spare = append(fields, row), spare
				return whole
			}
			fields = append(fields, row[:i])
			row = row[i+1:]
			continue
		}
		row = row[1:]
		start := len(spare)
		for {
			i := bytes.IndexByte(row, '"')
			if i < 0 {
				return unclosed
			}
			spare = append(spare, row[:i]...)
			row = row[i+1:]
			if len(row) == 0 || row[0] != '"' {
				break
			}
			spare = append(spare, '"')
			row = row[1:]
		}
		fields = append(fields, spare[start:])
		if len(row) == 0 {
			s.fields, s.spare = fields, spare
			return whole
		}
		if row[0] != s.sep {
			return misplaced
		}
		row = row[1:]
	}
}

// trimReturn takes away the carriage return of a line that ends in CR LF.
func trimReturn(row []byte) []byte {
	if n := len(row); n > 0 && row[n-1] == '\r' {
		return row[:n-1]
	}
	return row
}
