package store

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"time"

	bolt "go.etcd.io/bbolt"
)

// What grows with time, and how it is bounded.

const (
	// HistoryHours is how long the minutes of zones are kept: a day, and two hours around the same time of the day before.
	HistoryHours = 26

	// mostDeleted bounds the minutes that one commit deletes. Chosen: three times what 64 zones add in five minutes, so that
	// a file that was away for a week is caught up with, and no commit grows by more than about 100 KiB.
	mostDeleted = 1000

	// mostClips and mostClipBytes bound the clips of all sites in a file. Chosen: 200 incidents are more than a store has in
	// a year; 8 MiB are 150 clips of two hours of one zone at 5 s. Half would lose proof of repairs that are still argued
	// about; double the file.
	mostClips     = 200
	mostClipBytes = 8 << 20
)

var (
	historyBucket = []byte("history")
	clipsBucket   = []byte("clips")
)

// Minute is a zone's minute as it is written.
type Minute struct {
	At    int64 // minutes since 1970
	Zone  string
	Value []byte
}

// Piece is a part of the clip of a finding: either a head, which says what it is a clip of, or samples of a zone.
type Piece struct {
	Cause string
	Seq   uint32 // of the statement within the cause
	From  int64  // nanoseconds since 1970: of samples, when they begin; of a head, the onset
	Zone  string // "" for a head
	Value []byte
}

// Series are minutes and pieces that are to be kept.
type Series struct {
	Minutes []Minute
	Pieces  []Piece
}

// Dropped is what a commit had to drop to keep within its bounds.
type Dropped struct {
	Clips int    // by this commit
	All   uint64 // clips by all commits of this file
}

// Keep commits records and series of a site in one transaction, as Commit does, and deletes what is too old at now or
// too much.
func (s *Store) Keep(site string, records map[Record][]byte, series Series, now time.Time) (dropped Dropped, err error) {
	err = s.db.Update(func(tx *bolt.Tx) error {
		if err := put(tx, site, records); err != nil {
			return err
		}
		if len(series.Minutes) > 0 {
			if err := putMinutes(tx, site, series.Minutes, now); err != nil {
				return err
			}
		}
		if len(series.Pieces) > 0 {
			dropped, err = putPieces(tx, site, series.Pieces)
			return err
		}
		return nil
	})
	return dropped, err
}

func putMinutes(tx *bolt.Tx, site string, minutes []Minute, now time.Time) error {
	b, err := tx.CreateBucketIfNotExists(historyBucket)
	if err != nil {
		return err
	}
	b.FillPercent = 1 // keys only ever come at the end
	for _, m := range minutes {
		if err := b.Put(minuteKey(m.At, site, m.Zone), seal(m.Value)); err != nil {
			return err
		}
	}
	// By key from both ends: what is too old, and what a clock that was wrong has written into the future.
	oldest := now.Add(-HistoryHours*time.Hour).Unix() / 60
	latest := now.Add(HistoryHours*time.Hour).Unix() / 60
	var old [][]byte
	c := b.Cursor()
	for k, _ := c.First(); k != nil && len(old) < mostDeleted && minuteOf(k) < oldest; k, _ = c.Next() {
		old = append(old, bytes.Clone(k))
	}
	for k, _ := c.Last(); k != nil && len(old) < mostDeleted && minuteOf(k) > latest; k, _ = c.Prev() {
		old = append(old, bytes.Clone(k))
	}
	for _, k := range old {
		if err := b.Delete(k); err != nil {
			return err
		}
	}
	return nil
}

// minuteKey is the time, 8 bytes, big end first, then the site, 0, and the zone.
func minuteKey(at int64, site, zone string) []byte {
	return append(append(append(binary.BigEndian.AppendUint64(nil, uint64(at)), site...), 0), zone...)
}

func minuteOf(key []byte) int64 {
	if len(key) < 8 {
		return 0 // none of ours: it goes with the old ones
	}
	return int64(binary.BigEndian.Uint64(key))
}

// clipKey begins the keys of a clip: site, 0, cause, 0.
func clipKey(site, cause string) []byte {
	return append(append(append([]byte(site), 0), cause...), 0)
}

// pieceKey is the clip's, then the number of the statement, the time and the zone.
func pieceKey(site string, p *Piece) []byte {
	k := binary.BigEndian.AppendUint32(clipKey(site, p.Cause), p.Seq)
	return append(binary.BigEndian.AppendUint64(k, uint64(p.From)), p.Zone...)
}

// splitPiece reads a piece's key.
func splitPiece(key []byte) (clip []byte, p Piece, ok bool) {
	site := bytes.IndexByte(key, 0)
	if site < 0 {
		return nil, p, false
	}
	cause := bytes.IndexByte(key[site+1:], 0)
	end := site + 1 + cause + 1
	if cause < 0 || len(key) < end+12 {
		return nil, p, false
	}
	return key[:end], Piece{
		Cause: string(key[site+1 : end-1]), Seq: binary.BigEndian.Uint32(key[end:]),
		From: int64(binary.BigEndian.Uint64(key[end+4:])), Zone: string(key[end+12:]),
	}, true
}

