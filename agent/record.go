package main

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"time"

	"dimwatch/agent/config"
	"dimwatch/drivers"

	"go.uber.org/zap"
)

// `watch --record DIR` writes what is read as recordings that review judges:
//
//	DIR/SITE-2026-03-02/site.hcl         the configuration, with driver "trend"
//	DIR/SITE-2026-03-02/DEVICE.csv.gz    a row a poll
//
// A device has a file of its own, since a row is a poll of all devices of its file. A day ends at local midnight; where
// the configuration changes within a day, what follows goes to a folder SITE-DAY-2, and so on. An empty cell is no reading;
// where a device has answered with nothing that is good, the cells say "bad", since a row of empty ones would mean that it has
// not answered.
//
// Each minute's rows are compressed by themselves and written at once: gzip files that follow each other are one (RFC 1952
// section 2.2), so that a file is whole whenever the program is killed.

// recordEvery is how often rows are written. It is a variable for tests. Chosen: a killed program loses a minute at most; at
// five minutes the files would be a third smaller.
var recordEvery = time.Minute

// mostRows bounds the rows of a device that wait for a disk, in bytes. Chosen: two hours of eight zones at 5 s, so that a
// disk that is full for a while costs nothing; 64 zones wait in 2 MiB.
const mostRows = 256 << 10

// recorder records one daemon. Where that fails, watching goes on, and it is tried again. One that is nil records nothing.
type recorder struct {
	log *zap.Logger
	dir string

	mu      sync.Mutex // for what polls add
	site    *config.Site
	devices []recordedDevice
	lost    int // rows that were not written and had no place to wait

	// For the goroutine of daemon.run.
	text    string            // site.hcl
	folders map[string]string // by day
	sound   map[string]bool   // files whose end was looked at
	pack    *gzip.Writer
	packed  bytes.Buffer
	failed  int  // attempts in a row
	ending  bool // what is not written now is lost
}

type recordedDevice struct {
	file, header string
	days         []recordedDay
	bytes        int
}

// recordedDay are rows of one day that are to be written.
type recordedDay struct {
	day  string
	rows []byte
}

func newRecorder(log *zap.Logger, dir string) *recorder {
	return &recorder{log: log, dir: dir, sound: map[string]bool{}}
}

// begin records a site from now on; what was read under another configuration is written before.
func (r *recorder) begin(site *config.Site) {
	if r == nil {
		return
	}
	t := trendText{site: site, own: func(z *config.Zone) string { return site.Devices[z.Device].Name }}
	for z := range site.Zones {
		t.zones = append(t.zones, z)
	}
	columns := make([][]string, len(site.Devices))
	var devices []recordedDevice
	for i := range site.Devices {
		d := &site.Devices[i]
		for _, p := range d.Points { // names need no quotes
			columns[i] = append(columns[i], site.Zones[p.Zone].Name+"_"+p.Role.String())
		}
		file := d.Name + ".csv.gz"
		t.devices = append(t.devices, trendDevice{d.Name, file, d.Cycle})
		devices = append(devices, recordedDevice{file: file, header: strings.Join(append([]string{"time"}, columns[i]...), ",") + "\n"})
	}
	t.column = func(p *config.Point) (string, string) { return site.Devices[p.Device].Name, columns[p.Device][p.Index] }
	r.text, r.folders = t.String(), map[string]string{}
	r.mu.Lock()
	defer r.mu.Unlock()
	for i := range r.devices {
		for _, x := range r.devices[i].days { // could not be written, and their columns may be others now
			r.lost += bytes.Count(x.rows, []byte("\n"))
		}
	}
	r.site, r.devices = site, devices
}

