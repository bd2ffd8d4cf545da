package modbus

import (
	"context"
	"fmt"
	"time"

	"dimwatch/drivers"
	"dimwatch/drivers/plan"
)

const (
	// busyPause is the least pause before a busy device is asked once more. Chosen: several scans of a usual controller.
	busyPause = 20 * time.Millisecond

	// keptCycles is how long the last value of a busy device is shown, as stale. Chosen: long enough for one busy spell,
	// and such a value is no evidence anyway.
	keptCycles = 3
)

// cycle is what one Read has found out so far.
type cycle struct {
	now     time.Time
	good    int    // runs that were answered with values
	answers int    // runs that were answered by the unit, with an exception as well
	faults  int    // answers that said that the device is faulty
	held    int    // points shown as stale
	err     error  // the first failure
	silent  bool   // the unit did not answer
	stop    bool   // no more runs in this cycle
	stopped string // why, for the points that were not read
}

// Read reads all points once, in as few requests as the planner found. Within a cycle the first request that the unit
// leaves unanswered is the last: those that follow would cost the other units of the link a timeout each. The next cycle
// begins behind it, so that one request that is never answered does not hide those after it.
func (s *source) Read(ctx context.Context, out []drivers.Reading) error {
	c := &s.cycleNow
	*c = cycle{now: time.Now()}
	if s.closed {
		s.fill(out, c.now, "source is closed")
		return fmt.Errorf("%v: %w", s.unit, drivers.ErrClosed)
	}
	if wait := s.health.wait(c.now); wait > 0 {
		s.fill(out, c.now, s.health.reason)
		return fmt.Errorf("%w (not asked again for %s)", s.health.err, round(wait))
	}
	unwatch := s.unit.watch(ctx)
	defer unwatch()
	if s.health.dead() && !s.probe(ctx, c) {
		s.fill(out, c.now, "not read: "+c.stopped)
		return s.finish(c, out)
	}
	total := 0
	for _, a := range s.areas {
		a.layOut(s.places, c.now)
		total += len(a.runs)
		for _, m := range a.missing {
			out[m.point] = drivers.Reading{At: c.now, Reason: m.reason}
		}
	}
	first := s.turn
	for k := range total {
		i := (first + k) % total
		a, n := s.run(i)
		if c.stop {
			for _, p := range a.runs[n].points {
				out[p] = drivers.Reading{At: c.now, Reason: "not read: " + c.stopped}
			}
			continue
		}
		s.ask(ctx, c, a, n, out)
		if c.silent {
			s.turn = (i + 1) % total
		}
	}
	return s.finish(c, out)
}

// fill sets every reading to bad.
func (s *source) fill(out []drivers.Reading, at time.Time, reason string) {
	for i := range out {
		out[i] = drivers.Reading{At: at, Reason: reason}
	}
}

// run gives run number i of all areas.
func (s *source) run(i int) (*area, int) {
	for _, a := range s.areas {
		if i < len(a.runs) {
			return a, i
		}
		i -= len(a.runs)
	}
	panic("modbus: no such run")
}

// probe asks a unit that did not answer for one value only, the narrowest, and says whether to go on.
func (s *source) probe(ctx context.Context, c *cycle) bool {
	best := -1
	for _, a := range s.areas {
		for _, r := range a.runs {
			for _, i := range r.points {
				if best < 0 || s.places[i].width() < s.places[best].width() {
					best = i
				}
			}
		}
	}
	if best < 0 {
		return true
	}
	p := &s.places[best]
	_, _, err := s.unit.link.read(ctx, s.unit, p.table, p.address, p.width(), s.data[:])
	if err != nil {
		s.failed(c, p.String(), err)
		if c.stop {
			return false
		}
		c.err = nil // an exception, or a broken answer: the unit is there, and the runs will tell
		return true
	}
	c.answers++
	for _, a := range s.areas {
		a.Alive()
	}
	return true
}

