package loops

import (
	"cmp"
	"slices"
)

// circuit is one zone of gear on its pair, as testdata/circuits/zone.cir is filled in with it. Zero values make a healthy
// one: gear of 0.5 mA and 12 V, 50 m of AWG 18 and then 3 m from gear to gear, an interface of 50 mA whose gray is earthed.
// All values are assumed, common practice in size; no hardware was measured. What counts is the pattern that they give.
type circuit struct {
	Name  string
	class class
	gear  int

	milliamps, volts float64 // of each gear
	ohms             float64 // of a metre of one conductor
	home, span       float64 // metres
	blocking         bool    // inputs block what comes the wrong way round, instead of clamping it
	each             func(g *ladderGear)

	common  string  // "earthed" (gray), "floating", "positive" (violet earthed)
	Most    float64 // amperes that the interface can sink
	Ron     float64 // ohms in series with its output
	Swapped bool    // violet and gray exchanged at the connector
	Other   bool    // another zone at 30 %, whose pair is at the nodes bv and bg

	Joins []join   // what should not be joined
	cuts  []string // resistors of the netlist that are open: contacts, spans, outputs
}

// join is a resistance between two nodes of the netlist.
type join struct {
	From, To string
	Ohms     float64
}

// ladderGear is one gear and the span that leads to it.
type ladderGear struct {
	At, Before          int
	Violet, Gray, Earth float64 // ohms of the span
	Reversed            bool
	On                  string // the node that feeds it: "on"; "half" where it is one of every second; "off"
	Light               string // the node that adds up the light of its half of the ladder
	Kind                string
	Amperes, Open       float64
	Clamp               string  // "t" or "x": the node of it that a failed input holds at 6.2 V, "" where none does
	Load                float64 // ohms across its terminals
	Fed                 float64 // ohms in its source: far where it has no supply
}

const (
	awg18 = 0.0210 // ohm a metre at 20 degC, from memory; the resistivity of copper gives 0.02095
	far   = 1e12   // ohms of what is open
)

func (c *circuit) Count() int     { return c.gear }
func (c *circuit) NearCount() int { return (c.gear + 1) / 2 }
func (c *circuit) FarCount() int  { return c.gear / 2 }
func (c *circuit) Floor() float64 { return 0.5 }

func (c *circuit) Common() string { return cmp.Or(c.common, "earthed") }

// amps is what one gear sources.
func (c *circuit) amps() float64 { return cmp.Or(c.milliamps, 0.5) / 1000 }

// Wire gives the ohms of a resistor of the netlist, or those of an open one where it is cut.
func (c *circuit) Wire(name string, ohms float64) float64 {
	if slices.Contains(c.cuts, name) {
		return far
	}
	return ohms
}

// Gears lays out the ladder.
func (c *circuit) Gears() []ladderGear {
	list := make([]ladderGear, c.gear)
	perMetre, span := cmp.Or(c.ohms, awg18), cmp.Or(c.span, 3)
	for i := range list {
		k := i + 1
		ohms := perMetre * span
		if k == 1 {
			ohms = perMetre * cmp.Or(c.home, 50)
		}
		g := ladderGear{
			At: k, Before: i, Violet: ohms, Gray: ohms, Earth: 0.05 + 0.3*ohms, On: "on", Light: "near", Kind: "gear",
			Amperes: c.amps(), Open: cmp.Or(c.volts, 12), Load: far, Fed: 1,
		}
		if k%2 == 0 {
			g.On = "half"
		}
		if k > c.NearCount() {
			g.Light = "far"
		}
		if c.blocking {
			g.Kind = "blocking"
		}
		if c.each != nil {
			c.each(&g)
		}
		at := itoa(k)
		g.Violet, g.Gray, g.Earth = c.Wire("Rv"+at, g.Violet), c.Wire("Rg"+at, g.Gray), c.Wire("Re"+at, g.Earth)
		list[i] = g
	}
	return list
}

// Second lists every second gear.
func (c *circuit) Second() (list []ladderGear) {
	for i, g := range c.Gears() {
		if i%2 == 1 {
			list = append(list, g)
		}
	}
	return list
}

// Chassis is that of the gear in the middle.
func (c *circuit) Chassis() string { return "c" + itoa((c.gear+1)/2) }

// Middle is the span that leads to the far half, nil where there is none.
func (c *circuit) Middle() *ladderGear {
	if c.gear < 2 {
		return nil
	}
	return &c.Gears()[c.NearCount()]
}

// Sinks is the current that the interface can sink, in amperes.
func (c *circuit) Sinks() float64 { return cmp.Or(c.Most, 0.05) }
