package loops

import (
	"math"
	"slices"
	"testing"
)

// signs is what the findings may make of a class: one of own has to be named or mentioned in every statement, and what is
// named has to be of own or of may, which the points can not tell from it.
var signs = map[class]struct{ own, may []ID }{
	follows:    {},
	splitLight: {may: []ID{GearStray, LampsOut}}, // the pair does what it should; only light or power shows it
	deadLow:    {own: []ID{PairShort}, may: []ID{StuckDim}},
	exchanged:  {own: []ID{PairShort}, may: []ID{FeedbackLoopLow}},
	openPair:   {own: []ID{PairOpen}, may: []ID{FeedbackLoopLow}},
	unfed:      {own: []ID{CircuitOff}},
	deadHigh:   {own: []ID{NotDimming}, may: []ID{FeedbackLoopHigh}},
	capped:     {own: []ID{CeilingLow}, may: []ID{StuckMid, StuckDim}},
	floored:    {own: []ID{FloorHigh}, may: []ID{StuckMid}},
	stands:     {own: []ID{StuckMid, StuckDim}, may: []ID{CeilingLow}},
}

// blind is what may be named besides where neither light nor power is read: 4 mA is then one class of many members.
var blind = map[class][]ID{
	openPair: {PairShort, CircuitOff, StuckDim, StuckMid},
	unfed:    {PairShort, PairOpen},
	deadLow:  {PairOpen, CircuitOff},
}

// watching is how a zone is read: its points, and what its transmitter makes of the volts.
type watching struct {
	name    string
	has     Channels
	limited bool // the current stays within 3.8 and 20.5 mA
}

var watchings = []watching{
	{"volts and power", loopPoints | Power | Order, false},
	{"current and power", allPoints, false},
	{"limited current and power", allPoints, true},
	{"volts", loopPoints | Order, false},
}

// disputed lists the circuits that the findings do not name as what they are, and what is said instead. One that comes to
// be named has to be taken off.
var disputed = map[string]string{
	"leak of 100 kohm, gear of 0.02 mA 1": "without power pair-open overtakes: it owes nothing for the noise about its rest",
	"soft sink 8":                         "0.4 V of offset are named feedback-drift, though the meter at the pair would agree with the feedback",
	"soft sink 40":                        "floor-high and feedback-drift take turns",
	"stuck at 500 ohm 8":                  "ceiling-low is named for certain before the command has been below where the pair rests",
}

// Every circuit is judged as its class: four sound hours, then four with the circuit under a loop that works, so that its
// command goes where the circuit drives it.
func TestCircuitClasses(t *testing.T) {
	all := goldenReadings(t)
	for i := range circuits {
		c := &circuits[i]
		why, known := disputed[c.Name]
		wrongs := 0
		for _, w := range watchings {
			t.Run(c.Name+"/"+w.name, func(t *testing.T) {
				wrong := misjudged(c, all[c.Name], w, judged(c, all[c.Name], w))
				if wrong != "" {
					wrongs++
				}
				if wrong != "" && !known {
					t.Error(wrong)
				}
			})
		}
		if known && wrongs == 0 {
			t.Errorf("%s is judged as it is now: take it off the list of the disputed (%s)", c.Name, why)
		}
	}
	for name := range disputed {
		circuitNamed(t, name)
	}
}

// judged gives what is said of a circuit.
func judged(c *circuit, r *readings, w watching) []Finding {
	z := newSim(11, 15, w.has)
	return run(z, 4, 4, func(z *sim, s *simState) {
		s.pair, s.light = 10*along(r.pair, z.command), r.light(c, z.command)
		s.fed = s.light > 0
		if w.limited {
			seen := z.gain*s.pair + z.shift + z.noise*z.rand.NormFloat64()
			s.milliamps = math.Min(20.5, math.Max(3.8, 4+0.16*seen))
		}
	})
}

// misjudged says what is wrong with what was said, "" where nothing is.
func misjudged(c *circuit, r *readings, w watching, said []Finding) string {
	sign := signs[c.class]
	if len(sign.own) == 0 {
		for _, f := range said {
			if !slices.Contains(sign.may, f.ID) {
				return "named " + f.ID.String() + ", want nothing"
			}
		}
		return ""
	}
	if len(said) == 0 {
		return "nothing found, want " + sign.own[0].String()
	}
	may := append(slices.Concat(sign.own, sign.may), TrackingError) // which names no part
	if !w.has.Has(Power) {
		may = append(may, blind[c.class]...)
	}
	for _, f := range said {
		mentioned := slices.Contains(sign.own, f.ID) || slices.ContainsFunc(f.Also, func(a Alternative) bool { return slices.Contains(sign.own, a.ID) })
		if !slices.Contains(may, f.ID) || !mentioned {
			return "named " + f.ID.String() + ", want " + sign.own[0].String() + " to be named or mentioned"
		}
		// Below 0.3 V no interface holds a pair: with power, a short is named without doubt.
		const sure = 0.9
		if c.class == deadLow && w.has.Has(Power) && slices.Max(r.pair) < 0.3 && (f.ID != PairShort || f.Confidence < sure) {
			return "a pair below 0.3 V is not named a short for certain"
		}
	}
	return ""
}

// The bands of the explanations hold the readings of their classes.
func TestBands(t *testing.T) {
	all := goldenReadings(t)
	seen := map[class]int{}
	for i := range circuits {
		c := &circuits[i]
		r := all[c.Name]
		bottom, top := 10*slices.Min(r.pair), 10*slices.Max(r.pair)
		low, high := -math.MaxFloat64, math.MaxFloat64
		switch c.class {
		case deadLow:
			low, high = 0, floorLow // and from shortHigh on it is shared with an interface at its floor
		case exchanged:
			low, high = shortLow, belowZero
		case openPair:
			low, high = 0, strayHigh+shortEdge
			if top < -50 {
				low, high = -openHigh, -openLow // without a reverse diode
			}
		case deadHigh:
			low, high = openLow, openHigh
			if top < 105 {
				low = 98
			}
		case capped:
			bottom, low, high = top, ceilingLow, ceilingHigh
		case stands:
			low, high = floorLow, openLow
		}
		seen[c.class]++
		if bottom < low-0.05 || top > high {
			t.Errorf("%s: %.1f to %.1f %%, want %.1f to %.1f", c.Name, bottom, top, low, high)
		}
	}
	for k := range signs {
		if seen[k] == 0 {
			t.Errorf("no circuit of class %c", k)
		}
	}
}
