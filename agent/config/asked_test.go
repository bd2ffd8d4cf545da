package config

import (
	"sync"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func mustLoad(t testing.TB, name string) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return loc
}

// everyDay gives hours of one text for every day.
func everyDay(t testing.TB, text string) *Hours {
	t.Helper()
	spans, problem := parseSpans(text)
	if problem != "" {
		t.Fatal(problem)
	}
	h := &Hours{Given: true, cache: new(hoursCache)}
	for day := range h.Days {
		h.Days[day] = spans
	}
	return h
}

// TestParseSpans checks how hours are written.
func TestParseSpans(t *testing.T) {
	for text, want := range map[string][]Span{
		"06:00-23:00":              {{360, 1380}},
		"6:00-9:05":                {{360, 545}},
		" 06:00 - 23:00 ":          {{360, 1380}},
		"00:00-24:00":              {{0, 1440}},
		"22:00-02:00":              {{1320, 1560}},
		"22:00-00:00":              {{1320, 1440}},
		"06:00-12:00, 14:00-22:00": {{360, 720}, {840, 1320}},
		"closed":                   nil,
	} {
		got, problem := parseSpans(text)
		if problem != "" || len(got) != len(want) {
			t.Errorf("%q: %v %s, want %v", text, got, problem, want)
			continue
		}
		for i := range got {
			if got[i] != want[i] {
				t.Errorf("%q: %v, want %v", text, got, want)
			}
		}
	}
	for _, text := range []string{"", "6-23", "06:00", "06:00-", "24:00-06:00", "06:00-24:01", "06:60-07:00", "06:00-06:00", "06:0-07:00",
		"06:00-12:00,11:59-13:00", "-1:00-02:00", "06:00–23:00", "6am-11pm", "06:00-12:00,", "999999999999:00-02:00"} {
		if got, problem := parseSpans(text); problem == "" {
			t.Errorf("%q: taken as %v", text, got)
		}
	}
}

