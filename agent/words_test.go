package main

import (
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"pgregory.net/rapid"
)

// Folded text has every word in its order, no line longer than the page unless one word is, and no line that begins with a
// percent sign.
func TestFold(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		words := rapid.SliceOfN(rapid.StringMatching(`[a-z%é]{1,30}`), 1, 60).Draw(t, "words")
		lead := rapid.SampledFrom([]string{"", "  ", "  ! ", "  12. "}).Draw(t, "lead")
		var b strings.Builder
		fold(&b, lead, strings.Join(words, " "))
		if got := strings.Fields(strings.TrimPrefix(b.String(), lead)); strings.Join(got, " ") != strings.Join(words, " ") {
			t.Fatalf("%q became %q", words, got)
		}
		for i, line := range strings.Split(strings.TrimSuffix(b.String(), "\n"), "\n") {
			if n := utf8.RuneCountInString(line); n > width && len(strings.Fields(line)) > 1 && !strings.Contains(line, " %") {
				t.Errorf("line of %d columns: %q", n, line)
			}
			if i > 0 && strings.HasPrefix(line[len(lead):], "% ") || i > 0 && line[:len(lead)] != strings.Repeat(" ", len(lead)) {
				t.Errorf("line %q", line)
			}
		}
	})
}

func TestListed(t *testing.T) {
	names := []string{"a", "b", "c", "d", "e"}
	for most, want := range map[int]string{1: "a and 4 more", 3: "a, b, c and 2 more", 4: "a, b, c, d, e", 9: "a, b, c, d, e"} {
		if got := listed(names, most); got != want {
			t.Errorf("at most %d: %q, want %q", most, got, want)
		}
	}
}

// Times name their zone where it changes within the report, and only there; seconds are for what lasts minutes.
func TestClock(t *testing.T) {
	place, err := time.LoadLocation("Europe/Vienna")
	if err != nil {
		t.Fatal(err)
	}
	at := func(month time.Month, day, hour int) time.Time {
		return time.Date(2025, month, day, hour, 30, 15, 0, time.UTC)
	}
	for _, c := range []struct {
		from, to    time.Time
		want, after string
	}{
		{at(10, 20, 8), at(10, 25, 8), "Sat 2025-10-25 10:30", "10:30"},
		{at(10, 20, 8), at(10, 27, 8), "Mon 2025-10-27 09:30 CET", "09:30 CET"},
		{at(10, 20, 8), at(10, 20, 8).Add(time.Minute), "Mon 2025-10-20 10:31:15", "10:31:15"},
	} {
		k := newClock(place, c.from, c.to)
		nanos := c.to.UnixNano()
		if got := k.at(nanos); got != c.want {
			t.Errorf("%v to %v: %q, want %q", c.from, c.to, got, c.want)
		}
		if got := k.after(nanos, nanos-1e9); got != c.after {
			t.Errorf("a second later: %q, want %q", got, c.after)
		}
		if got := k.after(nanos, nanos-86400e9); got != c.want {
			t.Errorf("a day later: %q, want %q", got, c.want)
		}
	}
}
