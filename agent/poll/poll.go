// Package poll reads devices on a fixed beat, one goroutine a device, and hands over what they gave.
//
// A device is due at fixed times, slots, that do not drift with the time that reading takes. A poll that is still going on
// when the next slot comes costs that slot: it is counted and never made up for, since a bus that cannot keep up must
// not be asked for more.
package poll

import (
	"context"
	"errors"
	"slices"
	"sync"
	"time"

	"dimwatch/drivers"
)

// Job is one device to be polled.
type Job struct {
	Source drivers.Source
	Points int           // how many readings it gives
	Cycle  time.Duration // from one poll to the next, above 0

	// Take gets what one poll gave: the readings, or the error of the device as a whole. It is called by the goroutine
	// of the device and must not keep readings.
	Take func(now time.Time, readings []drivers.Reading, err error)

	// Changed, where not nil, is told of the first failure in a row, of each one of another kind, and of the next answer
	// (err is nil), with the number of failed polls so far. It is called after Take.
	Changed func(err error, failures int)
}

// Buckets are the upper ends of the buckets in which polls are counted, in seconds. Chosen: from a quick answer on a local
// network to the longest timeouts behind a gateway.
var Buckets = [...]float64{0.005, 0.02, 0.1, 0.3, 1, 3, 10, 30}

// Stats are how the polls of a device went so far.
type Stats struct {
	Polled bool // at least once, to the end
	Up     bool // the last poll was answered

	// Last is when the last poll ended; a device whose goroutine is stuck shows here.
	Last time.Time

	Counts  drivers.Counts
	Reads   uint64 // polls that came to their end
	Skipped uint64 // slots that came while a poll was still going on

	Seconds float64              // the time that all reads took
	Within  [len(Buckets)]uint64 // reads that took at most Buckets[i]
}

// spread is the time over which the first polls are spread, where cycles are longer. Chosen: soon enough that a daemon is
// ready within some seconds, wide enough that devices behind one gateway are not all asked at once.
const spread = 5 * time.Second

// Poller polls the devices of one site.
type Poller struct {
	devices []*device
	cancel  context.CancelFunc
	polling sync.WaitGroup
}

// device is one device being polled.
type device struct {
	Job
	readings []drivers.Reading
	failures int    // polls that failed in a row
	kind     string // of the last one: see kindOf

	mu    sync.Mutex // guards stats
	stats Stats
}

// Start begins to poll, until ctx is done or Stop is called. The devices' slots are spread over the cycle.
func Start(ctx context.Context, jobs []Job) *Poller {
	ctx, cancel := context.WithCancel(ctx)
	p := &Poller{cancel: cancel}
	for i, job := range jobs {
		d := &device{Job: job, readings: make([]drivers.Reading, job.Points)}
		p.devices = append(p.devices, d)
		phase := min(job.Cycle, spread) * time.Duration(i) / time.Duration(len(jobs))
		p.polling.Go(func() { d.run(ctx, phase) })
	}
	return p
}

// Stop ends all polls and returns when the last has ended. It closes no source.
func (p *Poller) Stop() {
	p.cancel()
	p.polling.Wait()
}

// Stats are those of all jobs, in their order.
func (p *Poller) Stats() []Stats {
	list := make([]Stats, len(p.devices))
	for i, d := range p.devices {
		d.mu.Lock()
		list[i] = d.stats
		d.mu.Unlock()
	}
	return list
}

// Ready says that every device was polled once, whether it answered or not.
func (p *Poller) Ready() bool {
	return !slices.ContainsFunc(p.Stats(), func(s Stats) bool { return !s.Polled })
}

// run keeps the beat of one device.
func (d *device) run(ctx context.Context, phase time.Duration) {
	due := time.Now().Add(phase)
	timer := time.NewTimer(phase)
	defer timer.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-timer.C:
		}
		began := time.Now()
		skipped := uint64(0)
		if n := began.Sub(due) / d.Cycle; n > 0 { // the machine slept: a slot that has gone by is not read late
			due, skipped = due.Add(n*d.Cycle), uint64(n)
		}
		next := due.Add(d.Cycle)
		err := d.read(ctx, next)
		if ctx.Err() != nil {
			return // what was cut off by the end says nothing about the device
		}
		ended := time.Now()
		d.Take(ended, d.readings, err)
		d.tell(err)
		if late := time.Since(next); late >= 0 {
			n := late/d.Cycle + 1
			next = next.Add(n * d.Cycle)
			skipped += uint64(n)
		}
		due = next
		d.count(began, ended, err, skipped)
		timer.Reset(time.Until(due))
	}
}

// read reads once. It is cut off at the next slot.
func (d *device) read(ctx context.Context, next time.Time) error {
	ctx, cancel := context.WithDeadline(ctx, next)
	defer cancel()
	return d.Source.Read(ctx, d.readings)
}

// tell reports what has changed, if anything.
func (d *device) tell(err error) {
	before := d.failures
	if err != nil {
		d.failures++
	}
	changed := before > 0
	if err != nil {
		changed = before == 0 || d.kind != kindOf(err)
	}
	d.kind = kindOf(err)
	if changed && d.Changed != nil {
		d.Changed(err, d.failures)
	}
	if err == nil {
		d.failures = 0
	}
}

// kindOf names the sentinel of drivers that an error is of, so that a text that differs from poll to poll (a port, a
// time) is no news; an error of none of them is named by its text.
func kindOf(err error) string {
	if err == nil {
		return ""
	}
	for _, kind := range [...]error{
		drivers.ErrTimeout, drivers.ErrRefused, drivers.ErrReply, drivers.ErrDevice, drivers.ErrNoAnswer, drivers.ErrClosed,
	} {
		if errors.Is(err, kind) {
			return kind.Error()
		}
	}
	return err.Error()
}

// count adds a poll to the stats. Source.Counts is for the goroutine that reads, which is this one.
func (d *device) count(began, ended time.Time, err error, skipped uint64) {
	counts := d.Source.Counts()
	seconds := ended.Sub(began).Seconds()
	d.mu.Lock()
	defer d.mu.Unlock()
	s := &d.stats
	s.Polled, s.Up, s.Last, s.Counts = true, err == nil, ended, counts
	s.Reads++
	s.Skipped += skipped
	s.Seconds += seconds
	for i, most := range Buckets {
		if seconds <= most {
			s.Within[i]++
		}
	}
}