// ask does run n of an area and sets the readings that it brings.
func (s *source) ask(ctx context.Context, c *cycle, a *area, n int, out []drivers.Reading) {
	r := a.runs[n]
	size, at, err := s.unit.link.read(ctx, s.unit, a.table, r.read.Start, r.read.Count, s.data[:])
	if exceptionOf(err) == deviceBusy && s.waitBusy(ctx) {
		size, at, err = s.unit.link.read(ctx, s.unit, a.table, r.read.Start, r.read.Count, s.data[:])
	}
	if o, ok := lesson(err); ok {
		a.Report(n, o, at)
	}
	if err != nil {
		reason := s.failed(c, a.where(r.read), err)
		for _, i := range r.points {
			out[i] = drivers.Reading{At: at, Reason: reason}
			if exceptionOf(err) == deviceBusy {
				s.hold(c, i, &out[i])
			}
		}
		return
	}
	c.good++
	c.answers++
	for _, i := range r.points {
		value, quality, reason := s.places[i].decode(s.data[:size], r.read.Start)
		out[i] = drivers.Reading{At: at, Value: value, Quality: quality, Reason: reason}
		if quality == drivers.Good {
			s.kept[i] = kept{at, value}
		}
	}
}

// hold shows the last value of a point of a busy device as stale, for a while.
func (s *source) hold(c *cycle, i int, out *drivers.Reading) {
	last := s.kept[i]
	if last.at.IsZero() || c.now.Sub(last.at) > keptCycles*s.cycle {
		return
	}
	out.At, out.Value, out.Quality = last.at, last.value, drivers.Stale
	c.held++
}

// waitBusy waits before a busy device is asked once more; false if the caller does not want to wait.
func (s *source) waitBusy(ctx context.Context) bool {
	t := time.NewTimer(max(busyPause, 2*s.unit.link.gap))
	defer t.Stop()
	select {
	case <-t.C:
		return true
	case <-ctx.Done():
		return false
	}
}

// failed notes a request that brought no values, and gives the reason for its points.
func (s *source) failed(c *cycle, where string, err error) string {
	reason := ""
	if code := exceptionOf(err); code != 0 {
		reason = exceptionReason(code)
		sentinel := drivers.ErrDevice
		switch code {
		case gatewayPath, gatewayTarget:
			// These are the gateway's words: the unit itself is silent.
			c.silent, c.stop, sentinel = true, true, drivers.ErrTimeout
		case deviceFailure, memoryParity:
			c.faults++
			c.answers++
		default:
			c.answers++
		}
		err = fmt.Errorf("%w: %s", sentinel, reason)
	} else {
		f, _ := faultOf(err)
		reason = f.Error()
		switch f.kind {
		case timeoutFault, partialFault:
			c.silent, c.stop = true, true
		case dialFault, waitFault, cancelledFault:
			c.stop = true
		}
	}
	if c.err == nil {
		c.err = fmt.Errorf("%v: read %s: %w", s.unit, where, err)
	}
	if c.stop {
		c.stopped = reason
	}
	return reason
}

// lesson is what the planner learns from the end of a request; false for nothing.
func lesson(err error) (plan.Outcome, bool) {
	if err == nil {
		return plan.Answered, true
	}
	switch exceptionOf(err) {
	case illegalFunction:
		return plan.NoFunction, true
	case illegalAddress:
		return plan.NoAddress, true
	case illegalValue:
		return plan.NoCount, true
	}
	if f, ok := faultOf(err); ok && (f.kind == timeoutFault || f.kind == closedFault) {
		return plan.Silent, true
	}
	return 0, false
}

// finish draws the conclusions of a cycle: how soon to ask again, and whether the device as a whole gave no answer.
func (s *source) finish(c *cycle, out []drivers.Reading) error {
	s.health.note(c, time.Now())
	if c.good > 0 || c.held > 0 || len(out) == 0 {
		return nil
	}
	if c.err == nil {
		return fmt.Errorf("%v: %w: %s", s.unit, drivers.ErrDevice, out[0].Reason)
	}
	return c.err
}
