package trend

import (
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"dimwatch/drivers"

	"github.com/google/go-cmp/cmp"
)

// twoDevices are north with columns a and b and south with b and c, on one file.
func twoDevices(t *testing.T, content string, more ...drivers.Device) (north, south *Source, all []*Source) {
	dir := t.TempDir()
	put(t, filepath.Join(dir, "x.csv"), content)
	for i := range more {
		more[i].Dir = dir
	}
	all = opened(t, append([]drivers.Device{
		device(t, "north", dir, `file = "x.csv"`, "a", "b"), device(t, "south", dir, `file = "x.csv"`, "b", "c")}, more...)...)
	return all[0], all[1], all
}

// next reads one row and shows it, or the error.
func next(s *Source) string {
	out := make([]drivers.Reading, len(s.places))
	err := s.Read(context.Background(), out)
	switch {
	case err == io.EOF:
		return "end"
	case errors.Is(err, drivers.ErrNoAnswer):
		return line(out) + " no answer"
	case err != nil:
		return strings.ReplaceAll(err.Error(), s.recording.file, "FILE")
	}
	return line(out)
}

func want(t *testing.T, got, want string) {
	t.Helper()
	if got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
}

func TestTurns(t *testing.T) {
	north, south, _ := twoDevices(t, "time,a,b,c\n10,1,2,3\n20,4,5,6\n30,7,8,9\n")
	want(t, next(north), "10 1 2")
	want(t, next(north), "trend FILE: device north asks for row 2 before all other devices on this file have read row 1: read each device once a row")
	want(t, next(south), "10 2 3")
	want(t, next(south), "20 5 6") // the order within a row is free
	want(t, next(south), "trend FILE: device south asks for row 3 before all other devices on this file have read row 2: read each device once a row")
	want(t, next(north), "20 4 5")
	want(t, next(north), "30 7 8")
	want(t, next(south), "30 8 9")
	for range 2 {
		want(t, next(north), "end")
		want(t, next(south), "end")
	}
	if c := (drivers.Counts{OK: 3}); north.Counts() != c || south.Counts() != c {
		t.Errorf("counts %+v and %+v, want %+v", north.Counts(), south.Counts(), c)
	}
}

func TestDeviceLost(t *testing.T) {
	north, south, _ := twoDevices(t, "time,a,b,c\n10,1,2,3\n20,4,,\n30,,,9\n40,,x,\n50,,,\n")
	got := []string{}
	for range 5 {
		got = append(got, next(north)+" / "+next(south))
	}
	if diff := cmp.Diff([]string{"10 1 2 / 10 2 3", "20 4 - / 20 - - no answer", "30 - - no answer / 30 - 9",
		"40 - <bad: not a number> / 40 <bad: not a number> -", "50 - - no answer / 50 - - no answer"}, got); diff != "" {
		t.Errorf("want - got +:\n%s", diff)
	}
	if c := (drivers.Counts{OK: 3, Timeout: 2}); north.Counts() != c || south.Counts() != c {
		t.Errorf("counts %+v and %+v, want %+v", north.Counts(), south.Counts(), c)
	}
	// A cell of two devices is counted once.
	if problems := north.Recording().Problems(); problems.Count(BadCell) != 1 || problems.Lost() != 1 {
		t.Errorf("problems: %q", problems.Summary())
	}
}

func TestDeviceLostSaysWhere(t *testing.T) {
	s := one(t, ".csv", "time,a\n10,1\n30,3\n20,\n", "a") // line 4 is the second row
	out := make([]drivers.Reading, 1)
	want(t, next(s), "10 1")
	err := s.Read(context.Background(), out)
	if !errors.Is(err, drivers.ErrNoAnswer) {
		t.Fatal(err)
	}
	want(t, err.Error(), "trend "+s.Recording().File()+" line 4: all values of device log are empty: the device did not answer")
	if !out[0].At.Equal(time.Unix(20, 0)) {
		t.Errorf("the time is %v", out[0].At)
	}
}

// TestOthersDoNotWait has devices that hold up nobody: one without points, and one that was closed.
func TestOthersDoNotWait(t *testing.T) {
	content := "time,a,b,c\n10,1,2,3\n20,4,5,6\n30,7,8,9\n"
	north, south, all := twoDevices(t, content, device(t, "idle", "", `file = "x.csv"`))
	want(t, next(all[2]), "")
	want(t, next(north), "10 1 2")
	want(t, next(south), "10 2 3")
	want(t, next(north), "20 4 5")
	if err := south.Close(); err != nil {
		t.Fatal(err)
	}
	want(t, next(north), "30 7 8")
	want(t, next(south), "trend FILE: device south is read after it was closed")
	want(t, next(north), "end")
	want(t, next(all[2]), "") // it has missed a row and has the current one
	want(t, next(all[2]), "end")
}

