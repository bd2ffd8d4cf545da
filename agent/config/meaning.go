package config

import (
	"math"
	"slices"

	"github.com/zclconf/go-cty/cty"
	"github.com/zclconf/go-cty/cty/convert"
)

// Limits of what a raw value can be mapped to. Levels reach beyond 0..100 since a 4..20 mA signal on an input of 0..20 mA is
// below zero at raw 0; volts are the same on a pair of 10 V. Signed inputs count to 24 mA both ways.
const (
	minLevel, maxLevel = -50.0, 150.0
	maxMilliamps       = 30.0
	minLoop            = 1.0 // mA between the ends of a pair: less is a slip into amperes
	maxQuantity        = 1e9 // lux and watts

	// leastSpan is what a level moves at least between the ends of a pair, percent, without a warning. Chosen: a fraction of full
	// light taken for percent has 1; at half nothing more is caught, at double the fine end of a range split in two is.
	leastSpan = 5.0
)

// meaning reads what the number of a point is: a quantity and the lines that lead to it.
func (k *pointKeys) meaning(p *Point) {
	k.state(p)
	if k.place.role == Lit {
		return
	}
	quantity, ok := k.quantity()
	if ok {
		p.Quantity = quantity
	}
	raw, hasRaw := k.pair("raw", "two raw values")
	loop, hasLoop := k.pair("milliamps", "the currents at the two raw values")
	_, rawThere := k.values["raw"]
	_, loopThere := k.values["milliamps"]
	if hasRaw && raw[0] == raw[1] {
		k.fail(k.valueRange("raw"), "Equal ends", "raw names two different raw values; a line through one point leads everywhere.")
		hasRaw = false
	}
	if hasLoop {
		hasLoop = k.loop(loop)
	}
	if loopThere && !rawThere && !slices.Contains(k.slips, "raw") {
		k.fail(k.keyRange("milliamps"), "Current without raw", "milliamps gives the currents at two raw values: add raw = [a, b]. Where the number is the current itself, write raw = [4, 20], milliamps = [4, 20].")
	}
	if !ok {
		return
	}
	scale, isPair := k.scale(quantity, rawThere)
	switch {
	case !isPair || !hasRaw:
	case loopThere && hasLoop:
		p.Ends = Ends{Given: true, Raw: raw, Milliamps: loop, Quantity: scale}
		p.HasLoop, p.Loop = true, Through(raw, loop)
		p.Scale = Through([2]float64{4, 20}, scale)
	case !loopThere:
		p.Ends = Ends{Given: true, Raw: raw, Quantity: scale}
		p.Scale = Through(raw, scale)
	}
}

// state reads the keys of a point that is true or false, and reports them elsewhere.
func (k *pointKeys) state(p *Point) {
	if k.place.role != Lit {
		for _, name := range []string{"invert", "kind"} {
			if _, there := k.values[name]; there {
				hint := "Remove it."
				if name == "invert" {
					hint = "To turn a number around, swap the ends: raw = [1000, 0]."
				}
				k.fail(k.keyRange(name), "Key of a lit point", "%s is for points that are true or false; a %s is a number. %s", name, k.place.role, hint)
			}
		}
		return
	}
	p.Quantity = State
	for _, name := range append([]string{"raw", "milliamps"}, quantityKeys...) {
		if _, there := k.values[name]; there {
			k.fail(k.keyRange(name), "Number of a lit point", "A lit point is true where its number is not zero, so %s has no meaning. Remove it; invert = true turns the point.", name)
		}
	}
	if v, ok := k.known("invert"); ok {
		t, err := convert.Convert(v, cty.Bool)
		if err != nil {
			k.fail(k.valueRange("invert"), "Neither true nor false", "invert is true or false, without quotes; this is %s.", kindOf(v))
		} else {
			p.Invert = t.True()
		}
	}
	if kind, ok := k.text("kind", `"order"`); ok {
		if kind != "order" && kind != "contact" {
			k.fail(k.valueRange("kind"), "Unknown kind", `kind is "order" (light is asked for, the default) or "contact" (gear is fed).%s`, didYouMean(kind, []string{"order", "contact"}))
		}
		p.Contact = kind == "contact"
	}
}

// quantity finds the one quantity of a point and checks that its role can have it.
func (k *pointKeys) quantity() (Quantity, bool) {
	allowed := quantities[k.place.role]
	var names []string
	for _, q := range allowed {
		names = append(names, q.String())
	}
	var found []string
	for _, name := range k.order {
		if slices.Contains(quantityKeys, name) {
			found = append(found, name)
		}
	}
	switch {
	case len(found) > 1:
		k.fail(k.keyRange(found[1]), "Two quantities", "%s has %s. Its number means one thing: keep one.", k.title(), list(found, "and"))
		return 0, false
	case len(found) == 0 && slices.ContainsFunc(k.slips, func(name string) bool { return slices.Contains(quantityKeys, name) }):
		return 0, false // it is there, misspelt
	case len(found) == 0:
		if _, raw := k.values["raw"]; raw {
			k.fail(k.keyRange("raw"), "Raw without a quantity", "raw gives two raw values; say what they mean with a pair for %s.", list(names, "or"))
		} else if !k.failed { // a misspelt quantity is reported as such
			k.fail(k.rng, "Quantity missing", "%s does not say what its number means. Add raw = [a, b] and a pair for %s, or %s = true where the number is that already.", k.title(), list(names, "or"), names[0])
		}
		return 0, false
	}
	for _, q := range allowed {
		if q.String() == found[0] {
			return q, true
		}
	}
	k.fail(k.keyRange(found[0]), "Quantity does not fit", "%s is given in %s; %s does not fit.", k.title(), list(names, "or"), found[0])
	return 0, false
}

