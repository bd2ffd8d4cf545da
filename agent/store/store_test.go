package store

import (
	"bytes"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

var now = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)

// opened opens a folder's file and demands that it could be used.
func opened(t *testing.T, dir string) *Store {
	t.Helper()
	s, aside, err := Open(dir, now)
	if err != nil || aside != "" {
		t.Fatalf("%v, set aside: %q", err, aside)
	}
	t.Cleanup(func() { _ = s.Close() })
	return s
}

func commit(t *testing.T, s *Store, site string, records map[Record][]byte) {
	t.Helper()
	if err := s.Commit(site, records); err != nil {
		t.Fatal(err)
	}
}

func loaded(t *testing.T, s *Store, site string) map[Record][]byte {
	t.Helper()
	records, err := s.Load(site)
	if err != nil {
		t.Fatal(err)
	}
	return records
}

// What was committed is there when the file is opened again, each record by itself and each site by itself.
func TestCommit(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "deep", "folder")
	s := opened(t, dir)
	if got := loaded(t, s, "harbor-12"); len(got) != 0 {
		t.Errorf("a new file has %v", got)
	}
	large := bytes.Repeat([]byte("evidence "), 40_000)
	commit(t, s, "harbor-12", map[Record][]byte{Judgement: large, Energy: []byte("one")})
	commit(t, s, "alder-7", map[Record][]byte{Judgement: nil, Energy: []byte("else")})
	commit(t, s, "harbor-12", map[Record][]byte{Energy: []byte("two")})
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	s = opened(t, dir)
	want := map[Record][]byte{Judgement: large, Energy: []byte("two")}
	if diff := cmp.Diff(want, loaded(t, s, "harbor-12")); diff != "" {
		t.Error(diff)
	}
	if got := loaded(t, s, "alder-7"); string(got[Energy]) != "else" || len(got[Judgement]) != 0 {
		t.Errorf("the other site has %q", got)
	}
	for range 200 { // what is written again and again does not make the file grow
		commit(t, s, "harbor-12", want)
	}
	if info, err := os.Stat(filepath.Join(dir, fileName)); err != nil || info.Size() > 4<<20 {
		t.Errorf("the file has %d bytes: %v", info.Size(), err)
	}
}

// A second process is told who has the file, after a second at most, and takes nothing away from the first.
func TestHeld(t *testing.T) {
	dir := t.TempDir()
	s := opened(t, dir)
	begun := time.Now()
	_, _, err := Open(dir, now)
	if !errors.Is(err, ErrHeld) || !strings.Contains(err.Error(), fmt.Sprint("process ", os.Getpid())) || !strings.Contains(err.Error(), dir) {
		t.Errorf("%v", err)
	}
	if took := time.Since(begun); took > 5*time.Second {
		t.Errorf("it took %v", took)
	}
	commit(t, s, "harbor-12", map[Record][]byte{Energy: []byte("x")})
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	opened(t, dir)
}

// A file that does not open is set aside and says why; an empty one takes its place, and only three such files are kept.
func TestDamagedFiles(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, fileName)
	s := opened(t, dir)
	commit(t, s, "harbor-12", map[Record][]byte{Judgement: bytes.Repeat([]byte("evidence"), 9000), Energy: []byte("x")})
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	changed := func(at int, with string) []byte {
		b := bytes.Clone(whole)
		copy(b[at:], with)
		return b
	}
	content := bytes.Index(whole, []byte("evidenceevidence"))
	for i, c := range []struct {
		name, says string
		file       []byte
	}{
		{"no store at all", "invalid", bytes.Repeat([]byte("time,setpoint\n"), 1000)},
		{"a few bytes", "", []byte("x")},
		{"nothing but zeros", "invalid", make([]byte, len(whole))},
		{"its end is missing", "its end is missing", whole[:5*4096]},
		{"another byte in a record", "judgement of harbor-12: the record is damaged", changed(content+5000, "E")},
		{"a newer layout", `layout "2"`, bytes.Replace(whole, []byte("version1"), []byte("version2"), 1)},
	} {
		if err := os.WriteFile(path, c.file, 0o640); err != nil {
			t.Fatal(err)
		}
		s, aside, err := Open(dir, now.Add(time.Duration(i)*time.Hour))
		if err != nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		if !strings.Contains(aside, c.says) || !strings.Contains(aside, path+".bad-2026") {
			t.Errorf("%s: it says %q, want %q", c.name, aside, c.says)
		}
		if got := loaded(t, s, "harbor-12"); len(got) != 0 {
			t.Errorf("%s: something was taken from it", c.name)
		}
		commit(t, s, "harbor-12", map[Record][]byte{Energy: []byte("new")})
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
		opened(t, dir).Close()
	}
	if old, _ := filepath.Glob(path + ".bad-*"); len(old) != mostAside {
		t.Errorf("%d files were kept: %v", len(old), old)
	}
}