func TestReadLast(t *testing.T) {
	north, south, all := twoDevices(t, "time,a,b,c\n10,1,2,3\n30,7,,\n20,4,5,6\n", device(t, "idle", "", `file = "x.csv"`))
	out := make([]drivers.Reading, 2)
	if err := north.ReadLast(context.Background(), out); err != nil {
		t.Fatal(err)
	}
	want(t, line(out), "30 7 -")
	if err := south.ReadLast(context.Background(), out); !errors.Is(err, drivers.ErrNoAnswer) {
		t.Errorf("a last row without values: %v", err)
	}
	want(t, line(out), "30 - -")
	if err := all[2].ReadLast(context.Background(), nil); err != nil {
		t.Errorf("no points: %v", err)
	}
	want(t, next(north), "end")

	empty := one(t, ".csv", "time,a\n", "a")
	if err := empty.ReadLast(context.Background(), out[:1]); err != io.EOF {
		t.Errorf("no row at all: %v", err)
	}
	packed := string(compressed(t, "time,a\n10,1\n20,2\n"))
	cut := one(t, ".csv", packed[:len(packed)-8], "a")
	if err := cut.ReadLast(context.Background(), out[:1]); !errors.Is(err, drivers.ErrReply) || out[0].Quality == drivers.Good {
		t.Errorf("a damaged file: %v, %s", err, line(out[:1]))
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	late := one(t, ".csv", "time,a\n10,1\n", "a")
	if err := late.ReadLast(ctx, out[:1]); !errors.Is(err, context.Canceled) || !errors.Is(err, drivers.ErrTimeout) {
		t.Errorf("cancelled: %v", err)
	}
}

// TestCancelled wants a cancelled Read to lose no row.
func TestCancelled(t *testing.T) {
	s := one(t, ".csv", "time,a\n10,1\n20,2\n", "a")
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	out := make([]drivers.Reading, 1)
	for _, row := range []string{"10 1", "20 2", "end"} {
		if err := s.Read(ctx, out); !errors.Is(err, context.Canceled) || out[0].Quality == drivers.Good {
			t.Errorf("cancelled: %v, %s", err, line(out))
		}
		want(t, next(s), row)
	}
}

func TestRoomForReadings(t *testing.T) {
	s := one(t, ".csv", "time,a\n10,1\n", "a")
	want(t, errorText(s.Read(context.Background(), nil)), "trend "+s.Recording().File()+": device log has 1 points, but room for 0 readings was given")
	want(t, next(s), "10 1")
}

func errorText(err error) string {
	if err == nil {
		return "no error"
	}
	return err.Error()
}

// TestAtOnce has a goroutine for each device and one that watches: nothing is torn, whatever the order. The race
// detector does the rest.
func TestAtOnce(t *testing.T) {
	var content strings.Builder
	content.WriteString("time,a,b,c\n")
	for i := range 500 {
		fmt.Fprintf(&content, "%d,%d,%d,%d\n", i, i, i, i)
	}
	north, south, _ := twoDevices(t, content.String())
	turns := []chan bool{make(chan bool, 1), make(chan bool, 1)}
	var group sync.WaitGroup
	for i, s := range []*Source{north, south} {
		group.Go(func() {
			out := make([]drivers.Reading, 2)
			for row := 0; ; row++ {
				err := s.Read(context.Background(), out)
				if err == io.EOF && row == 500 {
					return
				}
				if err != nil || out[0].Value != float64(row) || out[1].Value != float64(row) {
					t.Errorf("row %d: %v, %v", row, out, err)
					return
				}
				turns[1-i] <- true
				<-turns[i]
			}
		})
	}
	group.Go(func() {
		r := north.Recording()
		for last := uint64(0); last < 500; {
			if t.Failed() {
				return
			}
			rows := r.Rows()
			if rows < last {
				t.Errorf("rows went from %d to %d", last, rows)
				return
			}
			last = rows
			r.Problems()
			r.Progress()
		}
	})
	group.Wait()
}
