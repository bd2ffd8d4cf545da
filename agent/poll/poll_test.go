package poll

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"dimwatch/drivers"
)

// slow is a source whose reads take as long as it is told, and fail when it is told.
type slow struct {
	took  time.Duration
	err   error
	at    []time.Duration
	start time.Time
	busy  bool

	mu sync.Mutex // for err
}

func (s *slow) fail(err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.err = err
}

func (s *slow) Read(ctx context.Context, out []drivers.Reading) error {
	if s.busy {
		panic("two reads at a time")
	}
	s.busy = true
	defer func() { s.busy = false }()
	s.at = append(s.at, time.Since(s.start))
	select {
	case <-time.After(s.took):
	case <-ctx.Done():
		return drivers.ErrTimeout
	}
	for i := range out {
		out[i] = drivers.Reading{At: time.Now(), Value: 1, Quality: drivers.Good}
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.err
}

func (s *slow) Plan() []string         { return nil }
func (s *slow) Counts() drivers.Counts { return drivers.Counts{OK: uint64(len(s.at))} }
func (s *slow) Close() error           { return nil }

// Slots lie at multiples of the cycle, whatever a read takes; one that takes longer than a cycle costs the slots that it
// runs over, and they are counted and never made up for.
func TestSlots(t *testing.T) {
	for _, c := range []struct {
		took    time.Duration
		at      []time.Duration
		skipped uint64
	}{
		{10 * time.Millisecond, []time.Duration{0, 1 * time.Second, 2 * time.Second, 3 * time.Second}, 0},
		{900 * time.Millisecond, []time.Duration{0, 1 * time.Second, 2 * time.Second, 3 * time.Second}, 0},
		// The read is cut off at the cycle, so the slot at that very time is gone.
		{1700 * time.Millisecond, []time.Duration{0, 2 * time.Second}, 2},
	} {
		synctest.Test(t, func(t *testing.T) {
			s := &slow{took: c.took, start: time.Now()}
			p := Start(t.Context(), []Job{{Source: s, Points: 1, Cycle: time.Second, Take: func(time.Time, []drivers.Reading, error) {}}})
			time.Sleep(3950 * time.Millisecond)
			synctest.Wait()
			st := p.Stats()[0]
			p.Stop()
			if !slices.Equal(s.at, c.at) {
				t.Errorf("reads of %v at %v, want %v", c.took, s.at, c.at)
			}
			if st.Skipped != c.skipped {
				t.Errorf("reads of %v: %d slots skipped, want %d", c.took, st.Skipped, c.skipped)
			}
		})
	}
}

// Devices do not all come at once, and each is polled by itself: a slow one costs the others nothing.
func TestDevicesAreApart(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		a, b := &slow{took: 5 * time.Second, start: time.Now()}, &slow{took: time.Millisecond, start: time.Now()}
		none := func(time.Time, []drivers.Reading, error) {}
		p := Start(t.Context(), []Job{{Source: a, Cycle: time.Second, Take: none}, {Source: b, Cycle: time.Second, Take: none}})
		time.Sleep(2900 * time.Millisecond)
		if !p.Ready() {
			t.Error("not ready although both were polled")
		}
		p.Stop()
		want := []time.Duration{500 * time.Millisecond, 1500 * time.Millisecond, 2500 * time.Millisecond}
		if !slices.Equal(b.at, want) {
			t.Errorf("second device read at %v, want %v", b.at, want)
		}
	})
}

// A failure is told once, another one again, and the recovery with the count of what failed.
func TestChangesAreToldOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := &slow{took: time.Millisecond, start: time.Now()}
		var told []string
		p := Start(t.Context(), []Job{{Source: s, Points: 2, Cycle: time.Second,
			Take: func(_ time.Time, r []drivers.Reading, err error) {
				if len(r) != 2 {
					t.Errorf("%d readings", len(r))
				}
			},
			Changed: func(err error, n int) {
				text := "answers"
				if err != nil {
					text = err.Error()
				}
				told = append(told, text, string(rune('0'+n)))
			}}})
		time.Sleep(1500 * time.Millisecond)
		s.fail(errors.New("no route"))
		time.Sleep(3 * time.Second)
		s.fail(errors.New("refused"))
		time.Sleep(time.Second)
		s.fail(nil)
		time.Sleep(2 * time.Second)
		up := p.Stats()[0]
		p.Stop()
		if want := []string{"no route", "1", "refused", "4", "answers", "4"}; !slices.Equal(told, want) {
			t.Errorf("told %q, want %q", told, want)
		}
		if !up.Up || up.Reads != 8 || up.Counts.OK != 8 {
			t.Errorf("%+v", up)
		}
	})
}

// A read that Stop cuts off says nothing about the device, and is not handed over.
func TestStopIsNoFailure(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := &slow{took: 800 * time.Millisecond, start: time.Now()}
		taken := 0
		p := Start(t.Context(), []Job{{Source: s, Points: 1, Cycle: time.Second,
			Take:    func(time.Time, []drivers.Reading, error) { taken++ },
			Changed: func(err error, _ int) { t.Errorf("told of %v", err) }}})
		time.Sleep(1500 * time.Millisecond) // within the second read
		began := time.Now()
		p.Stop()
		if waited := time.Since(began); waited != 0 {
			t.Errorf("stopping took %v", waited)
		}
		if taken != 1 || len(s.at) != 2 {
			t.Errorf("%d polls handed over of %d begun, want 1 of 2", taken, len(s.at))
		}
	})
}

// An error whose text differs from poll to poll, but not its kind, is one failure; another kind is told.
func TestSameKindIsTheSameFailure(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := &slow{took: time.Millisecond, start: time.Now()}
		n := 0
		var told []string
		p := Start(t.Context(), []Job{{Source: s, Points: 1, Cycle: time.Second,
			Take: func(time.Time, []drivers.Reading, error) {
				n++
				kind := drivers.ErrTimeout
				if n > 5 {
					kind = drivers.ErrRefused
				}
				s.fail(fmt.Errorf("from port %d: %w", 40000+n, kind))
			},
			Changed: func(err error, failures int) { told = append(told, fmt.Sprint(failures, " ", err)) }}})
		time.Sleep(8500 * time.Millisecond)
		p.Stop()
		want := []string{"1 from port 40001: no answer in time", "6 from port 40006: not connected"}
		if !slices.Equal(told, want) {
			t.Errorf("told %q, want %q", told, want)
		}
	})
}

// Reads are counted in every bucket that they fit.
func TestBuckets(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := &slow{took: 250 * time.Millisecond, start: time.Now()}
		p := Start(t.Context(), []Job{{Source: s, Points: 1, Cycle: time.Second, Take: func(time.Time, []drivers.Reading, error) {}}})
		time.Sleep(3500 * time.Millisecond)
		st := p.Stats()[0]
		p.Stop()
		if st.Reads != 4 || st.Seconds != 1 {
			t.Errorf("%d reads of %g s, want 4 of 1 s together", st.Reads, st.Seconds)
		}
		for i, most := range Buckets {
			want := uint64(0)
			if most >= 0.25 {
				want = 4
			}
			if st.Within[i] != want {
				t.Errorf("%d reads within %g s, want %d", st.Within[i], most, want)
			}
		}
	})
}
