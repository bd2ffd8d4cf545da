package loops

import (
	"math"
	"slices"
	"strings"
	"testing"
)

// promise is a reading that a check of the catalogue tells a technician to expect, and the circuits that must give it.
type promise struct {
	id       ID
	text     string // as it stands in one of the checks
	circuits []string
	reading  string // a column of checks.csv; "pair" and "far" at 100 % command; "light" likewise
	low      float64
	high     float64
}

// The figures that a technician reads are what the circuits give. Tolerances are those of the words: "about 0 V" up to half
// a volt, "10 to 15 V" as it stands, "stay at minimum" 10 % of light and a little.
var promises = []promise{
	{PairShort, "minimum light with about 0 V on the pair is a short", shorts, "pair", -0.05, 0.5},
	{PairShort, "minimum light with about 0 V on the pair is a short", shorts, "light", 10, 11},
	{PairShort, "full light an open pair", opens, "light", 100, 100},
	{PairShort, "dark gear a lost supply", []string{"all gear unfed 8"}, "light", 0, 0},

	{PairShort, "about 0 V and lights that stay at minimum mean a short, two grounds or a shorted gear input in the field", shorts, "unplugged", -0.05, 0.5},
	{PairShort, "about 0 V and lights that stay at minimum mean a short, two grounds or a shorted gear input in the field", shorts, "unplugged-light", 10, 11},
	{PairShort, "10 to 15 V and full light mean that violet and gray do not touch each other", passes, "unplugged", 10, 15},
	{PairShort, "10 to 15 V and full light mean that violet and gray do not touch each other", passes, "unplugged-light", 100, 100},
	{PairShort, "That is not yet the interface", passes, "pair", 0, 0.5},

	{PairShort, "violet 0 V and gray about -12 V is a grounded violet", violetGrounds, "unplugged-violet", -0.05, 0.05},
	{PairShort, "violet 0 V and gray about -12 V is a grounded violet", violetGrounds, "unplugged-gray", -12.5, -11.5},
	{PairShort, "violet about +12 V and gray 0 V is a grounded gray, or a gear whose control input is not isolated", grayGrounds, "unplugged-violet", 11.5, 12.5},
	{PairShort, "violet about +12 V and gray 0 V is a grounded gray, or a gear whose control input is not isolated", grayGrounds, "unplugged-gray", -0.05, 0.05},
	{PairShort, "a few volts of opposite signs are a pair that floats", floats, "unplugged-violet", 0.3, 5},
	{PairShort, "a few volts of opposite signs are a pair that floats", floats, "unplugged-gray", -5, -0.3},

	{PairShort, "A meter cannot tell a hard ground from a damp one", []string{"violet ground 8", "violet ground of 10 kohm 8"}, "unplugged-violet", -0.01, 0.01},
	{PairShort, "bridge gray to the chassis and measure the pair: 0 V is a hard ground of violet", []string{"violet ground 1", "violet ground 8", "violet ground 40"}, "bridge-gray", 0, 0.1},
	{PairShort, "about 4 V one of 1 kohm", []string{"violet ground of 1 kohm 8"}, "bridge-gray", 3.9, 4.1},
	{PairShort, "near 12 V one of 10 kohm or none", []string{"violet ground of 10 kohm 8", "sink shorted 8", "gray ground"}, "bridge-gray", 11.5, 12.1},
	{PairShort, "Bridging violet instead finds a ground of gray the same way", []string{"gray ground", "a gear not isolated", "two grounds"}, "bridge-violet", 0, 0.1},
	{PairShort, "Bridging violet instead finds a ground of gray the same way", []string{"gray ground of 500 ohm"}, "bridge-violet", 1.9, 2.1},

	{PairShort, "Low between the two and high to chassis is a short", slices.Concat(joined, []string{"gear input shorted 8", "gear input shorted 40"}), "ohms-pair", 0, 20},
	{PairShort, "Low between the two and high to chassis is a short", slices.Concat(joined, []string{"gear input shorted 8", "gear input shorted 40"}), "ohms-violet", 1e6, 1e12},
	{PairShort, "low from both to chassis are two grounds", twoGrounds, "ohms-violet", 0, 20},
	{PairShort, "low from both to chassis are two grounds", twoGrounds, "ohms-gray", 0, 20},
	{PairShort, "lifting one of them may only hide the other", []string{"violet ground 8", "gray ground"}, "unplugged", 10, 15},

	{PairShort, "about -0.5 V or less means that violet and gray are exchanged somewhere", reversals, "pair", -0.8, -0.5},
	{PairShort, "the unplugged gear side reads 10 to 15 V by colour", []string{"exchanged 1", "exchanged 8", "exchanged 40", "exchanged, no reverse diode"}, "unplugged", 10, 15},
	{PairShort, "with a minus by colour where the gear itself is reversed", []string{"the only gear reversed, clamp", "the only gear reversed, blocking"}, "unplugged", -15, -10},

	{PairShort, "the half that goes to full light is free of it", []string{"short near 8", "short near 40", "10 ohm near 40", "gear input shorted 8", "gear input shorted 40"}, "split-far", 100, 100},
	{PairShort, "the half that goes to full light is free of it", []string{"short near 8", "short near 40", "10 ohm near 40", "gear input shorted 8", "gear input shorted 40"}, "split-near", 10, 11},
	{PairShort, "the half that goes to full light is free of it", []string{"short far 8", "short far 40", "10 ohm far 40"}, "split-near", 100, 100},
	{PairShort, "the half that goes to full light is free of it", []string{"short far 8", "short far 40", "10 ohm far 40"}, "split-far", 10, 11},
	{PairShort, "Grounds are not found so, both halves may go full", []string{"violet ground in the far half 8", "two grounds, floating common", "two grounds on a grid without earth"}, "split-near", 100, 100},
	{PairShort, "Grounds are not found so, both halves may go full", []string{"violet ground in the far half 8", "two grounds, floating common", "two grounds on a grid without earth"}, "split-far", 100, 100},

	{PairOpen, "10 to 15 V at the gear side", opens, "far", 10, 15},
	{PairOpen, "the conductor that is still connected reads about 0 V (up to 2 V on violet)", []string{"gray open 1", "gray open 8", "gray open 40"}, "plugged-violet", 0, 2},
	{PairOpen, "the conductor that is still connected reads about 0 V", []string{"violet open 1", "violet open 8", "violet open 40"}, "plugged-gray", -0.05, 0.05},
	{PairOpen, "the open one about +12 V (violet)", []string{"violet open 1", "violet open 8", "violet open 40"}, "plugged-violet", 11.5, 12.5},
	{PairOpen, "-9 to -12 V (gray, which the meter loads)", []string{"gray open 1", "gray open 8", "gray open 40"}, "plugged-gray", -12, -9},
	{PairOpen, "A gray that is open may hide behind a grounded gray", []string{"gray open at the interface and gray ground", "gray broken and gray ground beyond"}, "pair", 9.9, 10.1},
	{PairOpen, "lift that ground and the zone goes full", []string{"gray open 8"}, "light", 100, 100},

	{CircuitOff, "If it is lit at minimum, the pair is shorted", shorts, "light", 10, 11},
	{CircuitOff, "if it is at full, the pair is open", opens, "light", 100, 100},

	{StuckDim, "10 to 15 V and full light mean that the interface is left (or a grounded violet: next check)", []string{"stuck at 500 ohm 1", "stuck at 2 kohm 1", "violet ground of 500 ohm 1"}, "unplugged", 10, 15},
	{StuckDim, "lights that stay dim are a short through some ohms in the field", []string{"100 ohm 8", "2 kohm 1", "gear input shorted behind its resistor 8"}, "unplugged-light", 10, 11},
	{StuckMid, "10 to 15 V mean that the interface is left, or a violet ground through some ohms", []string{"stuck at 500 ohm 8", "stuck at 2 kohm 8", "violet ground of 500 ohm 8"}, "unplugged", 10, 15},
	{StuckMid, "a lower voltage that stays is a leak or a partial short that only limits the top", leaks, "unplugged", 0.5, 9.95},

	{NotDimming, "if it comes down to its command, there is more gear than the interface can sink", []string{"sink of 10 mA for 20", "sink of 19 mA for 20"}, "half-unplugged", 0.3, 1},
	{NotDimming, "if not, the interface is dead", []string{"sink dead 8", "sink dead 40", "stuck at 2 kohm 40"}, "half-unplugged", 10, 15},

	{CeilingLow, "a voltage below 10 V that stays is a leak, damp, a partial short or a reversed gear in the field", slices.Concat(leaks, []string{"one reversed, clamp 8", "one reversed, clamp 40"}), "unplugged", 0.5, 9.95},
	{CeilingLow, "10 to 15 V mean that the interface is left, or a violet ground through some ohms", []string{"violet ground of 500 ohm 8", "violet ground of 1 kohm 8", "leak of 10 kohm to earth, gear of 0.02 mA 8"}, "unplugged", 10, 15},

	{FeedbackLoopLow, "minding the polarity: -0.5 V or less means that violet and gray are exchanged", reversals, "pair", -0.8, -0.5},
	{FeedbackLoopHigh, "11 to 15 V DC is a pair that nothing sinks", []string{"sink dead 1", "sink dead 8", "sink dead 40"}, "pair", 11, 15},
}