// take adds what one poll of a device gave. It writes nothing: a slow disk must not hold up a bus.
func (r *recorder) take(device int, now time.Time, readings []drivers.Reading, err error) {
	if r == nil || len(readings) == 0 {
		return
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	d := &r.devices[device]
	if d.bytes > mostRows {
		r.lost++
		return
	}
	now = now.In(r.site.Location)
	day := now.Format(time.DateOnly)
	if n := len(d.days); n == 0 || d.days[n-1].day != day {
		d.days = append(d.days, recordedDay{day: day})
	}
	rows := &d.days[len(d.days)-1].rows
	before := len(*rows)
	*rows = appendRow(*rows, now, readings, err)
	d.bytes += len(*rows) - before
}

func appendRow(b []byte, now time.Time, readings []drivers.Reading, err error) []byte {
	b = now.AppendFormat(b, time.RFC3339Nano)
	good := slices.ContainsFunc(readings, func(x drivers.Reading) bool { return x.Quality == drivers.Good })
	for _, x := range readings {
		b = append(b, ',')
		switch {
		case err != nil:
		case x.Quality == drivers.Good:
			b = strconv.AppendFloat(b, x.Value, 'f', -1, 64)
		case !good:
			b = append(b, "bad"...)
		}
	}
	return append(b, '\n')
}

// flush writes the rows that wait. What cannot be written waits on.
func (r *recorder) flush() {
	if r == nil {
		return
	}
	r.mu.Lock()
	taken := make([][]recordedDay, len(r.devices))
	for i := range r.devices {
		taken[i], r.devices[i].days, r.devices[i].bytes = r.devices[i].days, nil, 0
	}
	lost := r.lost
	r.lost = 0
	r.mu.Unlock()
	var failures []error
	for i, days := range taken {
		for n, day := range days {
			if err := r.write(&r.devices[i], day); err != nil {
				if !slices.ContainsFunc(failures, func(e error) bool { return sameCause(e, err) }) {
					failures = append(failures, err)
				}
				r.wait(i, days[n:])
				break
			}
		}
	}
	r.tell(errors.Join(failures...), lost)
}

// sameCause says whether the system has given the same reason for two failures: that of each device's file is one to a person.
func sameCause(a, b error) bool {
	var x, y syscall.Errno
	return errors.As(a, &x) && errors.As(b, &y) && x == y || a.Error() == b.Error()
}

// try finds out at the start whether there can be recordings: the first rows are written a minute later.
func (r *recorder) try(now time.Time) {
	if r == nil {
		return
	}
	folder, err := r.folder(now.In(r.site.Location).Format(time.DateOnly))
	if err == nil {
		var f *os.File
		if f, err = os.CreateTemp(folder, ".try-*"); err == nil {
			err = errors.Join(f.Close(), os.Remove(f.Name()))
		}
	}
	r.tell(err, 0)
}

// end writes what still waits.
func (r *recorder) end() {
	if r == nil {
		return
	}
	r.ending = true
	r.flush()
}

// wait puts rows back in front of those that have come meanwhile.
func (r *recorder) wait(device int, days []recordedDay) {
	r.mu.Lock()
	defer r.mu.Unlock()
	d := &r.devices[device]
	for _, x := range days {
		d.bytes += len(x.rows)
	}
	if n := len(days); len(d.days) > 0 && days[n-1].day == d.days[0].day {
		days[n-1].rows = append(days[n-1].rows, d.days[0].rows...)
		d.days = d.days[1:]
	}
	d.days = append(days, d.days...)
}

// tell logs the first failure in a row, and its end with what was lost.
func (r *recorder) tell(failure error, lost int) {
	switch {
	case failure != nil && r.ending:
		r.log.Error("the last rows could not be recorded and are lost", zap.Error(failure), zap.Int("lost_rows", lost+r.waiting()), zap.String("record", r.dir))
	case failure != nil:
		if r.failed == 0 {
			r.log.Error("what is read cannot be recorded: see that --record names a folder in which this user may write, on a disk with room; watching goes on, and it is tried again each minute",
				zap.Error(failure), zap.String("record", r.dir))
		}
		r.failed++
		r.mu.Lock()
		r.lost += lost // told when it is over
		r.mu.Unlock()
	case r.failed > 0:
		r.log.Info("what is read is recorded again", zap.Int("failed_attempts", r.failed), zap.Int("lost_rows", lost))
		r.failed = 0
	}
}

// waiting is how many rows wait.
func (r *recorder) waiting() (n int) {
	r.mu.Lock()
	defer r.mu.Unlock()
	for i := range r.devices {
		for _, x := range r.devices[i].days {
			n += bytes.Count(x.rows, []byte("\n"))
		}
	}
	return n
}

// write adds rows to the file of their day.
func (r *recorder) write(d *recordedDevice, day recordedDay) error {
	folder, err := r.folder(day.day)
	if err != nil {
		return err
	}
	path := filepath.Join(folder, d.file)
	if !r.sound[path] {
		if err := repair(path); err != nil {
			return err
		}
		r.sound[path] = true
	}
	f, err := os.OpenFile(path, os.O_CREATE|os.O_WRONLY|os.O_APPEND, 0o640)
	if errors.Is(err, os.ErrNotExist) {
		r.folders = map[string]string{} // somebody has moved the folder away: it is made anew
	}
	if err != nil {
		return err
	}
	info, err := f.Stat()
	if err != nil {
		return errors.Join(err, f.Close())
	}
	header := ""
	if info.Size() == 0 {
		header = d.header
	}
	b, err := r.compress(header, day.rows)
	if err == nil {
		_, err = f.Write(b)
	}
	if err != nil { // half of it must not stay: it would spoil what follows
		_ = os.Truncate(path, info.Size())
	}
	return errors.Join(err, f.Close())
}

// compress makes one gzip file of some rows; it is valid until the next call.
func (r *recorder) compress(header string, rows []byte) ([]byte, error) {
	r.packed.Reset()
	if r.pack == nil {
		r.pack = gzip.NewWriter(&r.packed)
	} else {
		r.pack.Reset(&r.packed)
	}
	_, err := io.WriteString(r.pack, header)
	if err == nil {
		_, err = r.pack.Write(rows)
	}
	err = errors.Join(err, r.pack.Close())
	return r.packed.Bytes(), err
}

// folder gives the folder of a day, made where it is not there; one that holds another configuration is left alone.
func (r *recorder) folder(day string) (string, error) {
	if folder, ok := r.folders[day]; ok {
		return folder, nil
	}
	name := filepath.Join(r.dir, r.site.Name+"-"+day)
	for n := 1; n <= 1000; n++ {
		folder := name
		if n > 1 {
			folder += "-" + strconv.Itoa(n)
		}
		path := filepath.Join(folder, "site.hcl")
		there, err := os.ReadFile(path)
		switch {
		case err == nil && string(there) == r.text:
		case errors.Is(err, os.ErrNotExist):
			if err := writeWhole(path, r.text); err != nil {
				return "", err
			}
		case err != nil:
			return "", err
		default:
			continue
		}
		r.folders = map[string]string{day: folder} // an earlier day does not come again
		return folder, nil
	}
	return "", fmt.Errorf("%s: there are 1000 folders of this day already: remove some", name)
}

// writeWhole writes a file that is there whole or not at all.
func writeWhole(path, text string) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o750); err != nil {
		return err
	}
	if err := os.WriteFile(path+".new", []byte(text), 0o640); err != nil {
		_ = os.Remove(path + ".new")
		return err
	}
	return os.Rename(path+".new", path)
}