// A file that ended the program three times while it was being opened is set aside at the fourth.
func TestEndedWhileOpening(t *testing.T) {
	dir := t.TempDir()
	commit(t, opened(t, dir), "harbor-12", map[Record][]byte{Energy: []byte("x")})
	for try := 1; try <= mostTries; try++ {
		if n, err := begin(dir); err != nil || n != try {
			t.Fatalf("try %d counts as %d, %v", try, n, err)
		}
	}
	other := t.TempDir() // the folder as the next process finds it, with nobody holding the file
	for _, name := range []string{fileName, openingName} {
		b, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(other, name), b, 0o640); err != nil {
			t.Fatal(err)
		}
	}
	s, aside, err := Open(other, now)
	if err != nil || !strings.Contains(aside, "3 times") {
		t.Fatalf("%v, %q", err, aside)
	}
	s.Close()
	opened(t, other)
}

// Where the disk is full a commit fails, what was kept before stays, and later ones go on.
func TestFull(t *testing.T) {
	dir := t.TempDir()
	s, _, err := open(dir, now, 256<<10)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	commit(t, s, "harbor-12", map[Record][]byte{Energy: []byte("small")})
	if err := s.Commit("harbor-12", map[Record][]byte{Energy: []byte("lost"), Judgement: make([]byte, 1<<20)}); err == nil {
		t.Error("a megabyte went into a quarter of one")
	}
	if got := loaded(t, s, "harbor-12"); string(got[Energy]) != "small" {
		t.Errorf("half of a commit is there: %q", got[Energy])
	}
	commit(t, s, "harbor-12", map[Record][]byte{Energy: []byte("again")})
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if got := loaded(t, opened(t, dir), "harbor-12"); string(got[Energy]) != "again" {
		t.Errorf("after the full disk it has %q", got[Energy])
	}
}

// A folder that cannot be made or written is an error that says so, and no reason to set anything aside; what lies
// there can still be read.
func TestNoFolder(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, aside, err := Open(filepath.Join(file, "state"), now); err == nil || aside != "" || !strings.Contains(err.Error(), file) {
		t.Errorf("%v, %q", err, aside)
	}
	dir := t.TempDir()
	s := opened(t, dir)
	commit(t, s, "harbor-12", map[Record][]byte{Energy: []byte("x")})
	s.Close()
	if got, err := Read(dir, "harbor-12"); err != nil || string(got[Energy]) != "x" {
		t.Errorf("%v, %q", err, got)
	}
	if _, err := Read(t.TempDir(), "harbor-12"); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("an empty folder: %v", err)
	}
}

// Bytes changed anywhere in a file end in records that are whole, or in a file set aside, never in a panic.
func TestRandomDamage(t *testing.T) {
	dir := t.TempDir()
	s := opened(t, dir)
	value := bytes.Repeat([]byte("evidence"), 2000)
	for i := range 20 {
		commit(t, s, fmt.Sprint("site-", i), map[Record][]byte{Judgement: value, Energy: []byte("x")})
	}
	s.Close()
	whole, err := os.ReadFile(filepath.Join(dir, fileName))
	if err != nil {
		t.Fatal(err)
	}
	seed := rand.Uint64()
	r := rand.New(rand.NewPCG(seed, 1))
	t.Log("seed ", seed)
	asides := 0
	for range 60 {
		dir := t.TempDir()
		b := bytes.Clone(whole)
		for range 1 + r.IntN(20) {
			page := r.IntN(len(b) / 4096)
			b[page*4096+r.IntN(64)] ^= byte(1 + r.IntN(255))
		}
		if err := os.WriteFile(filepath.Join(dir, fileName), b, 0o640); err != nil {
			t.Fatal(err)
		}
		s, aside, err := Open(dir, now)
		if err != nil {
			t.Fatal(err)
		}
		if aside != "" {
			asides++
		}
		for i := range 20 {
			if got := loaded(t, s, fmt.Sprint("site-", i)); aside == "" && !bytes.Equal(got[Judgement], value) {
				t.Errorf("site %d: %d bytes", i, len(got[Judgement]))
			}
		}
		s.Close()
	}
	t.Logf("%d of 60 files were set aside", asides)
}