// Circuits that share a reading.
var (
	joined        = []string{"short 1", "short near 8", "short far 8", "short near 40", "short far 40", "10 ohm near 8", "10 ohm near 40", "10 ohm far 40"}
	twoGrounds    = []string{"two grounds", "two grounds, floating common", "two grounds 40", "two grounds on a grid without earth"}
	shorts        = slices.Concat(joined, twoGrounds, []string{"100 ohm 8", "gear input shorted 8", "gear input shorted 40", "gear input shorted behind its resistor 8", "half reversed, blocking 8"})
	violetGrounds = []string{"violet ground 1", "violet ground 8", "violet ground 40", "violet ground, floating common", "violet ground of 500 ohm 8"}
	grayGrounds   = []string{"gray ground", "gray ground of 500 ohm", "gray ground, floating common", "gray ground, positive earthed", "a gear not isolated"}
	passes        = []string{"violet ground 1", "violet ground 8", "violet ground 40", "sink shorted 8", "stuck at 500 ohm 1", "gray ground, positive earthed", "violet touches another zone's gray"}
	floats        = []string{"sink shorted 8", "stuck at 500 ohm 1", "stuck at 500 ohm 40", "healthy 1", "healthy 40", "violet on a chassis without earth"}
	opens         = []string{"violet open 1", "violet open 8", "violet open 40", "gray open 1", "gray open 8", "gray open 40", "violet open, floating common", "gray open, floating common", "unplugged"}
	reversals     = []string{"exchanged 1", "exchanged 8", "exchanged 40", "exchanged and violet ground", "the only gear reversed, clamp", "the only gear reversed, blocking"}
	leaks         = []string{"100 ohm 40", "500 ohm 8", "2 kohm 8", "leak of 10 kohm 1", "leak of 10 kohm, gear of 0.02 mA 40", "input clamp of 6.2 V 8", "half unfed, each loads 10 kohm 8"}
)

