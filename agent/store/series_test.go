package store

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

// kept commits series and demands that it worked.
func kept(t testing.TB, s *Store, site string, series Series, now time.Time) Dropped {
	t.Helper()
	dropped, err := s.Keep(site, map[Record][]byte{Energy: []byte(now.Format(time.RFC3339))}, series, now)
	if err != nil {
		t.Fatal(err)
	}
	return dropped
}

// minutesOf gives the minutes of a zone with their values.
func minutesOf(t *testing.T, v View, site, zone string, from, to int64) (list []string) {
	t.Helper()
	err := v.History(site, zone, from, to, func(at int64, value []byte) error {
		list = append(list, fmt.Sprintf("%d:%s", at, value))
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return list
}

// Minutes are found by zone and time, and go after 26 hours; so do those of a clock that was wrong.
func TestHistory(t *testing.T) {
	s := opened(t, t.TempDir())
	m := now.Unix() / 60
	kept(t, s, "harbor-12", Series{Minutes: []Minute{
		{m, "produce", []byte("a")}, {m, "produce-2", []byte("b")}, {m + 1, "produce", []byte("c")}, {m + 2, "produce", []byte("d")},
	}}, now)
	kept(t, s, "alder-7", Series{Minutes: []Minute{{m, "produce", []byte("other")}, {m + 1e6, "produce", []byte("a wrong clock")}}}, now)
	got := minutesOf(t, s.View(), "harbor-12", "produce", m, m+1)
	if diff := cmp.Diff([]string{fmt.Sprintf("%d:a", m), fmt.Sprintf("%d:c", m+1)}, got); diff != "" {
		t.Error(diff)
	}
	if got := minutesOf(t, s.View(), "alder-7", "produce", 0, 1<<40); len(got) != 1 {
		t.Errorf("the other site has %v", got)
	}
	later := now.Add(HistoryHours*time.Hour + time.Minute)
	kept(t, s, "harbor-12", Series{Minutes: []Minute{{later.Unix() / 60, "produce", []byte("e")}}}, later)
	if got := minutesOf(t, s.View(), "harbor-12", "produce", 0, 1<<40); len(got) != 3 || !strings.HasSuffix(got[0], "c") {
		t.Errorf("after 26 hours there is %v", got)
	}
}

// The pieces of a clip come back by statement and time; the clips that begin first go when there are too many, or too much.
func TestClips(t *testing.T) {
	s := opened(t, t.TempDir())
	at := now.UnixNano()
	want := []Piece{
		{"zone/produce/1", 1, at, "", []byte("head")}, {"zone/produce/1", 1, at + 5, "produce", []byte("first")},
		{"zone/produce/1", 1, at + 9, "produce", []byte("second")}, {"zone/produce/1", 2, at, "", []byte("renamed")},
	}
	kept(t, s, "harbor-12", Series{Pieces: []Piece{want[3], want[1], want[2], {"zone/produce/12", 1, at, "", nil}}}, now)
	kept(t, s, "harbor-12", Series{Pieces: want[:1]}, now)
	got, err := s.View().Clip("harbor-12", "zone/produce/1")
	if diff := cmp.Diff(want, got); diff != "" || err != nil {
		t.Error(err, diff)
	}
	causes, err := causesOf(s)
	if diff := cmp.Diff([]string{"zone/produce/1", "zone/produce/12"}, causes); diff != "" || err != nil {
		t.Error(err, diff)
	}
	for i := range mostClips + 50 {
		d := kept(t, s, "harbor-12", Series{Pieces: []Piece{{fmt.Sprint("many/", i), 1, at + int64(1+i), "produce", []byte("x")}}}, now)
		if want := max(0, i+3-mostClips); d.All != uint64(want) {
			t.Fatalf("after %d clips %d were dropped, want %d", i+3, d.All, want)
		}
	}
	causes, err = causesOf(s)
	if err != nil || len(causes) != mostClips || len(causes) > 0 && !strings.HasPrefix(causes[0], "many/1") {
		t.Errorf("%v, %d clips: %v", err, len(causes), causes)
	}
	if got, _ := s.View().Clip("harbor-12", "zone/produce/1"); got != nil {
		t.Error("the oldest clip is still there")
	}
	d := kept(t, s, "harbor-12", Series{Pieces: []Piece{{"large", 1, at + 1e6, "produce", make([]byte, mostClipBytes-1000)}}}, now)
	if causes, _ := causesOf(s); d.Clips < mostClips/2 || len(causes) > mostClips/2 || causes[0] != "large" {
		t.Errorf("beside one of 8 MiB stay %d clips; %d were dropped", len(causes), d.Clips)
	}
}

// A file that another process has open and commits to all the time is read as of some commit of it, whole.
func TestLookWhileHeld(t *testing.T) {
	dir := t.TempDir()
	s := opened(t, dir)
	commitBoth := func(n int) {
		text := []byte(strconv.Itoa(n) + " ")
		commit(t, s, "harbor-12", map[Record][]byte{Judgement: bytes.Repeat(text, 50_000), Energy: text})
	}
	commitBoth(1)
	var last atomic.Int64
	stop, stopped := make(chan bool), make(chan bool)
	go func() {
		defer close(stopped)
		for n := 2; ; n++ {
			select {
			case <-stop:
				return
			case <-time.After(50 * time.Millisecond):
				commitBoth(n)
				last.Store(int64(n))
			}
		}
	}()
	for range 3 {
		before := int(last.Load())
		err := Look(dir, func(v View) error {
			records, err := v.Load("harbor-12")
			if err != nil {
				return err
			}
			first, _, _ := bytes.Cut(records[Judgement], []byte(" "))
			n, err := strconv.Atoi(string(first))
			if err != nil || n < before || !bytes.Equal(records[Judgement], bytes.Repeat(records[Energy], 50_000)) {
				return fmt.Errorf("half of a commit: %.20q, %q, %w", records[Judgement], records[Energy], err)
			}
			return nil
		})
		if err != nil {
			t.Error(err)
		}
	}
	close(stop)
	<-stopped
	if last.Load() < 5 {
		t.Errorf("only %d commits: the test shows nothing", last.Load())
	}
}

// fiveMinutes are those of a number of zones with all their channels, which end at a time.
func fiveMinutes(zones int, end time.Time) (series Series) {
	r := rand.New(rand.NewPCG(uint64(end.Unix()), 1))
	for m := end.Unix()/60 - 5; m < end.Unix()/60; m++ {
		for z := range zones {
			value := make([]byte, 45)
			for i := range value {
				value[i] = byte(r.Uint32())
			}
			series.Minutes = append(series.Minutes, Minute{m, fmt.Sprintf("aisles-%d-%d", z, z+3), value})
		}
	}
	return series
}

// clipOf is a clip as large as that of a zone at 5 s that was an hour from onset to raised: 2 h, 16 bytes a sample.
func clipOf(n int, at time.Time) []Piece {
	cause := fmt.Sprintf("zone/aisles-%d/%d", n%64, n)
	pieces := []Piece{{cause, uint32(n), at.UnixNano(), "", make([]byte, 6000)}}
	for i := range 24 {
		from := at.Add(time.Duration(i) * 5 * time.Minute).UnixNano()
		pieces = append(pieces, Piece{cause, uint32(n), from, "aisles", binary.BigEndian.AppendUint64(make([]byte, 60*16), uint64(from))})
	}
	return pieces
}

// The file stops growing: 64 zones with all their channels and a clip an hour for two months (three days where it is not
// asked for what takes long), committed every five minutes with a judgement of 400 KB.
func TestFileIsBounded(t *testing.T) {
	days := 3
	if os.Getenv("DIMWATCH_LONG") != "" {
		days = 60
	}
	dir := t.TempDir()
	s := opened(t, dir)
	s.db.NoSync = true // what is measured is the size
	size := func() float64 {
		info, err := os.Stat(filepath.Join(dir, fileName))
		if err != nil {
			t.Fatal(err)
		}
		return float64(info.Size()) / (1 << 20)
	}
	judgement := make([]byte, 400_000)
	afterTwo, most := 0.0, 0.0
	at, dropped := now, Dropped{}
	for n := range days * 288 {
		at = at.Add(5 * time.Minute)
		series := fiveMinutes(64, at)
		if n%12 == 0 {
			series.Pieces = clipOf(n, at)
		}
		d, err := s.Keep("harbor-12", map[Record][]byte{Judgement: judgement}, series, at)
		if err != nil {
			t.Fatal(err)
		}
		if d.All > 0 {
			dropped = d
		}
		most = max(most, size())
		if n == 2*288 {
			afterTwo = size()
		}
	}
	t.Logf("64 zones: %.1f MiB after two days, %.1f MiB after %d, %.1f MiB at most; %d clips dropped", afterTwo, size(), days, most, dropped.All)
	if most > 34 {
		t.Errorf("the file had %.1f MiB", most)
	}
	if got := minutesOf(t, s.View(), "harbor-12", "aisles-3-6", 0, 1<<40); len(got) < 26*60 || len(got) > 26*60+10 {
		t.Errorf("%d minutes are kept", len(got))
	}
	if free := s.db.Stats().FreePageN; free > 1000 {
		t.Errorf("%d pages are free: the file creeps", free)
	}
	if days > 10 && dropped.All == 0 {
		t.Error("no clip was dropped")
	}
}

// BenchmarkHistoryWrites commits the minutes of zones as a day does, and prints what is given to the disk in a day
// and by a commit, beside nothing else; 64 zones may take 40 MiB a day.
func BenchmarkHistoryWrites(b *testing.B) {
	for _, zones := range []int{20, 64} {
		b.Run(fmt.Sprint(zones, " zones"), func(b *testing.B) {
			s, _, err := Open(b.TempDir(), now)
			if err != nil {
				b.Fatal(err)
			}
			defer s.Close()
			at := now
			day := func(times int) float64 {
				before := writtenBytes(b)
				for range times {
					at = at.Add(5 * time.Minute)
					if _, err := s.Keep("harbor-12", nil, fiveMinutes(zones, at), at); err != nil {
						b.Fatal(err)
					}
				}
				return (writtenBytes(b) - before) / float64(times)
			}
			s.db.NoSync = true
			day(330) // as many as are kept, and some that are deleted
			s.db.NoSync = false
			var commit float64
			for b.Loop() {
				commit = day(50)
			}
			b.ReportMetric(commit/1024, "KiB/commit")
			b.ReportMetric(commit*288/(1<<20), "MiB/day")
			b.ReportMetric(40, "limit-MiB/day")
		})
	}
}

// writtenBytes is how many bytes this process has given to the system to write (proc(5), wchar of io).
func writtenBytes(b *testing.B) float64 {
	b.Helper()
	text, err := os.ReadFile("/proc/self/io")
	if err != nil {
		b.Skip("skipped: reads /proc, which is Linux's")
	}
	n, err := strconv.ParseFloat(string(regexp.MustCompile(`wchar: (\d+)`).FindSubmatch(text)[1]), 64)
	if err != nil {
		b.Fatal(err)
	}
	return n
}

// causesOf are those of which there is a clip.
func causesOf(s *Store) (causes []string, err error) {
	heads, err := s.View().Heads("harbor-12")
	for _, h := range heads {
		causes = append(causes, h.Cause)
	}
	return causes, err
}