// TestAsked is a table of moments. Offsets are those of the time zone database: in New York clocks go forward at 2:00 on
// 2026-03-08 and back at 2:00 on 2026-11-01; in Havana both happen at midnight, on 2026-03-08 (0:00 to 1:00) and 2026-11-01
// (1:00 to 0:00).
func TestAsked(t *testing.T) {
	const newYork, havana = "America/New_York", "America/Havana"
	for _, c := range []struct {
		hours, zone, at string
		want            bool
	}{
		{"06:00-23:00", newYork, "2026-06-10T06:00:00-04:00", true},
		{"06:00-23:00", newYork, "2026-06-10T05:59:59-04:00", false},
		{"06:00-23:00", newYork, "2026-06-10T22:59:59-04:00", true},
		{"06:00-23:00", newYork, "2026-06-10T23:00:00-04:00", false},
		{"06:00-23:00", newYork, "2026-06-11T02:30:00Z", true}, // 22:30 the day before, told in another zone
		{"22:00-02:00", newYork, "2026-06-10T01:59:59-04:00", true},
		{"22:00-02:00", newYork, "2026-06-10T02:00:00-04:00", false},
		{"22:00-02:00", newYork, "2026-06-10T21:59:00-04:00", false},
		{"06:00-12:00,14:00-22:00", newYork, "2026-06-10T13:00:00-04:00", false},
		{"06:00-12:00,14:00-22:00", newYork, "2026-06-10T14:00:00-04:00", true},

		// The day of 23 hours: 2:00 to 3:00 is not on the clock.
		{"00:00-24:00", newYork, "2026-03-08T01:59:59-05:00", true},
		{"00:00-24:00", newYork, "2026-03-08T03:00:00-04:00", true},
		{"06:00-23:00", newYork, "2026-03-08T05:59:59-04:00", false},
		{"06:00-23:00", newYork, "2026-03-08T06:00:00-04:00", true},
		{"02:30-06:00", newYork, "2026-03-08T01:59:59-05:00", false},
		{"02:30-06:00", newYork, "2026-03-08T03:00:00-04:00", true}, // begins at the jump
		{"22:00-02:30", newYork, "2026-03-08T01:59:59-05:00", true},
		{"22:00-02:30", newYork, "2026-03-08T03:00:00-04:00", false}, // ends at the jump

		// The day of 25 hours: 1:00 to 2:00 is on the clock twice.
		{"00:00-24:00", newYork, "2026-11-01T01:30:00-04:00", true},
		{"00:00-24:00", newYork, "2026-11-01T01:30:00-05:00", true},
		{"00:00-24:00", newYork, "2026-11-01T23:59:59-05:00", true},
		{"06:00-23:00", newYork, "2026-11-01T22:59:59-05:00", true},
		{"06:00-23:00", newYork, "2026-11-01T23:00:00-05:00", false},
		{"22:00-01:30", newYork, "2026-11-01T01:29:59-04:00", true},
		{"22:00-01:30", newYork, "2026-11-01T01:15:00-05:00", false}, // over since the first 1:30
		{"01:30-06:00", newYork, "2026-11-01T01:30:00-04:00", true},  // begins with the first
		{"01:30-06:00", newYork, "2026-11-01T01:15:00-05:00", true},

		// Days whose midnight is not on the clock, or twice.
		{"00:00-24:00", havana, "2026-03-08T01:00:00-04:00", true},
		{"00:00-06:00", havana, "2026-03-07T23:59:59-05:00", false},
		{"00:00-06:00", havana, "2026-03-08T01:00:00-04:00", true},
		{"00:00-24:00", havana, "2026-11-01T00:30:00-04:00", true},
		{"00:00-24:00", havana, "2026-11-01T00:30:00-05:00", true},
		{"20:00-00:30", havana, "2026-11-01T00:29:59-04:00", true},
		{"20:00-00:30", havana, "2026-11-01T00:15:00-05:00", false},
	} {
		at, err := time.Parse(time.RFC3339, c.at)
		if err != nil {
			t.Fatal(err)
		}
		h := everyDay(t, c.hours)
		for range 2 { // computed, then from the cache
			if open, known := h.Asked(at, mustLoad(t, c.zone)); open != c.want || !known {
				t.Errorf("%s at %s: open %v, known %v, want %v", c.hours, c.at, open, known, c.want)
			}
		}
	}
}

// TestAskedClosed checks dates without hours: the night before runs on into them, and a span that would begin on them does not.
func TestAskedClosed(t *testing.T) {
	h := everyDay(t, "20:00-02:00")
	christmas := time.Date(2026, 12, 25, 0, 0, 0, 0, time.UTC)
	h.Closed = map[int]bool{int(christmas.Unix() / 86400): true}
	for hour, want := range map[int]bool{-3: true, 1: true, 3: false, 21: false, 25: false, 45: true} {
		if open, _ := h.Asked(christmas.Add(time.Duration(hour)*time.Hour), time.UTC); open != want {
			t.Errorf("%d h after the midnight: open %v, want %v", hour, open, want)
		}
	}
	if _, known := new(Hours).Asked(christmas, time.UTC); known {
		t.Error("hours that were not given are known")
	}
}

