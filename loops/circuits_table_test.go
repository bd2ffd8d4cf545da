package loops

import (
	"math"
	"strconv"
)

// class is what a circuit looks like from the points of its zone.
type class byte

const (
	follows    class = 'A' // nothing to see
	deadLow    class = 'B' // 0 V and minimum light
	exchanged  class = 'b' // a little below 0 V
	openPair   class = 'C' // about 0 V and full light
	unfed      class = 'D' // 0 V and no light
	deadHigh   class = 'E' // open-circuit voltage and full light
	capped     class = 'F' // follows up to a level
	floored    class = 'G' // follows down to a level
	stands     class = 'H' // rests somewhere between whatever the command does
	splitLight class = 'J' // the pair follows, part of the light does not
)

func itoa(k int) string { return strconv.Itoa(k) }

// Joins that many circuits have.
func across(k int, ohms float64) join       { return join{"v" + itoa(k), "g" + itoa(k), ohms} }
func violetGround(k int, ohms float64) join { return join{"v" + itoa(k), "c" + itoa(k), ohms} }
func grayGround(k int, ohms float64) join   { return join{"g" + itoa(k), "c" + itoa(k), ohms} }
func notIsolated(k int) join                { return join{"g" + itoa(k), "c" + itoa(k), 1} }
func shuntInside(ohms float64) join         { return join{"iv", "ig", ohms} }

// hard is a contact between metal and metal, 0.2 ohm.
const hard = 0.2

// What single gear may be like.
func reversed(ks ...int) func(*ladderGear) {
	return func(g *ladderGear) {
		for _, k := range ks {
			g.Reversed = g.Reversed || g.At == k
		}
	}
}

func clamped(k int, node string) func(*ladderGear) {
	return func(g *ladderGear) {
		if g.At == k {
			g.Clamp = node
		}
	}
}

// darkFrom takes the supply from the gear from k on, whose inputs then load the pair.
func darkFrom(k int, load float64) func(*ladderGear) {
	return func(g *ladderGear) {
		if g.At >= k {
			g.On, g.Load, g.Fed = "off", load, far
		}
	}
}

func mixed(g *ladderGear) {
	g.Open = 10.5
	if g.At > 8 {
		g.Amperes, g.Open = 1e-3, 14
	}
}

