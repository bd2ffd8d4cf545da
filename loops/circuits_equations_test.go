package loops

import (
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// The solved circuits against equations that were worked by hand, and published arithmetic: the netlists are what they are
// said to be.

// near reports readings that are farther apart than within.
func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if math.Abs(got-want) > within || math.IsNaN(got) {
		t.Errorf("%s: %.3f, want %.3f +-%.3f", what, got, want, within)
	}
}

// Resistance of a metre of copper, in ohm a kilometre, and the voltage drop 2 R' L I along the pair where all gear is at the
// far end, half of it where it is spread evenly. The gear is the source: the far gear is higher than the interface.
// Source: computed from the resistivity of annealed copper and the definition of the gauge; Ohm's law.
func TestVoltageDrop(t *testing.T) {
	for awg, want := range map[int]float64{16: 13.17, 18: 20.95, 20: 33.31, 22: 52.96} {
		near(t, "AWG "+itoa(awg), 1000*copper(awg), want, 0.005)
	}
	all := goldenReadings(t)
	for i, d := range drops {
		for _, c := range []struct {
			circuit circuit
			want    float64
		}{{lumped(i), d.lumped}, {spread(i), d.spread}} {
			r := all[c.circuit.Name]
			near(t, c.circuit.Name, along(r.far, 50)-along(r.pair, 50), c.want, 0.004)
		}
	}
}

// The far gear's lift: all current through the home run, and of each span that of the gear beyond it.
// Source: Kirchhoff; lift = n I0 Rhome + I0 Rspan n (n - 1)/2 with the ohms of both conductors.
func TestFarGearLift(t *testing.T) {
	all := goldenReadings(t)
	for name, about := range map[string]float64{
		"healthy 8": 0.01, "healthy 40": 0.09, "gear of 2 mA 40": 0.36, "gear of 2 mA, AWG 20 40": 0.58, "gear of 2 mA, AWG 20, 150 m 40": 1.1,
	} {
		c := circuitNamed(t, name)
		gears := c.Gears()
		n, home, span := float64(c.gear), gears[0].Violet+gears[0].Gray, gears[1].Violet+gears[1].Gray
		want := n*c.amps()*home + c.amps()*span*n*(n-1)/2
		for _, command := range []float64{0, 25, 50, 75} {
			r := all[name]
			near(t, name+" lift", along(r.far, command)-along(r.pair, command), want, 0.003)
		}
		near(t, name+" as was worked out", want, about, 0.02)
	}
	// A short at the far end: the 39 gear before it lift the interface by the span that each has to it.
	r := all["short far 40"]
	gears := circuitNamed(t, "short far 40").Gears()
	want := 0.01 * 40 * 0.5e-3 // the contact itself
	for k := range 39 {
		want += 0.5e-3 * float64(39-k) * (gears[1].Violet + gears[1].Gray)
	}
	near(t, "short far 40", along(r.pair, 100), want, 0.003)
	near(t, "short far 40 as was worked out", want, 0.05, 0.003)
}

func circuitNamed(t testing.TB, name string) *circuit {
	t.Helper()
	for i := range circuits {
		if circuits[i].Name == name {
			return &circuits[i]
		}
	}
	t.Fatalf("no circuit %q", name)
	return nil
}

// A partial short's ceiling is the gear's current times its ohms.
// Source: Ohm's law; worked examples.
func TestCeilings(t *testing.T) {
	all := goldenReadings(t)
	for name, want := range map[string]float64{
		"2.2 kohm, 10 gear of 0.2 mA":      4.40,
		"1 kohm, 10 gear of 0.5 mA":        5.00,
		"4.7 kohm, 6 gear of 0.25 mA":      7.05,
		"100 ohm, 25 gear of 2 mA":         5.00,
		"2 kohm 8":                         7.97,
		"500 ohm 40":                       9.89,
		"leak of 10 kohm 1":                4.94,
		"one reversed, clamp 8":            1.03,
		"one reversed, clamp 40":           2.73,
		"half unfed, each loads 10 kohm 8": 5.0,
	} {
		near(t, name, along(all[name].pair, 100), want, 0.06)
	}
	// Every zone with nothing but ohms across its pair: the knee's equation n I0 (1 - exp(-(Voc - V)/0.4)) = V/R holds, its
	// inverse R = V/(n I0) finds the fault from a meter, and minimum light takes less than 1 V/(n I0).
	found := 0
	for i := range circuits {
		c := &circuits[i]
		if len(c.Joins) != 1 || len(c.cuts) > 0 || c.common != "" || c.Swapped || c.Other || !strings.HasPrefix(c.Joins[0].From, "v") || !strings.HasPrefix(c.Joins[0].To, "g") {
			continue
		}
		found++
		r, n, ohms := all[c.Name], float64(c.gear), c.Joins[0].Ohms
		meter := 1 / (1/ohms + 1/10e6 + n/10e6 + n/400e6) // the fault, the meter, the leaks and the isolation of the gear
		got := r.checks["unplugged"]
		along40 := 0.0
		if c.gear >= 25 {
			along40 = 0.06 // what the gear's current lifts along the wire
		}
		near(t, c.Name+" unplugged", got, knee(n*c.amps(), meter), 0.1+along40)
		if got < 11 && got > 0.1 {
			near(t, c.Name+" ohms from a meter", got/(n*c.amps())/ohms, 1, 0.08+along40/got)
		}
		volts := n * c.amps() * ohms
		if dim := r.light(c, 100) <= 10; dim != (volts < 1) && math.Abs(volts-1) > 0.05 {
			t.Errorf("%s: light %.1f %% at full command with n I0 R = %.2f V", c.Name, r.light(c, 100), volts)
		}
		if touched := along(r.pair, 100) < 9.95; touched != (volts < 10) && math.Abs(volts-10) > 0.05 {
			t.Errorf("%s: top at %.2f V with n I0 R = %.2f V", c.Name, along(r.pair, 100), volts)
		}
	}
	if found < 20 {
		t.Errorf("only %d partial shorts", found)
	}
}

