package config

import (
	"sync/atomic"
	"time"
)

// hoursCache holds the stretch of time around the last question over which its answer does not change.
type hoursCache struct{ last atomic.Pointer[stretch] }

type stretch struct {
	from, until time.Time // until is not part of it
	loc         *time.Location
	open        bool
}

// Asked says whether the site is open at t by the clock of loc; known is false where there are no hours. It may be called
// by several goroutines, and costs two comparisons while the answer stays the same.
//
// A span begins when the local clock first shows its begin and ends when the clock first shows its end, so each span happens
// once on the day that the clocks are put back; a time that is skipped when they are put forward counts as the moment of
// the change.
func (h *Hours) Asked(t time.Time, loc *time.Location) (open, known bool) {
	if !h.Given {
		return false, false
	}
	if h.cache == nil {
		return h.around(t, loc).open, true
	}
	s := h.cache.last.Load()
	if s == nil || s.loc != loc || t.Before(s.from) || !t.Before(s.until) {
		fresh := h.around(t, loc)
		s = &fresh
		h.cache.last.Store(s)
	}
	return s.open, true
}

// around computes the answer at t and how long it holds, at most to the end of the local day.
func (h *Hours) around(t time.Time, loc *time.Location) stretch {
	year, month, day := t.In(loc).Date()
	today := int(time.Date(year, month, day, 0, 0, 0, 0, time.UTC).Unix() / 86400)
	s := stretch{from: clockAt(today, 0, loc), until: clockAt(today+1, 0, loc), loc: loc}
	narrow := func(edge time.Time) {
		if edge.After(t) {
			if edge.Before(s.until) {
				s.until = edge
			}
		} else if edge.After(s.from) {
			s.from = edge
		}
	}
	for date := today - 1; date <= today+1; date++ {
		if h.Closed[date] {
			continue
		}
		weekday := ((date+4)%7 + 7) % 7 // 1970-01-01 was a Thursday
		for _, span := range h.Days[weekday] {
			begin, end := clockAt(date, span.From, loc), clockAt(date, span.To, loc)
			narrow(begin)
			narrow(end)
			s.open = s.open || !t.Before(begin) && t.Before(end)
		}
	}
	return s
}

// clockAt gives the first moment at which the local clock shows the date, in days since 1970-01-01, and the minutes from its
// midnight, or has passed them.
func clockAt(date, minutes int, loc *time.Location) time.Time {
	wall := time.Unix(int64(date)*86400+int64(minutes)*60, 0).UTC()
	offset := func(t time.Time) time.Duration {
		_, seconds := t.In(loc).Zone()
		return time.Duration(seconds) * time.Second
	}
	before, after := offset(wall.Add(-26*time.Hour)), offset(wall.Add(26*time.Hour))
	first, second := wall.Add(-before), wall.Add(-after)
	if second.Before(first) {
		first, second = second, first
	}
	for _, t := range []time.Time{first, second} {
		if wall.Add(-offset(t)).Equal(t) {
			return t
		}
	}
	// The clock jumps over it: the jump lies between the two.
	change, _ := second.In(loc).ZoneBounds()
	return change
}
