package modbus

import (
	"errors"
	"testing"
	"time"
)

// TestHealth walks through what the cycles of a unit may bring: the pause begins with the second silence in a row, at
// twice the cycle, doubles, and begins anew after an answer.
func TestHealth(t *testing.T) {
	const period = 5 * time.Second
	silence := cycle{silent: true, stop: true, stopped: "no answer in time", err: errors.New("x")}
	answer := cycle{answers: 3, good: 2}
	partly := cycle{answers: 1, good: 1, silent: true, stop: true}
	faulty := cycle{answers: 2, faults: 2, err: errors.New("y")}
	nothing := cycle{stop: true, stopped: "not connected"}

	h := newHealth(period)
	now := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	for i, step := range []struct {
		c     cycle
		pause time.Duration // by 0.8 to 1.2
		dead  bool
	}{
		{answer, 0, false},
		{silence, 0, false},
		{answer, 0, false},
		{silence, 0, false},
		{nothing, 0, false}, // no connection says nothing of the unit
		{silence, 2 * period, true},
		{silence, 4 * period, true},
		{silence, 8 * period, true},
		{silence, time.Minute, true},
		{silence, time.Minute, true},
		{answer, 0, false},
		{silence, 0, false},
		{silence, 2 * period, true},
		{partly, 0, false},
		{faulty, 0, false},
		{faulty, 0, false},
		{faulty, 2 * period, false},
		{faulty, 4 * period, false},
		{answer, 0, false},
		{faulty, 0, false},
	} {
		now = now.Add(h.wait(now))
		h.note(&step.c, now)
		low, high := step.pause*8/10, min(step.pause*12/10, longestPause)
		if got := h.wait(now); got < low || got > high || h.dead() != step.dead {
			t.Errorf("step %d: pause %s, want %s; dead %v", i, got, step.pause, h.dead())
		}
		if h.wait(now) > 0 && (h.err == nil || h.reason == "") {
			t.Errorf("step %d: a pause without its reason", i)
		}
	}
}
