package modbus

import (
	"fmt"
	"time"

	"dimwatch/drivers"
	"dimwatch/drivers/plan"
)

// source reads the points of one unit, table by table, in the runs that the planner gives.
type source struct {
	unit   *unit
	cycle  time.Duration
	places []place
	areas  []*area

	health   health
	turn     int                         // where the next cycle begins among the runs, see Read
	kept     []kept                      // the last good value of each point, for a busy device
	data     [2 * plan.MaxRegisters]byte // of one answer; 2000 bits take as much
	cycleNow cycle                       // of the Read that is going on
	closed   bool
}

// kept is a value and when it was received.
type kept struct {
	at    time.Time
	value float64
}

// area is one table of the unit.
type area struct {
	*plan.Area
	table   table
	points  []int // indexes of the points in it
	version int   // of the plan that runs are made from
	runs    []run
	missing []missing
}

// run is one request and the points that it brings.
type run struct {
	read   plan.Read
	points []int
}

// missing is a point that no run brings, and why.
type missing struct {
	point  int
	reason string
}

func newSource(d drivers.Device, u *unit, places []place, cost plan.Cost) *source {
	if d.Timeout > 0 {
		u.timeout = d.Timeout
	}
	s := &source{unit: u, cycle: d.Cycle, places: places, kept: make([]kept, len(places))}
	s.health = newHealth(d.Cycle)
	for t := range tables {
		a := &area{table: table(t)}
		var spans []plan.Span
		for i := range places {
			if p := &places[i]; p.table == a.table {
				a.points = append(a.points, i)
				spans = append(spans, p.span())
			}
		}
		if spans != nil {
			price := cost
			if tables[t].bits {
				price.Each /= 16
			}
			a.Area = plan.NewArea(spans, price, a.table.most())
			a.layOut(places, time.Time{})
			s.areas = append(s.areas, a)
		}
	}
	return s
}

// layOut begins a cycle: it asks the planner for the reads and, where they are others than before, finds out which
// points they bring.
func (a *area) layOut(places []place, now time.Time) {
	reads := a.Reads(now)
	if a.version == a.Version() {
		return
	}
	a.version = a.Version()
	a.runs, a.missing = nil, nil
	for _, r := range reads {
		a.runs = append(a.runs, run{read: r})
	}
	for _, i := range a.points {
		found := false
		for j := range a.runs {
			if a.runs[j].read.Covers(places[i].span()) {
				a.runs[j].points = append(a.runs[j].points, i)
				found = true
				break
			}
		}
		if !found {
			a.missing = append(a.missing, missing{i, a.Missing(places[i].span())})
		}
	}
}

// Plan tells the requests of one Read.
func (s *source) Plan() []string {
	var lines []string
	for _, a := range s.areas {
		for _, r := range a.runs {
			lines = append(lines, fmt.Sprintf("read %s (%s, %s) of unit %d", a.where(r.read),
				plural(r.read.Count, a.unitWord()), plural(len(r.points), "point"), s.unit.id))
		}
	}
	return lines
}

// where names the addresses of a read: "holding 100..162".
func (a *area) where(r plan.Read) string {
	if r.Count == 1 {
		return fmt.Sprintf("%s %d", tables[a.table].key, r.Start)
	}
	return fmt.Sprintf("%s %d..%d", tables[a.table].key, r.Start, r.End()-1)
}

func (a *area) unitWord() string {
	if tables[a.table].bits {
		return "bit"
	}
	return "register"
}

func plural(n int, word string) string {
	if n == 1 {
		return "1 " + word
	}
	return fmt.Sprintf("%d %ss", n, word)
}

// Address is the host and port of the unit's link.
func (s *source) Address() string { return s.unit.link.address }

// Counts are the requests made so far.
func (s *source) Counts() drivers.Counts { return s.unit.counts }

// Close gives up the unit's part in the connection.
func (s *source) Close() error {
	if !s.closed {
		s.closed = true
		s.unit.link.leave()
	}
	return nil
}