// TestAskedAgainstClock compares answers with the plain reading of a clock on the wall, away from changes of the clocks, over
// random hours; and the cached with the computed answer in any order of questions, across such changes.
func TestAskedAgainstClock(t *testing.T) {
	zones := []*time.Location{time.UTC, mustLoad(t, "America/New_York"), mustLoad(t, "Australia/Lord_Howe"), mustLoad(t, "America/Havana"), mustLoad(t, "Asia/Kathmandu")}
	rapid.Check(t, func(r *rapid.T) {
		h := &Hours{Given: true, cache: new(hoursCache), Closed: map[int]bool{}}
		for day := range h.Days {
			for range rapid.IntRange(0, 2).Draw(r, "spans") {
				from := rapid.IntRange(0, 1439).Draw(r, "from")
				h.Days[day] = append(h.Days[day], Span{from, from + rapid.IntRange(1, 1440).Draw(r, "length")})
			}
		}
		first := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
		for range rapid.IntRange(0, 3).Draw(r, "closed") {
			h.Closed[int(first.Unix()/86400)+rapid.IntRange(0, 365).Draw(r, "date")] = true
		}
		loc := rapid.SampledFrom(zones).Draw(r, "zone")
		at := first.Add(time.Duration(rapid.IntRange(0, 365*86400).Draw(r, "at")) * time.Second)
		for range 20 {
			at = at.Add(time.Duration(rapid.IntRange(-3600, 7200).Draw(r, "step")) * time.Second)
			open, known := h.Asked(at, loc)
			plain := Hours{Given: true, Days: h.Days, Closed: h.Closed}
			if computed, _ := plain.Asked(at, loc); open != computed || !known {
				r.Fatalf("%s: cached %v, computed %v", at.In(loc), open, computed)
			}
			if _, before := at.Add(-72 * time.Hour).In(loc).Zone(); before != offsetOf(at.Add(72*time.Hour), loc) {
				continue
			}
			if want := byTheClock(h, at.In(loc)); open != want {
				r.Fatalf("%s: open %v, by the clock %v", at.In(loc), open, want)
			}
		}
	})
}

func offsetOf(t time.Time, loc *time.Location) int {
	_, offset := t.In(loc).Zone()
	return offset
}

// byTheClock reads hours as a person does: is this minute within a span that began today, or yesterday?
func byTheClock(h *Hours, local time.Time) bool {
	minutes := float64(local.Hour()*60+local.Minute()) + float64(local.Second())/60
	for back := range 3 {
		date := time.Date(local.Year(), local.Month(), local.Day()-back, 0, 0, 0, 0, time.UTC)
		if h.Closed[int(date.Unix()/86400)] {
			continue
		}
		for _, s := range h.Days[date.Weekday()] {
			if m := minutes + float64(back*1440); m >= float64(s.From) && m < float64(s.To) {
				return true
			}
		}
	}
	return false
}

// TestAskedShared asks from several goroutines; it is for the race detector.
func TestAskedShared(t *testing.T) {
	h, loc := everyDay(t, "06:00-23:00"), mustLoad(t, "America/Chicago")
	var wait sync.WaitGroup
	for n := range 4 {
		wait.Go(func() {
			at := time.Date(2026, 3, 7, n, 0, 0, 0, loc)
			for range 500 {
				at = at.Add(7 * time.Minute)
				if open, _ := h.Asked(at, loc); open != (at.Hour() >= 6 && at.Hour() < 23) {
					t.Errorf("%s: open %v", at, open)
				}
			}
		})
	}
	wait.Wait()
}

// TestAskedAllocations: the answer that does not change costs no memory, since it is asked for every sample.
func TestAskedAllocations(t *testing.T) {
	h, loc := everyDay(t, "06:00-23:00"), mustLoad(t, "America/Chicago")
	at := time.Date(2026, 6, 10, 12, 0, 0, 0, loc)
	h.Asked(at, loc)
	if n := testing.AllocsPerRun(100, func() { h.Asked(at, loc) }); n != 0 {
		t.Errorf("%g allocations, want 0", n)
	}
}

// BenchmarkAsked is a recording of 15 s rows.
func BenchmarkAsked(b *testing.B) {
	h, loc := everyDay(b, "06:00-23:00"), mustLoad(b, "America/Chicago")
	at := time.Date(2026, 1, 1, 0, 0, 0, 0, loc)
	b.ReportAllocs()
	for b.Loop() {
		at = at.Add(15 * time.Second)
		h.Asked(at, loc)
	}
	b.ReportMetric(100, "limit-ns/op")
}
