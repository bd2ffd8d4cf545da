package modbus

import (
	"testing"
	"time"
)

func TestBackoff(t *testing.T) {
	now := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	spread := map[time.Duration]bool{}
	for range 50 {
		b := backoff{first: time.Second}
		for i, plain := range []time.Duration{1, 2, 4, 8, 16, 32, 60, 60, 60, 60} {
			b.failed(now)
			wait, plain := b.wait(now), plain*time.Second
			if low, high := plain*8/10, min(plain*12/10, longestPause); wait < low || wait > high {
				t.Fatalf("pause %d is %s, not within %s and %s", i+1, wait, low, high)
			}
			if b.wait(now.Add(wait)) != 0 {
				t.Fatal("the pause does not end")
			}
			if i == 3 {
				spread[wait] = true
			}
		}
		b.succeeded()
		if b.wait(now) != 0 {
			t.Fatal("a success does not end the pause")
		}
		b.failed(now)
		if b.wait(now) > 1200*time.Millisecond {
			t.Fatal("a success does not begin anew")
		}
	}
	if len(spread) < 40 {
		t.Errorf("50 pauses had %d different lengths", len(spread))
	}
	b := backoff{}
	b.failed(now)
	if b.wait(now) != 0 {
		t.Error("a pause of nothing")
	}
}

func TestAllowance(t *testing.T) {
	now := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	a := allowance{most: 3, every: time.Second}
	used := 0
	for range 100 * 10 { // 100 s in steps of 0.1 s
		if a.wait(now) == 0 {
			a.use(now)
			used++
		}
		now = now.Add(100 * time.Millisecond)
	}
	if used < 101 || used > 103 {
		t.Errorf("%d uses in 100 s, with a burst of 3 and one a second after", used)
	}
	if wait := a.wait(now); wait > time.Second {
		t.Errorf("the next is %s away", wait)
	}
}