func TestPromisedReadings(t *testing.T) {
	all := goldenReadings(t)
	for _, p := range promises {
		promised(t, p.id, p.text)
		for _, name := range p.circuits {
			c := circuitNamed(t, name)
			r := all[name]
			got, known := r.checks[p.reading]
			switch p.reading {
			case "pair":
				got, known = along(r.pair, 100), true
			case "far":
				got, known = along(r.far, 100), true
			case "light":
				got, known = r.light(c, 100), true
			}
			if !known || got < p.low || got > p.high {
				t.Errorf("%s, %q: %s reads %s %.3g, want %.3g to %.3g", p.id, p.text, name, p.reading, got, p.low, p.high)
			}
		}
	}
}

// promised says whether one of a finding's checks has the words.
func promised(t *testing.T, id ID, text string) {
	t.Helper()
	if !slices.ContainsFunc(Catalogue[id].Checks, func(c Check) bool { return strings.Contains(c.Text, text) }) {
		t.Errorf("no check of %s says %q", id, text)
	}
}

// A reading that stays is the same unplugged as plugged; one that is left behind is not. The loads of meters and
// transmitters are between.
func TestStuckVoltsStay(t *testing.T) {
	all := goldenReadings(t)
	promised(t, StuckDim, "about {volts} V and lights that stay dim")
	for _, name := range slices.Concat(leaks, []string{"100 ohm 8", "2 kohm 1"}) {
		near(t, name+" unplugged", all[name].checks["unplugged"], along(all[name].pair, 100), 0.1)
	}
}

