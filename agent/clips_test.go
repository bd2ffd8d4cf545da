package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"dimwatch/agent/config"
	"dimwatch/agent/history"
	"dimwatch/agent/judge"
	"dimwatch/agent/store"
	"dimwatch/drivers"
	"dimwatch/drivers/all"
	"dimwatch/loops"
)

// clipHall is a judge of a hall, and takes it on to a time at 5 s a poll.
func clipHall(t *testing.T) (s *judge.Site, until func(at time.Time)) {
	t.Helper()
	file := filepath.Join(t.TempDir(), "site.hcl")
	write(t, file, hallText("127.0.0.1:1"))
	site, _, diags := config.Load(file, all.Kinds)
	if diags.HasErrors() {
		t.Fatal(diags)
	}
	s = judge.New(site)
	at := clipStart
	return s, func(to time.Time) {
		for ; !at.After(to); at = at.Add(5 * time.Second) {
			for d := range site.Devices {
				readings := make([]drivers.Reading, len(site.Devices[d].Points))
				for i := range readings {
					readings[i] = drivers.Reading{At: at, Value: float64(at.Unix() % 1000), Quality: drivers.Good}
				}
				s.Take(at, []judge.Poll{{Device: d, Readings: readings}})
			}
		}
	}
}

var clipStart = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)

func minutesIn(m int) time.Time { return clipStart.Add(time.Duration(m) * time.Minute) }

// cutMinutes are the minutes since the start of the samples of a zone that pieces have, the first and the last, and how many there are.
func cutMinutes(t *testing.T, pieces []store.Piece, zone string) (first, last float64, n int) {
	t.Helper()
	var times []int64
	for _, p := range pieces {
		if p.Zone != zone {
			continue
		}
		samples, err := history.DecodeSamples(p.Value)
		if err != nil || len(samples) == 0 || samples[0].At != p.From {
			t.Fatalf("a piece from %d: %v, %d samples", p.From, err, len(samples))
		}
		for _, s := range samples {
			times = append(times, s.At)
		}
	}
	if !slices.IsSorted(times) || len(slices.Compact(times)) != len(times) {
		t.Error("samples are twice in a clip, or out of order")
	}
	if len(times) == 0 {
		return 0, 0, 0
	}
	since := func(at int64) float64 { return time.Duration(at - clipStart.UnixNano()).Minutes() }
	return since(times[0]), since(times[len(times)-1]), len(times)
}

// A clip goes from half an hour before the onset to half an hour after it was raised, without a gap, also where a commit fails;
// that of its end likewise; the head says what stands and is kept with the first piece.
func TestClipIsCut(t *testing.T) {
	s, until := clipHall(t)
	f := loops.Finding{Seq: 7, ID: loops.PairShort, Cause: "zone/zone-1-1/1", Zones: []int{0}, Device: -1,
		Onset: minutesIn(60).UnixNano(), Raised: minutesIn(65).UnixNano()}
	var c clips
	var got []store.Piece
	until(minutesIn(65))
	if err := c.note(s, f); err != nil {
		t.Fatal(err)
	}
	for m := 65; m <= 100; m += 5 {
		until(minutesIn(m))
		pieces, kept := c.cut(s, minutesIn(m))
		if m == 70 || m == 75 { // these commits fail
			continue
		}
		kept()
		got = append(got, pieces...)
	}
	var head clipHead
	if len(got) == 0 || got[0].Zone != "" || json.Unmarshal(got[0].Value, &head) != nil || head.Config == "" || got[0].From != f.Onset {
		t.Fatalf("%d pieces, the first is no head", len(got))
	}
	// One sample each 5 s, both ends included.
	if first, last, n := cutMinutes(t, got, "zone-1-0"); first != 30 || last != 95 || n != 65*12+1 {
		t.Errorf("%d samples from minute %v to %v", n, first, last)
	}
	if len(c.due) != 0 {
		t.Error("the clip is not over")
	}
	f.Cleared = minutesIn(200).UnixNano()
	until(minutesIn(200))
	if err := c.note(s, f); err != nil {
		t.Fatal(err)
	}
	got = nil
	for m := 200; m <= 240; m += 5 {
		until(minutesIn(m))
		pieces, kept := c.cut(s, minutesIn(m))
		kept()
		got = append(got, pieces...)
	}
	if first, last, n := cutMinutes(t, got, "zone-1-0"); first != 170 || last != 230 || n != 60*12+1 {
		t.Errorf("of the end: %d samples from minute %v to %v", n, first, last)
	}
}