func putPieces(tx *bolt.Tx, site string, pieces []Piece) (Dropped, error) {
	b, err := tx.CreateBucketIfNotExists(clipsBucket)
	if err != nil {
		return Dropped{}, err
	}
	for i := range pieces {
		if err := b.Put(pieceKey(site, &pieces[i]), seal(pieces[i].Value)); err != nil {
			return Dropped{}, err
		}
	}
	dropped, err := boundClips(b, mostClips, mostClipBytes)
	if err == nil && dropped > 0 { // the bucket's own counter is kept with it
		err = b.SetSequence(b.Sequence() + uint64(dropped))
	}
	return Dropped{Clips: dropped, All: b.Sequence()}, err
}

// boundClips drops the clips that begin first until the others are few and small enough.
func boundClips(b *bolt.Bucket, most, mostBytes int) (dropped int, err error) {
	type clip struct {
		key   string
		begun int64
		bytes int
	}
	var clips []clip
	bytesOfAll := 0
	err = b.ForEach(func(k, v []byte) error {
		key, p, ok := splitPiece(k)
		if !ok {
			key = k
		}
		if n := len(clips); n == 0 || clips[n-1].key != string(key) {
			clips = append(clips, clip{key: string(key), begun: p.From})
		}
		c := &clips[len(clips)-1]
		c.begun = min(c.begun, p.From)
		c.bytes += len(k) + len(v)
		bytesOfAll += len(k) + len(v)
		return nil
	})
	for err == nil && (len(clips) > most || bytesOfAll > mostBytes) && len(clips) > 1 {
		oldest := 0
		for i := range clips {
			if clips[i].begun < clips[oldest].begun {
				oldest = i
			}
		}
		err = deletePrefix(b, []byte(clips[oldest].key))
		bytesOfAll -= clips[oldest].bytes
		clips = append(clips[:oldest], clips[oldest+1:]...)
		dropped++
	}
	return dropped, err
}

func deletePrefix(b *bolt.Bucket, prefix []byte) error {
	var keys [][]byte
	c := b.Cursor()
	for k, _ := c.Seek(prefix); k != nil && bytes.HasPrefix(k, prefix); k, _ = c.Next() {
		keys = append(keys, bytes.Clone(k))
	}
	for _, k := range keys {
		if err := b.Delete(k); err != nil {
			return err
		}
	}
	return nil
}

// View is a file that is only read.
type View struct{ db *bolt.DB }

// View is the open file, to read from.
func (s *Store) View() View { return View{s.db} }

// Load gives the records of a site, as Store.Load does.
func (v View) Load(site string) (map[Record][]byte, error) { return load(v.db, site) }

// History calls f with the minutes of a zone from one to another, both included, in the order of time. The value is f's.
func (v View) History(site, zone string, from, to int64, f func(at int64, value []byte) error) error {
	return v.db.View(func(tx *bolt.Tx) error {
		b := tx.Bucket(historyBucket)
		if b == nil {
			return nil
		}
		tail := minuteKey(0, site, zone)[8:]
		c := b.Cursor()
		for k, value := c.Seek(minuteKey(from, "", "")[:8]); k != nil && minuteOf(k) <= to; k, value = c.Next() {
			if !bytes.Equal(k[8:], tail) {
				continue
			}
			body, err := unseal(value)
			if err != nil {
				return fmt.Errorf("history of zone %s: %w", zone, err)
			}
			if err := f(minuteOf(k), bytes.Clone(body)); err != nil {
				return err
			}
		}
		return nil
	})
}

// Clip gives the pieces of the clip of a cause, by statement, then time; none where there is none.
func (v View) Clip(site, cause string) (pieces []Piece, err error) {
	err = v.eachPiece(clipKey(site, cause), func(p Piece, value []byte) error {
		body, err := unseal(value)
		if err != nil {
			return fmt.Errorf("clip of %s: %w", cause, err)
		}
		p.Value = bytes.Clone(body)
		pieces = append(pieces, p)
		return nil
	})
	return pieces, err
}

// Heads are what the clips of a site are of, one for each cause: that of its newest statement.
func (v View) Heads(site string) (list []Piece, err error) {
	err = v.eachPiece(append([]byte(site), 0), func(p Piece, value []byte) error {
		if n := len(list); n == 0 || list[n-1].Cause != p.Cause {
			list = append(list, Piece{Cause: p.Cause})
		}
		if p.Zone != "" {
			return nil
		}
		body, err := unseal(value)
		if err != nil {
			return fmt.Errorf("clip of %s: %w", p.Cause, err)
		}
		p.Value = bytes.Clone(body)
		list[len(list)-1] = p
		return nil
	})
	return list, err
}

func (v View) eachPiece(prefix []byte, f func(p Piece, value []byte) error) error {
	return v.db.View(func(tx *bolt.Tx) error {
		b := tx.Bucket(clipsBucket)
		if b == nil {
			return nil
		}
		c := b.Cursor()
		for k, value := c.Seek(prefix); k != nil && bytes.HasPrefix(k, prefix); k, value = c.Next() {
			_, p, ok := splitPiece(k)
			if !ok {
				return errors.New("the clips have a key that is none")
			}
			if err := f(p, value); err != nil {
				return err
			}
		}
		return nil
	})
}
