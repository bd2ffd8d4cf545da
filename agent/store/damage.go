package store

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"
	"time"

	bolt "go.etcd.io/bbolt"
)

// Files that do not open: what is done so that they stop nobody from watching, and are lost to nobody.

const (
	// mostTries is how often the program may end while it opens a file, before that file is set aside. Chosen: one end may
	// be a kill at a bad instant, three in a row are the file.
	mostTries = 3

	// mostAside is how many files that were set aside are kept. Chosen: enough to look at, too few to fill a disk.
	mostAside = 3
)

// begin notes that the file is being opened, and says the how manieth time this is without having come to an end.
func begin(dir string) (tries int, err error) {
	path := filepath.Join(dir, openingName)
	if b, err := os.ReadFile(path); err == nil {
		tries, _ = strconv.Atoi(strings.TrimSpace(string(b)))
	}
	tries++
	return tries, os.WriteFile(path, []byte(strconv.Itoa(tries)+"\n"), 0o640)
}

func finish(dir string) { _ = os.Remove(filepath.Join(dir, openingName)) }

// sound opens a file, or makes it, and looks at all of it first.
func sound(path string, most int) (db *bolt.DB, err error) {
	wait := waitSeconds * time.Second
	if info, err := os.Stat(path); err == nil && info.Size() > 0 {
		err := guarded(func() error {
			db, err := bolt.Open(path, 0o640, &bolt.Options{Timeout: wait, ReadOnly: true})
			if err != nil {
				return err
			}
			defer db.Close()
			return check(db, path, info.Size())
		})
		if err != nil {
			return nil, err
		}
	}
	// Free places are taken from the beginning of the file. Measured: of the library's other kind, which takes any, a file of 32 MiB
	// creeps to 80 in 240 days, since what is left over is too small for a judgement (TestFileIsBounded).
	err = guarded(func() error {
		db, err = bolt.Open(path, 0o640, &bolt.Options{
			Timeout: wait, NoFreelistSync: true, FreelistType: bolt.FreelistArrayType, MaxSize: most,
		})
		return err
	})
	return db, err
}

// check looks at the pages of a file and then at the sums of its values.
func check(db *bolt.DB, path string, size int64) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	return db.View(func(tx *bolt.Tx) error {
		if tx.Size() > size {
			return fmt.Errorf("the file has %d bytes and should have %d: its end is missing", size, tx.Size())
		}
		page := int64(db.Info().PageSize)
		p := pages{file: f, size: uint64(page), end: uint64(tx.Size() / page), seen: map[uint64]bool{}}
		if err := p.tree(uint64(tx.Cursor().Bucket().Root())); err != nil {
			return err
		}
		return values(tx)
	})
}

// values looks at the layout's version and at the sums of all values.
func values(tx *bolt.Tx) error {
	if l := tx.Bucket(layoutBucket); l != nil {
		if v := string(l.Get(versionKey)); v != layoutVersion {
			return fmt.Errorf("the file has layout %q, and this program knows %q: it was written by a newer one", v, layoutVersion)
		}
	}
	return tx.ForEach(func(name []byte, b *bolt.Bucket) error {
		return b.ForEach(func(k, v []byte) error {
			if string(name) == string(layoutBucket) {
				return nil
			}
			if _, err := unseal(v); err != nil {
				return fmt.Errorf("%s of %s: %w", name, k, err)
			}
			return nil
		})
	})
}

// guarded turns a panic of the library, or a read beyond what is mapped, into an error.
func guarded(f func() error) (err error) {
	defer debug.SetPanicOnFault(debug.SetPanicOnFault(true))
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("the file is damaged: %v", r)
		}
	}()
	return f()
}

// syncDir makes sure that a file's name is on the disk as well.
func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer d.Close()
	return d.Sync()
}

// setAside renames a file that cannot be used, drops the oldest of those before it, and says what it did.
func setAside(path string, now time.Time, reason string) (string, error) {
	to := path + ".bad-" + now.UTC().Format("20060102T150405.000Z")
	if err := os.Rename(path, to); err != nil && !errors.Is(err, os.ErrNotExist) {
		return "", err
	}
	old, _ := filepath.Glob(path + ".bad-*")
	slices.Sort(old)
	for len(old) > mostAside {
		_ = os.Remove(old[0])
		old = old[1:]
	}
	return fmt.Sprintf("%s (it lies at %s)", reason, to), nil
}
