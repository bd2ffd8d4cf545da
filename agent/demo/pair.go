package demo

import "math"

// gear is a group of like control gear on one pair: each sources a small current into the control wires.
type gear struct {
	n        int
	openVolt float64 // open-circuit voltage of the control terminals; 10..15 V is met (common practice, no source)
	milliamp float64 // current into a short, each; IEC 60929 Annex E allows up to 2 mA
	watts    float64 // power of one at full light
	dark     bool    // without mains: it sources nothing and gives no light
}

const (
	// kneeVolts says how softly the source lets go near its open-circuit voltage. Chosen: 0.4 V; field gear is met
	// with 0.1 to 1.5 V, which moves only readings above 8 V.
	kneeVolts = 0.4

	// transmitterOhms is the input resistance of the feedback transmitter, which stays on the interface's terminals.
	transmitterOhms = 1e6

	// leakOhms is what the control input of one gear lets through, lit or dark. Chosen: 10 Mohm.
	leakOhms = 10e6

	// earthOhms is the earth path from a fixture's chassis to the interface's earthed common. Chosen: 0.5 ohm; metal
	// conduit and bonding give 0.05 to 5 (common practice, no source).
	earthOhms = 0.5

	// regulationVolts is how far the pair moves from a sink that lets go to one that takes all it can.
	regulationVolts = 0.010
)

// source is the current in milliamperes that the group gives at v volts on its terminals, less its leak.
func (g gear) source(v float64) float64 {
	leak := 1000 * v / leakOhms
	if g.dark || v >= g.openVolt {
		return -float64(g.n) * leak
	}
	return float64(g.n) * (g.milliamp*(1-math.Exp((v-g.openVolt)/kneeVolts)) - leak)
}

// sinkMode is what the output stage of an interface does.
type sinkMode uint8

const (
	regulates  sinkMode = iota // holds the voltage that the command asks for
	dead                       // open: sinks nothing
	holdsVolts                 // stuck: regulates to held whatever the command is
	holdsOhms                  // stuck: a resistance of held ohms, 0 for an output stage failed short
)

// sink is the output stage of an interface: it can only draw current, up to a limit.
type sink struct {
	floorVolts float64 // the least voltage that it regulates to; 0.3..0.7 V (common practice, no source)
	milliamp   float64 // the most that it sinks
	ohms       float64 // resistance in series
	mode       sinkMode
	held       float64 // volts or ohms, by mode
}

// set is the voltage that the sink regulates to at a command in percent.
func (s sink) set(command float64) float64 {
	v := command / 10
	if s.mode == holdsVolts {
		v = s.held
	}
	return math.Max(s.floorVolts, v)
}

// draw is the current in milliamperes that the sink takes from a pair at v volts.
func (s sink) draw(v, command float64) float64 {
	switch s.mode {
	case dead:
		return 0
	case holdsOhms:
		return 1000 * v / math.Max(s.held, leastOhms)
	}
	over := v - s.set(command) + regulationVolts/2
	slope := regulationVolts/s.milliamp + s.ohms/1000 // volts a milliampere
	return math.Min(s.milliamp, math.Max(0, over/slope))
}

// pair is the two control conductors of a zone with everything on them. Resistances are in ohms, and +Inf is none.
type pair struct {
	gear []gear
	sink sink

	touch        float64 // violet to gray, direct
	violetGround float64 // violet to a fixture's chassis
	grayGround   float64 // gray to a fixture's chassis
	floating     bool    // the interface's common (gray) is not earthed

	// beyond is how many groups of gear, counted from the far end, lie beyond a break in the pair; 0 for none. Where the
	// interface reaches no gear at all, faults between the conductors lie beyond the break.
	beyond int
}

const leastOhms = 0.001 // stands for a contact without resistance

// newPair gives a sound pair.
func newPair(s sink, g ...gear) pair {
	none := math.Inf(1)
	return pair{gear: g, sink: s, touch: none, violetGround: none, grayGround: none}
}

// shunt is the resistance between the conductors that the faults amount to: a direct contact beside the way from
// violet through the chassis and back to gray, by its own ground or by the earthed common.
// Source: Kirchhoff's laws.
func (p *pair) shunt() float64 {
	back := 1 / math.Max(p.grayGround, leastOhms)
	if !p.floating {
		back += 1 / earthOhms
	}
	return parallel(p.touch, p.violetGround+1/back)
}

// parallel is the resistance of two resistances side by side.
func parallel(a, b float64) float64 {
	return 1 / (1/math.Max(a, leastOhms) + 1/math.Max(b, leastOhms))
}

// volts is the operating point at a command in percent: the voltage at the interface's terminals, and that at the
// terminals of each group of gear, written to at.
func (p *pair) volts(command float64, at []float64) (terminals float64) {
	near := len(p.gear) - p.beyond
	reached, shunt := p.shunt(), math.Inf(1)
	if near == 0 {
		reached, shunt = shunt, reached
	}
	terminals = balance(p.gear[:near], parallel(reached, transmitterOhms), func(v float64) float64 {
		return p.sink.draw(v, command)
	})
	far := balance(p.gear[near:], shunt, func(float64) float64 { return 0 })
	for i := range at {
		at[i] = terminals
		if i >= near {
			at[i] = far
		}
	}
	return terminals
}

// balance finds the voltage at which the gear sources as much as shunt and sink take. The sum falls as the voltage
// rises, so halving the range finds it; 40 halvings leave less than a nanovolt.
func balance(g []gear, shunt float64, sink func(volts float64) float64) float64 {
	low, high := 0.0, 0.0
	for _, g := range g {
		if !g.dark {
			high = math.Max(high, g.openVolt)
		}
	}
	for range 40 {
		v := (low + high) / 2
		sum := -1000*v/shunt - sink(v)
		for i := range g {
			sum += g[i].source(v)
		}
		if sum > 0 {
			low = v
		} else {
			high = v
		}
	}
	return (low + high) / 2
}

// light is the level of light in percent that a group of gear gives at v volts on its terminals: 10 V is full, 1 V and
// less is the minimum of a tenth. Source: IEC 60929 Annex E (secondary) for the two ends; the line is common practice.
func (g gear) light(v float64) float64 {
	if g.dark {
		return 0
	}
	return math.Min(100, math.Max(10, 10*v))
}

// power is the share of full power, 0..1, that gear draws at a level of light in percent: a line down from full to
// minimum light, flat below.
// Source: the continuous daylighting control of EnergyPlus, with 0.3 of the power at 0.2 of the light.
func power(light float64) float64 {
	const leastLight, leastPower = 0.2, 0.3
	if light <= 0 {
		return 0
	}
	x := math.Max(leastLight, light/100)
	return leastPower + (x-leastLight)*(1-leastPower)/(1-leastLight)
}
