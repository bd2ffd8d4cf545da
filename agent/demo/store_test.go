package demo

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"strings"
	"testing"
	"time"
)

// seen is a zone as its points show it at one time.
type seen struct {
	at                          time.Duration
	setpoint, command, feedback float64 // percent
	milliamp                    float64
	power                       float64 // share of rated; NaN where the zone has no meter
	lit                         float64
	err                         error
}

// watch reads every zone once a second up to a time, as a poll through the example configuration would.
func watch(t *testing.T, s *Store, to time.Duration) map[string][]seen {
	t.Helper()
	points, rated := readConfig(t)
	all := map[string][]seen{}
	for at := time.Duration(0); at <= to; at += time.Second {
		s.Advance(at)
		for name, roles := range points {
			x := seen{at: at, power: math.NaN()}
			get := func(role string) (v float64) {
				v, _, err := roles[role].get(s)
				x.err = errors.Join(x.err, err)
				return v
			}
			x.setpoint, x.command, x.feedback, x.lit = get("setpoint"), get("command"), get("feedback"), get("lit")
			_, x.milliamp, _ = roles["feedback"].get(s)
			if _, metered := roles["power"]; metered {
				x.power = get("power") / rated[name]
			}
			all[name] = append(all[name], x)
		}
	}
	return all
}

const arriving = 12 * time.Second // within which every loop has arrived where a change leaves it

// faulty tells whether a row of the script holds at a time, or has ended so lately that the zone is still on its way.
func faulty(row Row, at time.Duration) bool {
	at %= Story
	return at >= row.From && at < row.To+arriving
}

func TestHealthyZonesFollow(t *testing.T) {
	for _, seed := range []uint64{1, 2, 3} {
		always := 0
		for name, readings := range watch(t, New(seed), 2*Story) {
			lowest, highest, whole := 100.0, 0.0, true
		reading:
			for _, x := range readings {
				for _, row := range Script() {
					if (row.Zone == name || row.Fault == UnitSilent && name == "seasonal") && faulty(row, x.at) {
						whole = false
						continue reading
					}
				}
				if x.err != nil {
					t.Fatalf("seed %d, %v: %s: %v", seed, x.at, name, x.err)
				}
				lowest, highest = min(lowest, x.setpoint), max(highest, x.setpoint)
				if off := math.Abs(x.setpoint - x.feedback); off > 5 {
					t.Errorf("seed %d, %v: %s: setpoint %.1f, feedback %.1f", seed, x.at, name, x.setpoint, x.feedback)
				}
				if off := math.Abs(x.command - x.feedback); off > 5 {
					t.Errorf("seed %d, %v: %s: command %.1f, feedback %.1f", seed, x.at, name, x.command, x.feedback)
				}
				if want := power(x.feedback); !math.IsNaN(x.power) && math.Abs(x.power-want) > 0.05 {
					t.Errorf("seed %d, %v: %s: power %.2f, want %.2f", seed, x.at, name, x.power, want)
				}
				if x.lit != 1 {
					t.Errorf("seed %d, %v: %s is not lit", seed, x.at, name)
				}
			}
			if whole {
				always++
				// Put to the test: the setpoint moves through the middle and is never full.
				if lowest > 55 || highest < 80 || highest > 97 {
					t.Errorf("seed %d: %s: setpoint %.0f..%.0f", seed, name, lowest, highest)
				}
			}
		}
		if always < 3 {
			t.Errorf("seed %d: %d zones are healthy throughout, want 3", seed, always)
		}
	}
}

// spread is the lowest and highest of a value over readings.
func spread(readings []seen, of func(seen) float64) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, x := range readings {
		low, high = min(low, of(x)), max(high, of(x))
	}
	return low, high
}