// circuits are the cases, healthy and faulty. Faults lie at the gear in the middle unless the name says otherwise; "of 8"
// and the like is the number of gear.
var circuits = []circuit{
	// Healthy.
	{Name: "healthy 1", class: follows, gear: 1},
	{Name: "healthy 8", class: follows, gear: 8},
	{Name: "healthy 40", class: follows, gear: 40},
	{Name: "healthy, floating common", class: follows, gear: 8, common: "floating"},
	{Name: "healthy, positive earthed", class: follows, gear: 8, common: "positive"},
	{Name: "healthy, mixed gear", class: follows, gear: 10, each: mixed},

	// Violet and gray joined.
	{Name: "short 1", class: deadLow, gear: 1, Joins: []join{across(1, 0.01)}},
	{Name: "short near 8", class: deadLow, gear: 8, Joins: []join{across(1, 0.01)}},
	{Name: "short far 8", class: deadLow, gear: 8, Joins: []join{across(8, 0.01)}},
	{Name: "short near 40", class: deadLow, gear: 40, Joins: []join{across(1, 0.01)}},
	{Name: "short far 40", class: deadLow, gear: 40, Joins: []join{across(40, 0.01)}},
	{Name: "10 ohm 1", class: deadLow, gear: 1, Joins: []join{across(1, 10)}},
	{Name: "10 ohm near 8", class: deadLow, gear: 8, Joins: []join{across(1, 10)}},
	{Name: "10 ohm near 40", class: deadLow, gear: 40, Joins: []join{across(1, 10)}},
	{Name: "10 ohm far 40", class: deadLow, gear: 40, Joins: []join{across(40, 10)}},
	{Name: "100 ohm 1", class: deadLow, gear: 1, Joins: []join{across(1, 100)}},
	{Name: "100 ohm 8", class: deadLow, gear: 8, Joins: []join{across(4, 100)}},
	{Name: "100 ohm 40", class: capped, gear: 40, Joins: []join{across(20, 100)}},
	{Name: "500 ohm 1", class: deadLow, gear: 1, Joins: []join{across(1, 500)}},
	{Name: "500 ohm 8", class: capped, gear: 8, Joins: []join{across(4, 500)}},
	{Name: "500 ohm 40", class: follows, gear: 40, Joins: []join{across(20, 500)}},
	{Name: "2 kohm 1", class: capped, gear: 1, Joins: []join{across(1, 2000)}},
	{Name: "2 kohm 8", class: capped, gear: 8, Joins: []join{across(4, 2000)}},
	{Name: "2 kohm 40", class: follows, gear: 40, Joins: []join{across(20, 2000)}},
	{Name: "2 kohm, gear of 0.1 mA 1", class: deadLow, gear: 1, milliamps: 0.1, Joins: []join{across(1, 2000)}},
	{Name: "2 kohm, gear of 0.1 mA 8", class: capped, gear: 8, milliamps: 0.1, Joins: []join{across(4, 2000)}},
	{Name: "2 kohm, gear of 0.1 mA 40", class: capped, gear: 40, milliamps: 0.1, Joins: []join{across(20, 2000)}},

	// Grounds.
	{Name: "violet ground 1", class: deadLow, gear: 1, Joins: []join{violetGround(1, hard)}},
	{Name: "violet ground 8", class: deadLow, gear: 8, Joins: []join{violetGround(4, hard)}},
	{Name: "violet ground in the far half 8", class: deadLow, gear: 8, Joins: []join{violetGround(6, hard)}},
	{Name: "violet ground 40", class: deadLow, gear: 40, Joins: []join{violetGround(20, hard)}},
	{Name: "violet ground, floating common", class: follows, gear: 8, common: "floating", Joins: []join{violetGround(4, hard)}},
	{Name: "violet ground, positive earthed", class: follows, gear: 8, common: "positive", Joins: []join{violetGround(4, hard)}},
	{Name: "violet ground of 500 ohm 1", class: deadLow, gear: 1, Joins: []join{violetGround(1, 500)}},
	{Name: "violet ground of 500 ohm 8", class: capped, gear: 8, Joins: []join{violetGround(4, 500)}},
	{Name: "violet ground of 500 ohm 40", class: follows, gear: 40, Joins: []join{violetGround(20, 500)}},
	{Name: "violet ground of 1 kohm 8", class: capped, gear: 8, Joins: []join{violetGround(4, 1000)}},
	{Name: "violet ground of 10 kohm 8", class: follows, gear: 8, Joins: []join{violetGround(4, 1e4)}},
	{Name: "gray ground", class: follows, gear: 8, Joins: []join{grayGround(4, hard)}},
	{Name: "gray ground of 500 ohm", class: follows, gear: 8, Joins: []join{grayGround(4, 500)}},
	{Name: "gray ground, floating common", class: follows, gear: 8, common: "floating", Joins: []join{grayGround(4, hard)}},
	{Name: "gray ground, positive earthed", class: deadLow, gear: 8, common: "positive", Joins: []join{grayGround(4, hard)}},
	{Name: "violet ground and a gear not isolated", class: deadLow, gear: 8, Joins: []join{violetGround(4, hard), notIsolated(6)}},
	{Name: "a gear not isolated", class: follows, gear: 8, Joins: []join{notIsolated(6)}},
	{Name: "violet on a chassis without earth", class: follows, gear: 8, Joins: []join{violetGround(4, hard)}, cuts: []string{"Re4"}},
	{Name: "two grounds", class: deadLow, gear: 8, Joins: []join{violetGround(2, hard), grayGround(6, hard)}},
	{Name: "two grounds, floating common", class: deadLow, gear: 8, common: "floating", Joins: []join{violetGround(2, hard), grayGround(6, hard)}},
	{Name: "two grounds 40", class: deadLow, gear: 40, Joins: []join{violetGround(10, hard), grayGround(30, hard)}},
	{Name: "two grounds on a grid without earth", class: deadLow, gear: 8, Joins: []join{violetGround(2, hard), grayGround(6, hard), {"c1", "0", 1e8}}, cuts: []string{"Re1"}},
	{Name: "gray open at the interface and gray ground", class: follows, gear: 8, Joins: []join{grayGround(4, hard)}, cuts: []string{"Rcg"}},
	{Name: "gray open at the interface and gray ground, floating common", class: openPair, gear: 8, common: "floating", Joins: []join{grayGround(4, hard)}, cuts: []string{"Rcg"}},
	{Name: "exchanged 1", class: exchanged, gear: 1, Swapped: true},
	{Name: "exchanged 8", class: exchanged, gear: 8, Swapped: true},
	{Name: "exchanged 40", class: exchanged, gear: 40, Swapped: true},
	{Name: "exchanged, no reverse diode", class: openPair, gear: 8, Swapped: true, cuts: []string{"Rdiode"}},
	{Name: "exchanged and violet ground", class: exchanged, gear: 8, Swapped: true, Joins: []join{violetGround(4, hard)}},
	{Name: "exchanged and gray ground", class: deadLow, gear: 8, Swapped: true, Joins: []join{grayGround(4, hard)}},

	// Opens.
	{Name: "violet open 1", class: openPair, gear: 1, cuts: []string{"Rcv"}},
	{Name: "violet open 8", class: openPair, gear: 8, cuts: []string{"Rcv"}},
	{Name: "violet open 40", class: openPair, gear: 40, cuts: []string{"Rcv"}},
	{Name: "gray open 1", class: openPair, gear: 1, cuts: []string{"Rcg"}},
	{Name: "gray open 8", class: openPair, gear: 8, cuts: []string{"Rcg"}},
	{Name: "gray open 40", class: openPair, gear: 40, cuts: []string{"Rcg"}},
	{Name: "violet open, floating common", class: openPair, gear: 8, common: "floating", cuts: []string{"Rcv"}},
	{Name: "gray open, floating common", class: openPair, gear: 8, common: "floating", cuts: []string{"Rcg"}},
	{Name: "unplugged", class: openPair, gear: 8, cuts: []string{"Rcv", "Rcg"}},
	{Name: "violet broken, half beyond 8", class: splitLight, gear: 8, cuts: []string{"Rv5"}},
	{Name: "gray broken, half beyond 8", class: splitLight, gear: 8, cuts: []string{"Rg5"}},
	{Name: "violet broken, half beyond 40", class: splitLight, gear: 40, cuts: []string{"Rv21"}},
	{Name: "violet open and violet ground", class: deadLow, gear: 8, Joins: []join{violetGround(4, hard)}, cuts: []string{"Rcv"}},
	{Name: "gray open and violet ground", class: openPair, gear: 8, Joins: []join{violetGround(4, hard)}, cuts: []string{"Rcg"}},
	{Name: "violet broken and violet ground beyond", class: splitLight, gear: 8, Joins: []join{violetGround(6, hard)}, cuts: []string{"Rv5"}},
	{Name: "gray broken and violet ground beyond", class: deadLow, gear: 8, Joins: []join{violetGround(6, hard)}, cuts: []string{"Rg5"}},
	{Name: "gray broken and gray ground beyond", class: follows, gear: 8, Joins: []join{grayGround(6, hard)}, cuts: []string{"Rg5"}},

	// Reversed gear.
	{Name: "the only gear reversed, clamp", class: exchanged, gear: 1, each: reversed(1)},
	{Name: "the only gear reversed, blocking", class: exchanged, gear: 1, blocking: true, each: reversed(1)},
	{Name: "one reversed, clamp 8", class: capped, gear: 8, each: reversed(4)},
	{Name: "one reversed, clamp 40", class: capped, gear: 40, each: reversed(20)},
	{Name: "one reversed, blocking 8", class: splitLight, gear: 8, blocking: true, each: reversed(4)},
	{Name: "one reversed, blocking 40", class: splitLight, gear: 40, blocking: true, each: reversed(20)},
	{Name: "half reversed, blocking 8", class: deadLow, gear: 8, blocking: true, each: reversed(2, 4, 6, 8)},

	// Leaks, interfaces, supplies, inputs, other zones.
	{Name: "leak of 10 kohm 1", class: capped, gear: 1, Joins: []join{across(1, 1e4)}},
	{Name: "leak of 10 kohm 8", class: follows, gear: 8, Joins: []join{across(4, 1e4)}},
	{Name: "leak of 10 kohm 40", class: follows, gear: 40, Joins: []join{across(20, 1e4)}},
	{Name: "leak of 10 kohm, gear of 0.02 mA 1", class: deadLow, gear: 1, milliamps: 0.02, Joins: []join{across(1, 1e4)}},
	{Name: "leak of 10 kohm, gear of 0.02 mA 8", class: capped, gear: 8, milliamps: 0.02, Joins: []join{across(4, 1e4)}},
	{Name: "leak of 10 kohm, gear of 0.02 mA 40", class: capped, gear: 40, milliamps: 0.02, Joins: []join{across(20, 1e4)}},
	{Name: "leak of 100 kohm, gear of 0.02 mA 1", class: capped, gear: 1, milliamps: 0.02, Joins: []join{across(1, 1e5)}},
	{Name: "leak of 100 kohm 8", class: follows, gear: 8, Joins: []join{across(4, 1e5)}},
	{Name: "leak of 10 kohm to earth, gear of 0.02 mA 8", class: capped, gear: 8, milliamps: 0.02, Joins: []join{violetGround(4, 1e4)}},
	{Name: "sink of 10 mA for 20", class: deadHigh, gear: 40, Most: 0.010},
	{Name: "sink of 19 mA for 20", class: deadHigh, gear: 40, Most: 0.019},
	{Name: "sink of 5 mA for 5", class: follows, gear: 10, Most: 0.005},
	{Name: "soft sink 8", class: follows, gear: 8, Ron: 100},
	{Name: "soft sink 40", class: floored, gear: 40, Ron: 100},
	{Name: "soft sink, gear of 2 mA 40", class: floored, gear: 40, milliamps: 2, Most: 0.1, Ron: 100},
	{Name: "stuck at 500 ohm 1", class: deadLow, gear: 1, Joins: []join{shuntInside(500)}, cuts: []string{"Rsink"}},
	{Name: "stuck at 500 ohm 8", class: stands, gear: 8, Joins: []join{shuntInside(500)}, cuts: []string{"Rsink"}},
	{Name: "stuck at 500 ohm 40", class: deadHigh, gear: 40, Joins: []join{shuntInside(500)}, cuts: []string{"Rsink"}},
	{Name: "stuck at 2 kohm 1", class: stands, gear: 1, Joins: []join{shuntInside(2000)}, cuts: []string{"Rsink"}},
	{Name: "stuck at 2 kohm 8", class: stands, gear: 8, Joins: []join{shuntInside(2000)}, cuts: []string{"Rsink"}},
	{Name: "stuck at 2 kohm 40", class: deadHigh, gear: 40, Joins: []join{shuntInside(2000)}, cuts: []string{"Rsink"}},
	{Name: "sink dead 1", class: deadHigh, gear: 1, cuts: []string{"Rsink"}},
	{Name: "sink dead 8", class: deadHigh, gear: 8, cuts: []string{"Rsink"}},
	{Name: "sink dead 40", class: deadHigh, gear: 40, cuts: []string{"Rsink"}},
	{Name: "sink shorted 8", class: deadLow, gear: 8, Joins: []join{shuntInside(0.001)}},
	{Name: "all gear unfed 8", class: unfed, gear: 8, each: darkFrom(1, far)},
	{Name: "half unfed 8", class: splitLight, gear: 8, each: darkFrom(5, far)},
	{Name: "half unfed, each loads 10 kohm 8", class: capped, gear: 8, each: darkFrom(5, 1e4)},
	{Name: "7 of 8 unfed, each loads 10 kohm", class: stands, gear: 8, each: darkFrom(2, 1e4)},
	{Name: "gear input shorted 8", class: deadLow, gear: 8, Joins: []join{{"t4", "g4", 0.01}}},
	{Name: "gear input shorted 40", class: deadLow, gear: 40, Joins: []join{{"t20", "g20", 0.01}}},
	{Name: "gear input shorted behind its resistor 8", class: deadLow, gear: 8, Joins: []join{{"x4", "g4", 0.01}}},
	{Name: "gear input shorted behind its resistor 40", class: capped, gear: 40, Joins: []join{{"x20", "g20", 0.01}}},
	{Name: "input clamp of 6.2 V 1", class: capped, gear: 1, each: clamped(1, "t")},
	{Name: "input clamp of 6.2 V 8", class: capped, gear: 8, each: clamped(4, "t")},
	{Name: "input clamp of 6.2 V 40", class: capped, gear: 40, each: clamped(20, "t")},
	{Name: "input clamp of 6.2 V behind its resistor 40", class: capped, gear: 40, each: clamped(20, "x")},
	{Name: "violet touches another zone's violet", class: capped, gear: 8, Other: true, Joins: []join{{"v4", "bv", hard}, {"g4", "bg", 1}}},
	{Name: "violet touches another zone's gray", class: deadLow, gear: 8, Other: true, Joins: []join{{"v4", "bg", hard}}},

	// Worked examples that the equations are checked with.
	{Name: "2.2 kohm, 10 gear of 0.2 mA", class: capped, gear: 10, milliamps: 0.2, Joins: []join{across(1, 2200)}},
	{Name: "1 kohm, 10 gear of 0.5 mA", class: capped, gear: 10, Joins: []join{across(1, 1000)}},
	{Name: "1 kohm 8", class: capped, gear: 8, Joins: []join{across(4, 1000)}},
	{Name: "4.7 kohm, 6 gear of 0.25 mA", class: capped, gear: 6, milliamps: 0.25, Joins: []join{across(1, 4700)}},
	{Name: "100 ohm, 25 gear of 2 mA", class: capped, gear: 25, milliamps: 2, Joins: []join{across(1, 100)}},
	{Name: "gear of 2 mA 40", class: follows, gear: 40, milliamps: 2, Most: 0.2},
	{Name: "gear of 2 mA, AWG 20 40", class: follows, gear: 40, milliamps: 2, Most: 0.2, ohms: 0.0333},
	{Name: "gear of 2 mA, AWG 20, 150 m 40", class: follows, gear: 40, milliamps: 2, Most: 0.2, ohms: 0.0333, home: 150},
	{Name: "sink of 50 mA, 25 gear of 2 mA", class: follows, gear: 25, milliamps: 2},
	{Name: "sink of 50 mA, 27 gear of 2 mA", class: deadHigh, gear: 27, milliamps: 2},

	// Voltage drops along the pair (drops): all gear at the far end, then spread evenly.
	lumped(0), lumped(1), lumped(2), lumped(3), lumped(4), lumped(5),
	spread(0), spread(1), spread(2), spread(3), spread(4), spread(5),
}

