package trend

// maxLate is by how many rows a row may come too late and still be put in its place.
const maxLate = 10

// row is one decoded row of a recording.
type row struct {
	at    int64 // nanoseconds since 1970
	line  int
	cells []cell // in the order of Recording.columns
}

// waiting is the little room in which rows wait until no earlier one can come any more: the maxLate rows behind the
// newest. It makes nothing after its start.
type waiting struct {
	rows  [maxLate + 1]row
	order [maxLate + 1]uint8 // indexes of rows: the first n are taken, in the order of time, the others free
	n     int

	given     bool // a row has been given, and its time is
	lastGiven int64
}

func (w *waiting) init(columns int) {
	cells := make([]cell, columns*len(w.rows))
	for i := range w.rows {
		w.order[i] = uint8(i)
		w.rows[i].cells = cells[i*columns:][:columns:columns]
	}
}

func (w *waiting) full() bool { return w.n == len(w.rows) }

// put finds the place of a row with this time, which the caller fills. Where there is none, because the time has been
// seen or is over, the row is nil and kind says which.
func (w *waiting) put(at int64) (r *row, kind ProblemKind) {
	if w.given && at <= w.lastGiven {
		if at == w.lastGiven {
			return nil, RepeatedTime
		}
		return nil, LateRow
	}
	place := w.n
	for place > 0 && w.rows[w.order[place-1]].at >= at {
		if w.rows[w.order[place-1]].at == at {
			return nil, RepeatedTime
		}
		place--
	}
	free := w.order[w.n]
	copy(w.order[place+1:w.n+1], w.order[place:w.n])
	w.order[place] = free
	if place < w.n {
		kind = Reordered
	}
	w.n++
	w.rows[free].at = at
	return &w.rows[free], kind
}

// take gives the earliest row. It stays as it is until put finds a place again.
func (w *waiting) take() *row {
	first := w.order[0]
	w.n--
	copy(w.order[:w.n], w.order[1:w.n+1])
	w.order[w.n] = first
	w.given, w.lastGiven = true, w.rows[first].at
	return &w.rows[first]
}
