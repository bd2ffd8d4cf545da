package modbus

import (
	"math/rand/v2"
	"time"
)

// longestPause ends the doubling of every pause. Chosen: a device that comes back is seen within a minute; longer would
// spare the network nothing that matters.
const longestPause = time.Minute

// backoff is the pause before something that failed is tried again: first, then doubled with each failure in a row up to
// longestPause, each time by a random factor of 0.8 to 1.2, so that the devices of many programs do not fall in step.
type backoff struct {
	first    time.Duration
	failures int
	next     time.Time
}

func (b *backoff) failed(now time.Time) {
	pause := b.first
	for range b.failures {
		if pause *= 2; pause >= longestPause {
			break
		}
	}
	pause = min(pause, longestPause)
	b.failures++
	b.next = now.Add(min(longestPause, time.Duration(float64(pause)*(0.8+0.4*rand.Float64()))))
}

func (b *backoff) succeeded() { b.failures, b.next = 0, time.Time{} }

// wait is how long the pause goes on; 0 when it is over.
func (b *backoff) wait(now time.Time) time.Duration { return max(0, b.next.Sub(now)) }

// allowance lets something happen in bursts and yet not more often than once in a while: each use takes one of most, and
// one comes back every so often.
type allowance struct {
	most  float64
	every time.Duration
	left  float64
	at    time.Time
}

// wait is how long until the next use is allowed; 0 for now.
func (a *allowance) wait(now time.Time) time.Duration {
	a.refill(now)
	if a.left >= 1 {
		return 0
	}
	return time.Duration((1 - a.left) * float64(a.every))
}

func (a *allowance) use(now time.Time) {
	a.refill(now)
	a.left--
}

func (a *allowance) refill(now time.Time) {
	if a.at.IsZero() {
		a.left = a.most
	} else {
		a.left = min(a.most, a.left+float64(now.Sub(a.at))/float64(a.every))
	}
	a.at = now
}
