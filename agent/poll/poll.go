// Package poll reads devices at their cycles: one goroutine each, in fixed slots without drift, never two reads of one
// device at a time, and never a read to make up for one that was late.
package poll

import (
	"context"
	"math"
	"sync"
	"time"

	"dimwatch/drivers"
)

// Job is one device to be polled.
type Job struct {
	Source drivers.Source
	Points int           // how many readings a Read fills
	Cycle  time.Duration // from one slot to the next, > 0

	// Take is called after each Read, with the time when it returned. readings are good until Take returns.
	Take func(now time.Time, readings []drivers.Reading, err error)

	// Changed is called, where not nil, when a device stops answering (err is why), fails in another way, or answers again (err is nil; failures
	// is how many polls in a row had failed).
	Changed func(err error, failures int)
}

// Buckets are the upper bounds, in seconds, that the times of reads are counted in.
var Buckets = [...]float64{0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 10}

// Stats is what polling a device came to so far. All but Up and Polled only grow.
type Stats struct {
	Polled  bool // once at least
	Up      bool // the last Read got an answer
	Reads   uint64
	Skipped uint64 // slots that were not used, since the Read before them took too long
	Seconds float64
	Within  [len(Buckets)]uint64 // reads that took no longer than the bucket says
	Counts  drivers.Counts
}

// Poller polls the jobs that it was given until it is stopped.
type Poller struct {
	jobs   []Job
	cancel context.CancelFunc
	done   sync.WaitGroup

	mu    sync.Mutex
	stats []Stats
}

// Start begins to poll. The jobs' first slots are spread over their cycles, so that devices on one line do not all come
// at once.
func Start(ctx context.Context, jobs []Job) *Poller {
	ctx, cancel := context.WithCancel(ctx)
	p := &Poller{jobs: jobs, cancel: cancel, stats: make([]Stats, len(jobs))}
	start := time.Now()
	for i := range jobs {
		first := start.Add(time.Duration(i) * jobs[i].Cycle / time.Duration(len(jobs)))
		p.done.Go(func() { p.run(ctx, i, first) })
	}
	return p
}

// Stop ends polling and waits for reads that are going on; it does not close the sources.
func (p *Poller) Stop() {
	p.cancel()
	p.done.Wait()
}

// Stats copies what polling came to, a job each.
func (p *Poller) Stats() []Stats {
	p.mu.Lock()
	defer p.mu.Unlock()
	return append([]Stats(nil), p.stats...)
}

// Ready says whether every device was polled once.
func (p *Poller) Ready() bool {
	for _, s := range p.Stats() {
		if !s.Polled {
			return false
		}
	}
	return true
}

func (p *Poller) run(ctx context.Context, i int, first time.Time) {
	job := &p.jobs[i]
	readings := make([]drivers.Reading, job.Points)
	timer := time.NewTimer(time.Until(first))
	defer timer.Stop()
	failures, last := 0, ""
	for slot := 0; ctx.Err() == nil; {
		select {
		case <-ctx.Done():
			return
		case <-timer.C:
		}
		began := time.Now()
		limit, cancel := context.WithTimeout(ctx, job.Cycle)
		err := job.Source.Read(limit, readings)
		cancel()
		now := time.Now()
		if ctx.Err() != nil {
			return // a read that was broken off says nothing about the device
		}
		var skipped int
		slot, skipped = nextSlot(now.Sub(first), job.Cycle, slot)
		p.note(i, now.Sub(began).Seconds(), err, skipped)
		job.Take(now, readings, err)
		failures, last = job.tell(err, failures, last)
		timer.Reset(time.Until(first.Add(time.Duration(slot) * job.Cycle)))
	}
}

// nextSlot is the next slot after the time since the first one, and how many were missed since the last one.
func nextSlot(since, cycle time.Duration, last int) (slot, skipped int) {
	slot = int(since/cycle) + 1
	return slot, max(0, slot-last-1)
}

// tell reports a change: the first failure, one of another kind, and the recovery.
func (j *Job) tell(err error, failures int, last string) (int, string) {
	if err == nil {
		if failures > 0 && j.Changed != nil {
			j.Changed(nil, failures)
		}
		return 0, ""
	}
	text := err.Error()
	if text != last && j.Changed != nil {
		j.Changed(err, failures+1)
	}
	return failures + 1, text
}

func (p *Poller) note(i int, seconds float64, err error, skipped int) {
	counts := p.jobs[i].Source.Counts()
	p.mu.Lock()
	defer p.mu.Unlock()
	s := &p.stats[i]
	s.Polled, s.Up = true, err == nil
	s.Reads++
	s.Skipped += uint64(skipped)
	s.Seconds += math.Max(0, seconds)
	for b, bound := range Buckets {
		if seconds <= bound {
			s.Within[b]++
		}
	}
	s.Counts = counts
}