// scale reads the value of the quantity: a pair, or true where the number is the quantity itself.
func (k *pointKeys) scale(q Quantity, hasRaw bool) (pair [2]float64, isPair bool) {
	name := q.String()
	v, ok := k.known(name)
	if !ok {
		return pair, false
	}
	if t, err := convert.Convert(v, cty.Bool); err == nil {
		switch {
		case t.False():
			k.fail(k.valueRange(name), "Not a quantity", "%s is a pair such as %s = %s, or true where the number is %s already. Leave it out otherwise.", name, name, examplePair(q), name)
		case hasRaw:
			k.fail(k.valueRange(name), "Pair missing", "With raw, %s gives the values at the two raw values: %s = %s.", name, name, examplePair(q))
		}
		return pair, false
	}
	pair, isPair = k.pair(name, "the values at the two raw values, or true where the number is "+name+" already")
	if !isPair {
		return pair, false
	}
	if !hasRaw && slices.Contains(k.slips, "raw") {
		return pair, false
	}
	if !hasRaw {
		k.fail(k.keyRange(name), "Pair without raw", "%s gives what two raw values mean: add raw = [a, b], or write %s = true where the number is %s already.", name, name, name)
		return pair, false
	}
	low, high := minLevel, maxLevel
	switch q {
	case Volts:
		low, high = minLevel/10, maxLevel/10
	case Lux, Watts:
		low, high = -maxQuantity, maxQuantity
	}
	for _, x := range pair {
		if x < low || x > high {
			hint := ""
			if q == Level || q == Duty {
				hint = " 0 is dark and 100 is full."
			} else if q == Volts {
				hint = " 0 V is dark and 10 V is full."
			}
			k.fail(k.valueRange(name), "Out of range", "%s is from %s to %s; this has %s.%s", name, plain(low), plain(high), plain(x), hint)
			return pair, false
		}
	}
	if span := math.Abs(pair[1] - pair[0]); k.place.role <= Feedback && span > 0 && (q == Volts && span < leastSpan/10 || q != Volts && span < leastSpan) {
		k.l.warn(k.valueRange(name), "Hardly any span", "From %s to %s the %s moves by less than %s %% of level. Where the raw values are those of dark and of full light, as with a fraction, write %s = %s.",
			plain(pair[0]), plain(pair[1]), k.place.role, plain(leastSpan), name, examplePair(q))
	}
	if pair[0] == pair[1] {
		k.fail(k.valueRange(name), "Equal ends", "Both raw values mean %s %s: then the point says nothing. Give two different values.", name, plain(pair[0]))
		return pair, false
	}
	return pair, true
}

// loop checks the currents of a current loop.
func (k *pointKeys) loop(pair [2]float64) bool {
	if pair[0] == pair[1] {
		k.fail(k.valueRange("milliamps"), "Equal ends", "milliamps names the currents at two different raw values; both are %s mA.", plain(pair[0]))
		return false
	}
	if math.Abs(pair[1]-pair[0]) < minLoop {
		k.fail(k.valueRange("milliamps"), "Out of range", "milliamps is in milliamperes, such as [4, 20]; from %s to %s no signal fits.", plain(pair[0]), plain(pair[1]))
		return false
	}
	for _, x := range pair {
		if x < -maxMilliamps || x > maxMilliamps {
			k.fail(k.valueRange("milliamps"), "Out of range", "milliamps is from %s to %s; this has %s. The pair is in milliamperes.", plain(-maxMilliamps), plain(maxMilliamps), plain(x))
			return false
		}
	}
	return true
}

// pair reads a key that holds two numbers.
func (k *pointKeys) pair(name, what string) ([2]float64, bool) {
	v, ok := k.known(name)
	if !ok {
		return [2]float64{}, false
	}
	pair, ok := toPair(v)
	if !ok {
		k.fail(k.valueRange(name), "Not a pair", "%s is a list of two numbers, %s; this is %s.", name, what, kindOf(v))
	}
	return pair, ok
}

func examplePair(q Quantity) string {
	return map[Quantity]string{Level: "[0, 100]", Duty: "[0, 100]", Volts: "[0, 10]", Lux: "[0, 5000]", Watts: "[0, 10000]"}[q]
}