// What cannot be exported from is said with its file and what to do.
func TestExportSaysWhatIsWrong(t *testing.T) {
	site := filepath.Join(t.TempDir(), "site.hcl")
	write(t, site, hallText("127.0.0.1:1"))
	for _, c := range []struct {
		name, want string
		make       func(file string) error
	}{
		{"nothing", "there is no such file: --state or agent.state names the folder", func(string) error { return nil }},
		{"no state", "it is no state, or is damaged", func(file string) error { return os.WriteFile(file, []byte("no state at all, and long enough"), 0o600) }},
	} {
		dir := t.TempDir()
		file := filepath.Join(dir, "dimwatch.db")
		if err := c.make(file); err != nil {
			t.Fatal(err)
		}
		var out, errs bytes.Buffer
		if code := run([]string{"export", "-config", site, "--state", dir}, &out, &errs); code != failed || !strings.HasPrefix(errs.String(), "dimwatch: export: "+file+": "+c.want) {
			t.Errorf("%s: %d, %s%s, want %q", c.name, code, &out, &errs, c.want)
		}
	}
}

// A finding that ends while its clip is being cut goes on with it; one that took hours to convince has what is in the ring; one
// of many zones has some of them; and after a restart what still belongs to a clip is cut.
func TestClipsOfMore(t *testing.T) {
	s, until := clipHall(t)
	until(minutesIn(300))
	var c clips
	slow := loops.Finding{Seq: 1, ID: loops.GearStray, Cause: "slow", Zones: []int{1}, Device: -1,
		Onset: minutesIn(10).UnixNano(), Raised: minutesIn(300).UnixNano()}
	wide := loops.Finding{Seq: 2, ID: loops.DeviceLost, Cause: "wide", Zones: []int{0, 1, 2, 3, 4, 5, 6, 7, 8, 9}, Device: 0,
		Onset: minutesIn(299).UnixNano(), Raised: minutesIn(300).UnixNano()}
	for _, f := range []loops.Finding{slow, wide} {
		if err := c.note(s, f); err != nil {
			t.Fatal(err)
		}
	}
	pieces, kept := c.cut(s, minutesIn(300))
	kept()
	of := func(cause string) (list []store.Piece) {
		for _, p := range pieces {
			if p.Cause == cause {
				list = append(list, p)
			}
		}
		return list
	}
	if first, last, _ := cutMinutes(t, of("slow"), "zone-1-1"); first < 100 || first > 230 || last != 300 {
		t.Errorf("the slow one has minutes %v to %v", first, last)
	}
	if n := len(of("wide")); n != 1+mostClipZones {
		t.Errorf("the wide one has %d pieces", n)
	}
	wide.Cleared = minutesIn(310).UnixNano()
	if err := c.note(s, wide); err != nil {
		t.Fatal(err)
	}
	var again clips
	again.resume(s.Config(), []loops.Finding{slow, {Cause: "old", Zones: []int{0}, Raised: minutesIn(260).UnixNano()}}, minutesIn(305))
	until(minutesIn(345))
	pieces, kept = c.cut(s, minutesIn(345))
	kept()
	if first, last, _ := cutMinutes(t, of("wide"), "zone-1-0"); first <= 300 || last != 340 {
		t.Errorf("after its end the wide one has minutes %v to %v", first, last)
	}
	pieces, _ = again.cut(s, minutesIn(345))
	if first, last, _ := cutMinutes(t, of("slow"), "zone-1-1"); first <= 305 || last != 330 || len(pieces) != 1 {
		t.Errorf("after a restart the slow one has minutes %v to %v, %d pieces", first, last, len(pieces))
	}
	for i := range 3 * mostDue {
		if err := c.note(s, loops.Finding{Seq: i, Cause: fmt.Sprint(i), Zones: []int{0}, Device: -1}); err != nil {
			t.Fatal(err)
		}
	}
	if len(c.due) != mostDue {
		t.Errorf("%d clips are being cut", len(c.due))
	}
}
