package demo

import (
	"sync"
	"time"
)

// Store is the simulated store. New makes one that stands still until Advance is called; Start makes one that runs by
// the clock and answers Modbus requests. Its methods may be called from several goroutines.
type Store struct {
	mu      sync.Mutex
	zones   []*zone
	sensors map[uint8]*sensor // by unit
	silent  map[uint8]bool    // units that do not answer
	now     time.Duration     // since the start, a whole number of steps

	cells map[cell]uint16
	ends  map[tableID]tableEnds

	events chan Event
	closed bool
	writes int

	live *live // nil for one that was not started
}

const (
	// step is the time step of the model. Chosen: 100 ms, half of the shortest lag in it.
	step = 100 * time.Millisecond

	// eventsKept is how many events wait for a reader; what comes when so many wait is lost. A story has 22.
	eventsKept = 256
)

// New makes a store at the start of its story. Stores of one seed do the same at the same times.
func New(seed uint64) *Store {
	s := &Store{silent: map[uint8]bool{}, cells: map[cell]uint16{}, events: make(chan Event, eventsKept)}
	s.zones, s.sensors = build(seed)
	for _, x := range s.sensors {
		x.step(0)
	}
	for _, z := range s.zones {
		z.settle()
	}
	s.publish()
	s.ends = tables(s.cells)
	return s
}

// Advance takes the store to a time since its start. It never goes back, and how the time is cut into calls makes no
// difference.
func (s *Store) Advance(to time.Duration) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.advance(to)
}

func (s *Store) advance(to time.Duration) {
	if s.now+step > to {
		return
	}
	for s.now+step <= to {
		play(s.now, s.now+step, s.turn)
		s.now += step
		for _, x := range s.sensors {
			x.step(s.now)
		}
		for _, z := range s.zones {
			z.step(step.Seconds())
		}
	}
	s.publish()
}

// turn lets a row of the script begin or end.
func (s *Store) turn(row *Row, begins bool) {
	for _, z := range s.zones {
		switch {
		case z.name != row.Zone:
		case row.Fault == UnitSilent:
			s.silent[z.unit] = begins
		default:
			z.befall(row.Fault, begins)
		}
	}
	e := Event{At: s.now + step, Zone: row.Zone, Fault: row.Fault, Begins: begins, Text: row.Ends}
	if begins {
		e.Text = row.Begins
	}
	if s.closed {
		return
	}
	select {
	case s.events <- e:
	default: // nobody reads
	}
}

// Events gives the faults as they begin and end, in order. The channel is closed by Close. It keeps 256 events for a
// reader that is slow; more are lost.
func (s *Store) Events() <-chan Event { return s.events }

// Writes is how many write requests were refused so far: a watcher that only reads leaves it at 0. Requests of
// functions other than 1 to 6, 15 and 16 are refused as well, without being counted.
func (s *Store) Writes() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.writes
}
