package trend

import (
	"bufio"
	"compress/flate"
	"compress/gzip"
	"errors"
	"io"
	"os"
	"path/filepath"
	"sync/atomic"

	"dimwatch/drivers"
)

// open opens the file, unpacks it where it begins like a gzip file, whatever its name, and reads its header.
func (r *Recording) open() error {
	file, err := os.Open(r.file)
	if err != nil {
		return r.fail(drivers.ErrRefused, err, "cannot be opened: %v: see whether `file` is right; it is relative to the configuration", errors.Unwrap(err))
	}
	info, err := file.Stat()
	if err == nil && info.IsDir() {
		file.Close()
		return r.fail(drivers.ErrRefused, nil, "is a folder: name the file in it, such as %s", filepath.Join(filepath.Base(r.file), "trend.csv.gz"))
	}
	if err == nil {
		r.size.Store(info.Size())
	}
	r.closer = file
	err = r.start(file)
	if err != nil {
		r.close()
	}
	return err
}

// start begins to read a recording out of what was opened.
func (r *Recording) start(opened io.Reader) error {
	in := bufio.NewReaderSize(counting{opened, &r.read}, 64<<10)
	r.split = newSplitter(in)
	if magic, _ := in.Peek(2); string(magic) == "\x1f\x8b" { // RFC 1952 section 2.3.1
		unpacked, err := gzip.NewReader(in)
		if err == io.EOF {
			err = io.ErrUnexpectedEOF
		}
		if err != nil {
			return r.cutOff(err)
		}
		r.split.r = unpacked
	}
	return r.header()
}

// close lets go of the file.
func (r *Recording) close() {
	if r.closer != nil {
		r.closer.Close() // nothing was written: there is nothing to lose
		r.closer = nil
	}
}

// cutOff explains an error in the middle of a file.
func (r *Recording) cutOff(err error) error {
	var corrupt flate.CorruptInputError
	switch {
	case errors.Is(err, io.ErrUnexpectedEOF):
		return r.fail(drivers.ErrReply, err, "the compressed text ends too early, after %d lines: copy the file again, or wait until the recorder has closed it", r.split.lines)
	case errors.Is(err, gzip.ErrChecksum):
		return r.fail(drivers.ErrReply, err, "the checksum of the compressed text is wrong, so that values before it may be too: copy the file again")
	case errors.As(err, &corrupt), errors.Is(err, gzip.ErrHeader):
		return r.fail(drivers.ErrReply, err, "the compressed text is damaged after %d lines: copy the file again", r.split.lines)
	}
	return r.fail(drivers.ErrRefused, err, "reading fails after %d lines: %v: see whether the disk or the share is well", r.split.lines, err)
}

// counting counts the bytes that go through it.
type counting struct {
	io.Reader
	n *atomic.Int64
}

func (c counting) Read(p []byte) (int, error) {
	n, err := c.Reader.Read(p)
	c.n.Add(int64(n))
	return n, err
}