// TestFaultsRead holds what each fault shows against the signature that the circuit gives it: which channel rests where,
// and where the loop drives the command. Source: Kirchhoff's laws; end stops as any integrating loop has; 3.6 mA after
// NAMUR NE 43.
func TestFaultsRead(t *testing.T) {
	feedback := func(x seen) float64 { return x.feedback }
	command := func(x seen) float64 { return x.command }
	powers := func(x seen) float64 { return x.power }
	milliamp := func(x seen) float64 { return x.milliamp }
	within := func(t *testing.T, what string, readings []seen, of func(seen) float64, low, high float64) {
		t.Helper()
		if a, b := spread(readings, of); !(a >= low && b <= high) {
			t.Errorf("%s %.2f..%.2f, want within %.2f..%.2f", what, a, b, low, high)
		}
	}
	// settled are the readings after the loop arrived, whole those of all the fault.
	checks := map[string]func(t *testing.T, settled, whole []seen){
		"pair-short": func(t *testing.T, settled, _ []seen) {
			within(t, "feedback", settled, feedback, -1, 3)
			within(t, "command", settled, command, 100, 100)
			within(t, "power", settled, powers, 0.29, 0.31) // minimum light
		},
		"pair-open": func(t *testing.T, settled, _ []seen) {
			within(t, "feedback", settled, feedback, -1, 1)
			within(t, "command", settled, command, 100, 100)
			within(t, "power", settled, powers, 0.97, 1.03)
		},
		"circuit-off": func(t *testing.T, settled, _ []seen) {
			within(t, "feedback", settled, feedback, -1, 1)
			within(t, "command", settled, command, 100, 100)
			within(t, "power", settled, powers, 0, 0)
			within(t, "order", settled, func(x seen) float64 { return x.lit }, 1, 1)
		},
		"not-dimming": func(t *testing.T, settled, _ []seen) {
			within(t, "current", settled, milliamp, 20.3, 20.51)
			within(t, "command", settled, command, 0, 0)
			within(t, "power", settled, powers, 0.97, 1.03)
		},
		"stuck-dim": func(t *testing.T, settled, _ []seen) {
			within(t, "feedback", settled, feedback, 5, 15)
			within(t, "command", settled, command, 100, 100)
			within(t, "power", settled, powers, 0.29, 0.31)
		},
		"stuck-mid": func(t *testing.T, settled, _ []seen) {
			low, high := spread(settled, feedback)
			if high-low > 1.5 || low < 20 || high > 90 {
				t.Errorf("feedback %.1f..%.1f, want it at rest between", low, high)
			}
			if high-low < 0.05 {
				t.Error("the feedback has lost its noise: it is frozen, not stuck")
			}
			if low, high = spread(settled, command); low > 0 || high < 100 {
				t.Errorf("command %.0f..%.0f, want both end stops", low, high)
			}
		},
		"feedback-frozen": func(t *testing.T, settled, whole []seen) {
			if low, high := spread(whole, milliamp); low != high || low < 5 || high > 19 {
				t.Errorf("current %v..%v, want it still, and plausible", low, high)
			}
			if low, high := spread(settled, powers); high-low < 0.1 {
				t.Errorf("power %.2f..%.2f, want it to move", low, high)
			}
			if low, high := spread(settled, command); high-low < 20 {
				t.Errorf("command %.0f..%.0f, want it to move", low, high)
			}
		},
		"feedback-loop-low": func(t *testing.T, settled, _ []seen) {
			within(t, "current", settled, milliamp, 0, 3.6)
			within(t, "command", settled, command, 100, 100)
			within(t, "power", settled, powers, 0.97, 1.03)
		},
		"command-held": func(t *testing.T, _, whole []seen) {
			low, high := spread(whole, command)
			if high-low > 0.01 || low < 5 || high > 95 {
				t.Errorf("command %.2f..%.2f, want it still, away from its ends", low, high)
			}
			within(t, "feedback", whole, feedback, low-3, high+3)
		},
	}
	readings := watch(t, New(7), Story)
	done := 0
	for _, row := range Script() {
		signature := row.Finding
		if row.Fault == CommandByHand {
			signature = "command-held" // what it looks like, though nothing is broken
		}
		if signature == "" || row.Fault == UnitSilent {
			continue
		}
		t.Run(row.Zone+" "+signature, func(t *testing.T) {
			check, any := checks[signature]
			if !any {
				t.Fatal("no signature to check")
			}
			var settled, whole []seen
			apart := 0
			for _, x := range readings[row.Zone] {
				if x.at <= row.From || x.at >= row.To {
					continue
				}
				whole = append(whole, x)
				if math.Abs(x.setpoint-x.feedback) > 12 {
					apart++
				}
				if x.at > row.From+arriving {
					settled = append(settled, x)
				}
			}
			check(t, settled, whole)
			// Long enough beyond a tolerance of 10 % for a finding to be made of it.
			if apart < 25 {
				t.Errorf("setpoint and feedback are apart for %d s only", apart)
			}
		})
		done++
	}
	if done != len(checks) {
		t.Errorf("%d faults in the script, %d signatures", done, len(checks))
	}
}

// TestTwoGrounds follows the short through its repairs: the first ground shows nothing, the second makes the short, the
// first repair leaves it, the second ends it.
func TestTwoGrounds(t *testing.T) {
	readings := watch(t, New(3), Story)["stock-room"]
	for _, row := range []struct {
		from, to time.Duration
		shorted  bool
	}{
		{5 * second, 10 * second, false}, {13 * second, 72 * second, true},
		{72 * second, 100 * second, true}, {100*second + arriving, Story, false},
	} {
		for _, x := range readings {
			if x.at < row.from || x.at >= row.to {
				continue
			}
			if shorted := x.feedback < 3; shorted != row.shorted {
				t.Errorf("%v: feedback %.1f %%, want shorted %v", x.at, x.feedback, row.shorted)
			}
		}
	}
}