// drops are the rows of the table of voltage drops (TestVoltageDrop): gauge, gear of 2 mA, metres, and the drops in volts.
var drops = []struct {
	awg, gear      int
	metres         float64
	lumped, spread float64
}{
	{16, 50, 100, 0.263, 0.132},
	{18, 10, 50, 0.042, 0.021},
	{18, 50, 50, 0.210, 0.105},
	{18, 50, 100, 0.419, 0.210},
	{20, 50, 100, 0.666, 0.333},
	{22, 50, 100, 1.059, 0.530},
}

// copper gives the ohms of a metre of copper wire of a gauge at 20 degC: resistivity over area.
// Source: 1.7241e-8 ohm metre (the international annealed copper standard); d = 0.127 mm x 92^((36 - n)/39).
func copper(awg int) float64 {
	d := 0.127e-3 * math.Pow(92, (36-float64(awg))/39)
	return 1.7241e-8 / (math.Pi / 4 * d * d)
}

func dropping(i int, how string, home, span float64) circuit {
	d := drops[i]
	return circuit{
		Name: "drop " + how + ": AWG " + itoa(d.awg) + " " + itoa(int(d.metres)) + " m " + itoa(d.gear), class: follows,
		gear: d.gear, milliamps: 2, Most: 0.2, ohms: copper(d.awg), home: home, span: span,
	}
}

// lumped puts all gear within some metres about the far end.
func lumped(i int) circuit {
	const span = 0.1
	return dropping(i, "lumped", drops[i].metres-span*float64(drops[i].gear-1)/2, span)
}

// spread puts half a span before the first gear and half a span behind the last: the mean of the run.
func spread(i int) circuit {
	span := drops[i].metres / float64(drops[i].gear)
	return dropping(i, "spread", span/2, span)
}

// benches are interfaces alone, behind a battery of 9 V and 1 kohm.
var benches = []circuit{
	{Name: "good"},
	{Name: "dead", cuts: []string{"Rsink"}},
	{Name: "shorted", Joins: []join{shuntInside(0.01)}},
	{Name: "stuck at 500 ohm", Joins: []join{shuntInside(500)}, cuts: []string{"Rsink"}},
}

// benchCommands are the commands of bench.csv, in parts of full.
var benchCommands = []string{"0.25", "0.5", "0.75", "1"}
