package store

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	bolt "go.etcd.io/bbolt"
	bolterrors "go.etcd.io/bbolt/errors"
)

// Reading a file that is not ours to write: of a disk that is full or read-only, or of a daemon that is running.

// copyTries is how often a file is copied that is being written to. Chosen: a daemon commits once a minute and a copy takes
// a fraction of a second, so the second try is rare already.
const copyTries = 5

// File is the path of the file in a folder.
func File(dir string) string { return filepath.Join(dir, fileName) }

// ErrNoState says that a file is there, and is none that this program can read.
var ErrNoState = errors.New("not a state file")

// Look opens the file in a folder for reading, and calls f with it. Where another process has it, f reads a copy of it as it
// was after that process's last commit.
func Look(dir string, f func(View) error) error {
	path := filepath.Join(dir, fileName)
	if _, err := os.Stat(path); err != nil {
		return err
	}
	err := look(path, f)
	if !errors.Is(err, bolterrors.ErrTimeout) {
		return err
	}
	to, err := os.MkdirTemp("", "dimwatch-")
	if err != nil {
		return err
	}
	defer func() { _ = os.RemoveAll(to) }()
	copied := filepath.Join(to, fileName)
	if err := copyHeld(path, copied); err != nil {
		return fmt.Errorf("%s is in use (%s) and could not be copied: %w; try again, or stop that process first", path, holder(dir), err)
	}
	return look(copied, f)
}

// look opens a file that nobody writes to.
func look(path string, f func(View) error) error {
	info, err := os.Stat(path)
	if err != nil {
		return err
	}
	return guarded(func() error {
		db, err := bolt.Open(path, 0o640, &bolt.Options{Timeout: waitSeconds * time.Second, ReadOnly: true})
		if damaged(err) {
			return fmt.Errorf("%w: %w", ErrNoState, err)
		}
		if err != nil {
			return err
		}
		defer db.Close()
		if err := check(db, path, info.Size()); err != nil {
			return fmt.Errorf("%w: %w", ErrNoState, err)
		}
		return f(View{db})
	})
}

// copyHeld copies a file that another process may commit to meanwhile. The library writes a commit's pages only where the
// commit before has none of its own, and its meta pages, the first two of the file, last: where these are the same before and after
// the copy, all that they lead to was still there.
func copyHeld(from, to string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	metas := make([]byte, 2*os.Getpagesize())
	after := make([]byte, len(metas))
	for range copyTries {
		if _, err := in.ReadAt(metas, 0); err != nil {
			return err
		}
		out, err := os.Create(to)
		if err != nil {
			return err
		}
		_, err = io.Copy(out, io.NewSectionReader(in, 0, 1<<62))
		if err = errors.Join(err, out.Close()); err != nil {
			return err
		}
		if _, err := in.ReadAt(after, 0); err != nil {
			return err
		}
		if bytes.Equal(metas, after) {
			return nil
		}
	}
	return fmt.Errorf("it changed during each of %d copies", copyTries)
}