// With half of the gear off, a resistance holds half the voltage, a clamp nearly all of it, a reversed gear or a clamp
// behind a resistor something between; another zone's pair does not change.
func TestHalfOff(t *testing.T) {
	all := goldenReadings(t)
	promised(t, CeilingLow, "a ceiling that halves is a resistance (leak, partial short, gear without supply that loads the pair)")
	promised(t, CeilingLow, "one that stays, or falls by less, is a gear input that failed or is reversed, or another zone's pair")
	for name, want := range map[string][2]float64{
		"1 kohm 8": {0.48, 0.52}, "2 kohm 8": {0.48, 0.52}, "100 ohm 40": {0.48, 0.52}, "violet ground of 500 ohm 8": {0.48, 0.52},
		"leak of 10 kohm, gear of 0.02 mA 8": {0.48, 0.52}, "half unfed, each loads 10 kohm 8": {0.48, 0.52},
		"input clamp of 6.2 V 8": {0.97, 1}, "input clamp of 6.2 V 40": {0.97, 1}, "violet touches another zone's violet": {0.97, 1},
		"input clamp of 6.2 V behind its resistor 40": {0.6, 0.97}, "one reversed, clamp 8": {0.6, 0.97}, "one reversed, clamp 40": {0.6, 0.97},
	} {
		if got := all[name].checks["half-off"] / along(all[name].pair, 100); got < want[0] || got > want[1] {
			t.Errorf("%s: half off leaves %.2f of the ceiling, want %.2f to %.2f", name, got, want[0], want[1])
		}
	}
}

// With every second gear unplugged a weak sink holds the pair lower.
func TestHalfUnplugged(t *testing.T) {
	all := goldenReadings(t)
	promised(t, FloorHigh, "if it comes down, count the gear")
	for _, name := range []string{"soft sink 8", "soft sink 40", "soft sink, gear of 2 mA 40"} {
		if all, half := along(all[name].pair, 0), all[name].checks["half-unplugged"]; half > all-0.15 {
			t.Errorf("%s: %.2f V, with half unplugged %.2f V", name, all, half)
		}
	}
}

// The bench test's figures.
func TestBenchText(t *testing.T) {
	for _, id := range []ID{StuckDim, StuckMid, NotDimming, FloorHigh} {
		promised(t, id, "command at 25, 50 and 75 %: a good one holds about 2.5, 5.0 and 7.5 V; a dead one leaves 9 V, a shorted one 0 V")
	}
	want := map[string][]float64{"good": {2.5, 5, 7.5}, "dead": {9, 9, 9}, "shorted": {0, 0, 0}}
	seen := 0
	for _, row := range golden(t, "bench.csv")[1:] {
		if w := want[row[0]]; w != nil {
			seen++
			for i, x := range numbers(t, row[1:4]) {
				if math.Abs(x-w[i]) > 0.05 {
					t.Errorf("%s: %.2f V, want %.1f", row[0], x, w[i])
				}
			}
		}
	}
	if seen != len(want) {
		t.Errorf("%d interfaces, want %d", seen, len(want))
	}
}