// repair cuts off what a program or a machine that stopped in the middle has left at the end of a file, so that it can be
// gone on with.
func repair(path string) error {
	f, err := os.Open(path)
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return err
	}
	whole, err := wholeBytes(f)
	if err != nil {
		return err
	}
	if whole < info.Size() {
		return os.Truncate(path, whole)
	}
	return nil
}

// wholeBytes counts the bytes of a file up to the end of the last part that is whole.
func wholeBytes(f io.Reader) (whole int64, err error) {
	in := &byteCounter{Reader: bufio.NewReader(f)}
	z, err := gzip.NewReader(in)
	for err == nil {
		z.Multistream(false)
		if _, err = io.Copy(io.Discard, z); err != nil {
			break
		}
		whole = in.n
		err = z.Reset(in)
	}
	var failed *os.PathError
	if errors.As(err, &failed) {
		return 0, err // the disk, not the file
	}
	return whole, nil
}

// byteCounter counts the bytes that are taken. It gives them one by one, so that what unpacks them takes none too many.
type byteCounter struct {
	*bufio.Reader
	n int64
}

// ReadByte gives the next byte.
func (c *byteCounter) ReadByte() (byte, error) {
	b, err := c.Reader.ReadByte()
	if err == nil {
		c.n++
	}
	return b, err
}

// Read gives the next bytes.
func (c *byteCounter) Read(p []byte) (int, error) {
	n, err := c.Reader.Read(p)
	c.n += int64(n)
	return n, err
}