// knee solves the gear's source against a resistance by halving: each gear of 12 V, with a knee of 0.4 V.
func knee(amps, ohms float64) float64 {
	low, high := 0.0, 12.0
	for range 60 {
		v := (low + high) / 2
		if amps*(1-math.Exp(-(12-v)/0.4)) > v/ohms {
			low = v
		} else {
			high = v
		}
	}
	return low
}

// An interface holds what it can sink: 50 mA are 25 gear of 2 mA. Overloaded, the pair stands at Voc + Vk ln(1 - Imax/Iz).
// Source: the sum of the gear's currents against the sink's rating (trade texts); the knee's equation.
func TestSinkCapacity(t *testing.T) {
	all := goldenReadings(t)
	for _, command := range []float64{25, 50, 75} {
		near(t, "25 of 2 mA on 50 mA", along(all["sink of 50 mA, 25 gear of 2 mA"].pair, command), command/10, 0.15)
	}
	inSeries := 100*0.050/27 + 0.050*2*50*awg18 // behind each gear's 100 ohm, and along the home run
	near(t, "27 of 2 mA on 50 mA", along(all["sink of 50 mA, 27 gear of 2 mA"].pair, 0), 12+0.4*math.Log(1-50.0/54)-inSeries, 0.1)
	near(t, "20 mA on 10 mA", along(all["sink of 10 mA for 20"].pair, 0), 12+0.4*math.Log(1-10.0/20), 0.1)
	near(t, "20 mA on 19 mA", along(all["sink of 19 mA for 20"].pair, 0), 12+0.4*math.Log(1-19.0/20)-100*0.019/40-0.019*2*50*awg18, 0.1)
	// With a series resistance the pair stands that much higher.
	near(t, "soft sink of 8", along(all["soft sink 8"].pair, 50), 5+100*8*0.5e-3, 0.05)
	near(t, "soft sink of 40", along(all["soft sink 40"].pair, 50), 5+100*40*0.5e-3, 0.05)
}

// The interface alone behind 9 V and 1 kohm: it holds its command, a resistance divides, nothing leaves 9 V.
// Source: Ohm's law.
func TestBench(t *testing.T) {
	rows := golden(t, "bench.csv")
	if !slices.Equal(rows[0][1:], benchCommands) || len(rows) != 1+len(benches) {
		t.Fatalf("bench.csv has %v", rows)
	}
	for _, row := range rows[1:] {
		for i, x := range numbers(t, row[1:]) {
			c, _ := strconv.ParseFloat(benchCommands[i], 64)
			want := map[string]float64{"good": math.Min(9, 10*c), "dead": 9, "shorted": 0, "stuck at 500 ohm": 3}[row[0]]
			near(t, row[0]+" at "+benchCommands[i], x, want, 0.03)
		}
	}
}

// A loop with an integrator ends at full command where its setpoint is above the whole curve, at 0 where it is below, and
// where they meet otherwise; and which of these says what kind of fault it is.
func TestLoopEnds(t *testing.T) {
	all := goldenReadings(t)
	for i := range circuits {
		c := &circuits[i]
		r := all[c.Name]
		for _, setpoint := range []float64{2, 5, 8} {
			got := r.loopEnds(setpoint)
			low, high := slices.Min(r.pair), slices.Max(r.pair)
			switch {
			case setpoint > high:
				near(t, c.Name+" above the curve", got, 100, 0)
			case setpoint < low:
				near(t, c.Name+" below the curve", got, 0, 0)
			case high-low > 0.1:
				near(t, c.Name+" on the curve", along(r.pair, got), setpoint, 0.02)
			}
		}
		low, high := 0.0, 100.0
		switch c.class {
		case follows, splitLight:
			low, high = 44, 52
		case deadLow, exchanged, openPair, unfed:
			low = 100
		case deadHigh:
			high = 0
		case floored:
			high = 46
		case capped:
			if slices.Max(r.pair) < 4.9 {
				low = 100
			} else {
				low = 49
			}
		case stands:
			if rest := r.pair[0]; rest < 5 {
				low = 100
			} else {
				high = 0
			}
		}
		if got := r.loopEnds(5); got < low || got > high {
			t.Errorf("%s: the command ends at %.0f %%, want %.0f to %.0f", c.Name, got, low, high)
		}
	}
}
