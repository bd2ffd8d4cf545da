package trend

import (
	"bytes"
	"fmt"
	"io"
	"slices"
	"strings"

	"dimwatch/drivers"
)

// header reads the first line and finds the columns in it.
func (r *Recording) header() error {
	if err := r.sniff(); err != nil {
		return err
	}
	trouble, err := r.split.next()
	switch {
	case err == io.EOF:
		return r.fail(drivers.ErrReply, nil, "the file is empty: see whether the recorder writes it, or name another in `file`")
	case err != nil:
		return r.cutOff(err)
	case trouble != "":
		return r.fail(drivers.ErrReply, nil, "line %d: %s: the first line must name the columns, such as time,z01_setpoint",
			r.split.line, trouble)
	}
	names := make([]string, len(r.split.fields))
	for i, field := range r.split.fields {
		names[i] = strings.ReplaceAll(string(trimSpace(field)), "\r\n", "\n") // a name of two lines, as the configuration has it
	}
	for len(names) > 1 && names[len(names)-1] == "" { // separators at the end of every line
		names = names[:len(names)-1]
	}
	if strings.Contains(strings.Join(names, ""), "\r") {
		return r.fail(drivers.ErrReply, nil, "line %d: lines end in CR alone: save the file with LF or CR LF", r.split.line)
	}
	r.width = len(names)
	if !strings.EqualFold(names[0], timeColumn) {
		return r.fail(drivers.ErrReply, nil, "line %d: the first column is %s, not \"time\": the first line must name the columns, the first of them time",
			r.split.line, shown([]byte(names[0])))
	}
	if wrong := r.findColumns(names); wrong != "" {
		return r.fail(drivers.ErrReply, nil, "line %d: %s", r.split.line, wrong)
	}
	r.waiting.init(len(r.columns))
	return nil
}

// sniff finds the separator: what stands behind the first name. It skips a byte order mark.
func (r *Recording) sniff() error {
	s := &r.split
	s.sep = ','
	n, err := s.find(0)
	if n == 0 && err != nil {
		return nil // next will say it
	}
	start := s.buf[s.pos : s.pos+n]
	switch {
	case bytes.HasPrefix(start, []byte("\xef\xbb\xbf")):
		s.pos += 3
		start = start[3:]
	case bytes.HasPrefix(start, []byte("\xff\xfe")), bytes.HasPrefix(start, []byte("\xfe\xff")):
		return r.fail(drivers.ErrReply, nil, "the text is UTF-16: save it as UTF-8")
	case bytes.HasPrefix(start, []byte("PK\x03\x04")):
		return r.fail(drivers.ErrReply, nil, "this is a zip archive or a spreadsheet: unpack it, or save it as CSV")
	}
	quoted := false
	for _, b := range start {
		if b == '"' {
			quoted = !quoted
		}
		if !quoted && (b == ',' || b == ';' || b == '\t') {
			s.sep = b
			break
		}
	}
	if s.sep == ',' {
		r.mark = '.' // a comma cannot be both
	}
	return nil
}

// findColumns finds the columns asked for among the names of the header, or says all that is wrong with them.
func (r *Recording) findColumns(names []string) string {
	places, twice := map[string]int{}, map[string]bool{}
	for i, name := range names {
		if _, seen := places[name]; seen {
			twice[name] = true
		} else {
			places[name] = i
		}
	}
	free := slices.DeleteFunc(slices.Clone(names[1:]), func(name string) bool { // a column that a point has is not meant by another
		return slices.ContainsFunc(r.columns, func(c column) bool { return c.name == name })
	})
	var wrong []string
	for i := range r.columns {
		c := &r.columns[i]
		place, found := places[c.name]
		switch {
		case !found:
			text := fmt.Sprintf("there is no column %q (%s)", c.name, c.user)
			if near := nearest(c.name, free); near != "" {
				text += fmt.Sprintf(", did you mean %q?", near)
			}
			wrong = append(wrong, text)
		case twice[c.name]:
			wrong = append(wrong, fmt.Sprintf("the column %q (%s) is there twice: give one of them another name", c.name, c.user))
		}
		c.field = place
	}
	if len(wrong) > 0 && len(places) <= 12 {
		wrong = append(wrong, fmt.Sprintf("the columns are %q", names[1:]))
	}
	return strings.Join(wrong, "; ")
}
