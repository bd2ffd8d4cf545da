// Package store keeps what has to survive a restart, in one file in the folder that agent.state names. It is the one room
// that knows the library of the store.
//
// # The file
//
// dimwatch.db has buckets of the first level:
//
//	layout      version    the layout of this file, "1"
//	judgement   SITE       learned values, evidence, findings: agent/judge.State.Judgement
//	meters      SITE       what the energy is counted against, and the hours of two weeks: agent/judge.State.Meters
//	energy      SITE       the energy counters of each zone: agent/judge.State.Energy
//	history     MINUTE SITE 0 ZONE                  a minute of a zone: agent/history.Minute, 26 hours of them
//	clips       SITE 0 CAUSE 0 SEQ NANOSECONDS      what a clip is of: the finding and its configuration
//	clips       SITE 0 CAUSE 0 SEQ NANOSECONDS ZONE samples of a zone: agent/history.Writer
//
// Each value ends in a CRC-32C of itself, since the library checks its own pages for order and not for content. The
// records have a bucket each, because a small value is written anew with all its neighbours. Keys of the history begin with the
// time (8 bytes, big end first): what is written together lies together, and what is too old is what comes first. Clips
// are few, and are bounded in number and bytes; the sequence of their bucket counts those that were dropped for that.
//
// Beside it lie dimwatch.pid (who has the file open), dimwatch.opening while it is being opened, and up to three files
// dimwatch.db.bad-TIME that could not be opened.
//
// # Crashes
//
// A commit is one transaction: after a crash at any instant the file has all of it or nothing of it. What a power cut
// may break beyond that, a disk that lies about what it has written, shows as a file that does not open. Such a file is set
// aside and an empty one begun, and one that ends the program while it is opened is set aside the third time.
package store

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"

	bolt "go.etcd.io/bbolt"
	bolterrors "go.etcd.io/bbolt/errors"
)

// Record is one of the records that are kept for a site.
type Record string

// The records.
const (
	Judgement Record = "judgement"
	Meters    Record = "meters"
	Energy    Record = "energy"
)

// ErrHeld says that another process has the file open.
var ErrHeld = errors.New("another process has it open")

const (
	fileName    = "dimwatch.db"
	pidName     = "dimwatch.pid"
	openingName = "dimwatch.opening"

	layoutVersion = "1"

	// waitSeconds is how long another process may take to let go of the file. Chosen: one that was told to end needs
	// less; without a bound the library waits for ever.
	waitSeconds = 1

	// mostBytes bounds the file. Chosen: eight times what 64 zones take (TestFileIsBounded); on machines of 32 bits the library can map
	// 2 GiB at most.
	mostBytes = 256 << 20
)

var (
	layoutBucket = []byte("layout")
	versionKey   = []byte("version")
	castagnoli   = crc32.MakeTable(crc32.Castagnoli)
)

// Store is an open file. Its methods may be called from any goroutine.
type Store struct {
	dir string
	db  *bolt.DB
}

// Open opens the file in a folder, and makes both where they are not there. Aside, where not "", says that a file was there
// that could not be used, why, and where it lies now. The error is ErrHeld, wrapped with who it is, where another
// process has the file; any other says what cannot be written.
func Open(dir string, now time.Time) (s *Store, aside string, err error) {
	return open(dir, now, mostBytes)
}

func open(dir string, now time.Time, most int) (s *Store, aside string, err error) {
	if err := os.MkdirAll(dir, 0o750); err != nil {
		return nil, "", err
	}
	tries, err := begin(dir)
	if err != nil {
		return nil, "", err
	}
	defer finish(dir)
	path := filepath.Join(dir, fileName)
	if tries > mostTries {
		if aside, err = setAside(path, now, fmt.Sprintf("opening it has ended the program %d times", mostTries)); err != nil {
			return nil, "", err
		}
	}
	db, err := sound(path, most)
	if damaged(err) {
		if aside, err = setAside(path, now, err.Error()); err != nil {
			return nil, "", err
		}
		db, err = sound(path, most)
	}
	switch {
	case errors.Is(err, bolterrors.ErrTimeout):
		return nil, "", fmt.Errorf("%s: %w: %s", path, ErrHeld, holder(dir))
	case err != nil:
		return nil, aside, fmt.Errorf("%s: %w", path, err)
	}
	if err := syncDir(dir); err != nil {
		_ = db.Close()
		return nil, aside, err
	}
	if err := os.WriteFile(filepath.Join(dir, pidName), []byte(strconv.Itoa(os.Getpid())+"\n"), 0o640); err != nil {
		_ = db.Close()
		return nil, aside, err
	}
	return &Store{dir: dir, db: db}, aside, nil
}

