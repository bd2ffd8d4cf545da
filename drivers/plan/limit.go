package plan

import (
	"slices"
	"time"
)

// limit is how many addresses a device gives in one read, as far as that was learned. A device that refuses a count is
// asked for half of it, and so on, until a whole cycle is answered; from there the largest count is searched upward by
// halves, once, and only while a larger one would save a read.
type limit struct {
	use     int       // in use now
	stood   int       // the largest with which a whole cycle was answered; 0 for none
	refused int       // the smallest count that was refused; 0 for none
	at      time.Time // of the last refusal

	longest       int  // largest count ever answered
	shortAnswered bool // a read was answered since the last one that was not
	silences      int  // longer reads than ever answered that got no answer, with an answered one before each
}

func (l *limit) answered(count int) {
	l.longest = max(l.longest, count)
	l.shortAnswered = true
}

// silent notes a read without an answer and says whether it was too long for the device. By itself silence says
// nothing; a long read that stays unanswered time after time while shorter ones in between are answered does.
func (l *limit) silent(count int) bool {
	if count <= l.longest || !l.shortAnswered {
		return false
	}
	l.shortAnswered = false
	l.silences++
	return l.silences >= patience
}

// lower notes that a count was refused.
func (a *Area) lower(count int, now time.Time) {
	l := &a.limit
	l.silences = 0
	l.at = now
	if l.refused == 0 || count < l.refused {
		l.refused = count
	}
	if l.stood >= l.refused {
		l.stood = 0
	}
	if l.stood > 0 {
		l.use = (l.stood + l.refused) / 2
		a.stopIfUseless()
	} else {
		l.use = max(l.refused/2, a.widest)
	}
	// Suspects that cannot be questioned under the new limit go back into the plan.
	a.suspects = slices.DeleteFunc(a.suspects, func(s suspect) bool {
		left, right := s.halves()
		return max(cover(left).Count, cover(right).Count) > l.use
	})
	a.stale = true
}

// searchLimit goes one step upward if the cycle that ends was answered whole under a limit that is being tried.
func (a *Area) searchLimit() {
	l := &a.limit
	if l.refused == 0 || l.use <= l.stood || a.stale {
		return
	}
	for _, t := range a.tasks {
		if t.kind == planned && !t.good {
			return
		}
	}
	l.stood = l.use
	l.use = (l.stood + l.refused) / 2
	a.stopIfUseless()
	a.stale = true
}

// stopIfUseless ends the search where the largest count that is still possible would save no read.
func (a *Area) stopIfUseless() {
	l := &a.limit
	reads := func(limit int) int {
		reads, _ := Reads(a.spans, a.cost, limit, a.holes())
		return len(reads)
	}
	if reads(l.refused-1) >= reads(l.stood) {
		l.use = l.stood
	}
}