func TestSilentUnit(t *testing.T) {
	s := New(1)
	for _, row := range []struct {
		at     time.Duration
		silent bool
	}{{114 * second, false}, {116 * second, true}, {154 * second, true}, {156 * second, false}, {Story + 116*second, true}} {
		s.Advance(row.at)
		if _, err := s.Register(unitGarden, Holding, 0); errors.Is(err, ErrSilent) != row.silent {
			t.Errorf("%v: %v, want silent %v", row.at, err, row.silent)
		}
		if _, err := s.Register(unitNorth, Holding, 100); err != nil {
			t.Errorf("%v: another unit: %v", row.at, err)
		}
	}
}

func TestRegister(t *testing.T) {
	s := New(1)
	for _, row := range []struct {
		unit uint8
		kind Kind
		addr uint16
		want error
	}{
		{unitNorth, Holding, 100, nil}, {unitNorth, Holding, 99, ErrNoRegister}, {unitNorth, Holding, 110, ErrNoRegister},
		{unitSouth, Input, 303, nil}, // a hole
		{unitSouth, Coil, 0, ErrNoRegister}, {unitSouth, Discrete, 8, nil}, {99, Holding, 100, ErrSilent},
	} {
		if _, err := s.Register(row.unit, row.kind, row.addr); !errors.Is(err, row.want) {
			t.Errorf("unit %d %s %d: %v, want %v", row.unit, row.kind, row.addr, err, row.want)
		}
	}
}

// TestDeterminism cuts the same time into different calls.
func TestDeterminism(t *testing.T) {
	a, b, c := New(5), New(5), New(6)
	for at := time.Duration(0); at <= Story/2; at += 30 * time.Millisecond {
		a.Advance(at)
	}
	a.Advance(Story / 2)
	b.Advance(Story / 2)
	b.Advance(0)
	c.Advance(Story / 2)
	if !maps.Equal(a.cells, b.cells) {
		t.Error("two stores of one seed differ")
	}
	if maps.Equal(a.cells, c.cells) {
		t.Error("stores of different seeds do not differ")
	}
}

func TestEvents(t *testing.T) {
	s := New(1)
	s.Advance(2 * Story)
	s.Close()
	var events []Event
	for e := range s.Events() {
		events = append(events, e)
	}
	half := len(Script()) * 2
	if len(events) != 2*half {
		t.Fatalf("%d events in two stories, want %d", len(events), 2*half)
	}
	for i, e := range events[:half] {
		again := events[half+i]
		again.At -= Story
		if again != e {
			t.Errorf("the second story has %v, the first %v", again, e)
		}
		if i > 0 && e.At < events[i-1].At {
			t.Errorf("%v comes after %v", e, events[i-1])
		}
		if strings.TrimSpace(e.Text) == "" {
			t.Errorf("%v says nothing", e)
		}
	}
	if got, want := events[1].String(), "10 s: stock-room: a second ground"; !strings.HasPrefix(got, want) {
		t.Errorf("%q, want %q...", got, want)
	}
}

// TestScript checks what the story promises: names that exist, one fault of a kind at a time, first trouble at 10 s, calm
// at the end, no overlap in one zone but the two grounds.
func TestScript(t *testing.T) {
	names := map[string]bool{}
	for _, r := range rooms {
		if names[r.name] {
			t.Errorf("two zones %q", r.name)
		}
		names[r.name] = true
	}
	first := Story
	for i, row := range Script() {
		if !names[row.Zone] {
			t.Errorf("zone %q is not in the store", row.Zone)
		}
		if row.From <= 0 || row.To <= row.From || row.To > Story-20*time.Second {
			t.Errorf("%s: from %v to %v of %v", row.Zone, row.From, row.To, Story)
		}
		if row.Finding != "" {
			first = min(first, row.From)
		}
		for _, other := range Script()[:i] {
			if other.Zone == row.Zone && other.Fault != GrayGround {
				t.Errorf("%s has two faults", row.Zone)
			}
		}
	}
	if first != 10*time.Second {
		t.Errorf("the first fault that shows comes at %v", first)
	}
	if Story%day != 0 {
		t.Error("a story is no whole number of days")
	}
}

func BenchmarkAdvance(b *testing.B) {
	for b.Loop() {
		New(1).Advance(Story)
	}
	b.ReportMetric(Story.Seconds()/(b.Elapsed().Seconds()/float64(b.N)), "times-life")
}

// TestEventText guards the format that is printed to people.
func TestEventText(t *testing.T) {
	e := Event{At: 12*time.Second + 300*time.Millisecond, Zone: "wine", Text: "something"}
	if got, want := fmt.Sprint(e), "12 s: wine: something"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}