// SetAside closes the file, sets it aside for a reason, and begins an empty one; it gives where the old one lies.
func (s *Store) SetAside(now time.Time, reason string) (aside string, err error) {
	if err := s.db.Close(); err != nil {
		return "", err
	}
	path := filepath.Join(s.dir, fileName)
	if aside, err = setAside(path, now, reason); err != nil {
		return "", err
	}
	s.db, err = sound(path, mostBytes)
	return aside, err
}

// Close lets go of the file.
func (s *Store) Close() error {
	_ = os.Remove(filepath.Join(s.dir, pidName))
	return s.db.Close()
}

// holder says who has the file.
func holder(dir string) string {
	b, err := os.ReadFile(filepath.Join(dir, pidName))
	if pid := strings.TrimSpace(string(b)); err == nil && pid != "" {
		return "process " + pid + "; is another dimwatch running?"
	}
	return "which one is not known; is another dimwatch running?"
}

// Load gives the records of a site, those that are there. A record that is damaged is an error.
func (s *Store) Load(site string) (map[Record][]byte, error) { return load(s.db, site) }

// Read gives the records of a site from a file that cannot be opened for writing: of a disk that is full or read-only.
func Read(dir, site string) (records map[Record][]byte, err error) {
	err = Look(dir, func(v View) error {
		records, err = v.Load(site)
		return err
	})
	return records, err
}

func load(db *bolt.DB, site string) (map[Record][]byte, error) {
	records := map[Record][]byte{}
	err := db.View(func(tx *bolt.Tx) error {
		for _, r := range [...]Record{Judgement, Meters, Energy} {
			b := tx.Bucket([]byte(r))
			if b == nil {
				continue
			}
			v := b.Get([]byte(site))
			if v == nil {
				continue
			}
			body, err := unseal(v)
			if err != nil {
				return fmt.Errorf("%s of %s: %w", r, site, err)
			}
			records[r] = append([]byte(nil), body...) // v ends with the transaction
		}
		return nil
	})
	return records, err
}

// Commit keeps records of a site, all of them or, after an error or a crash, none. It returns when they are on the disk.
func (s *Store) Commit(site string, records map[Record][]byte) error {
	return s.db.Update(func(tx *bolt.Tx) error { return put(tx, site, records) })
}

func put(tx *bolt.Tx, site string, records map[Record][]byte) error {
	l, err := tx.CreateBucketIfNotExists(layoutBucket)
	if err != nil {
		return err
	}
	if string(l.Get(versionKey)) != layoutVersion {
		if err := l.Put(versionKey, []byte(layoutVersion)); err != nil {
			return err
		}
	}
	for r, v := range records {
		b, err := tx.CreateBucketIfNotExists([]byte(r))
		if err != nil {
			return err
		}
		if err := b.Put([]byte(site), seal(v)); err != nil {
			return err
		}
	}
	return nil
}

// seal adds its checksum to a value.
func seal(v []byte) []byte {
	return binary.BigEndian.AppendUint32(append(make([]byte, 0, len(v)+4), v...), crc32.Checksum(v, castagnoli))
}

// unseal checks the sum and takes it off; the value is not copied.
func unseal(v []byte) ([]byte, error) {
	if len(v) < 4 || crc32.Checksum(v[:len(v)-4], castagnoli) != binary.BigEndian.Uint32(v[len(v)-4:]) {
		return nil, errors.New("the record is damaged: its checksum is wrong")
	}
	return v[:len(v)-4], nil
}

// damaged says whether an error is about what the file holds, and not about the disk, the folder or another process.
func damaged(err error) bool {
	var path *fs.PathError
	var number syscall.Errno
	return err != nil && !errors.Is(err, bolterrors.ErrTimeout) && !errors.As(err, &path) && !errors.As(err, &number)
}
