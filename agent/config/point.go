package config

import (
	"fmt"
	"slices"
	"strings"

	"dimwatch/drivers"

	"github.com/hashicorp/hcl/v2"
	"github.com/hashicorp/hcl/v2/hclsyntax"
	"github.com/zclconf/go-cty/cty"
	"github.com/zclconf/go-cty/cty/convert"
)

// pointPlace is the zone and the role of a point that is being decoded, and the device that it is on.
type pointPlace struct {
	zone   string
	index  int // of the zone
	role   Role
	device *device // nil where it is not known, which has been reported
}

// A point's keys that every driver has.
var (
	quantityKeys = []string{"level", "volts", "duty", "lux", "watts"}
	commonKeys   = append([]string{"device", "raw", "milliamps", "invert", "kind"}, quantityKeys...)
)

// quantities says what the number of a point may mean, by role. A setpoint, command or feedback is a level of light however it
// is carried. A lit point is true or false and has none.
var quantities = [Roles][]Quantity{
	Setpoint: {Level, Volts, Duty},
	Command:  {Level, Volts, Duty},
	Feedback: {Level, Volts, Duty},
	Power:    {Watts},
	Daylight: {Lux},
}

// pointKeys are the keys of one point object with their places.
type pointKeys struct {
	l      *loader
	place  pointPlace
	rng    hcl.Range // the whole object
	values map[string]cty.Value
	order  []string // of the file where it is known
	keys   map[string]hcl.Range
	vals   map[string]hcl.Range
	failed bool // something was reported: the point is not to be used
}

// decodePoint reads one point object; nil where it has mistakes or is null.
func (l *loader) decodePoint(attr *hcl.Attribute, place pointPlace) *Point {
	value, diags := attr.Expr.Value(l.ctx)
	l.add(diags)
	k := &pointKeys{l: l, place: place, rng: attr.Expr.Range(), values: map[string]cty.Value{}, failed: diags.HasErrors()}
	switch {
	case !value.IsKnown():
		return nil
	case value.IsNull():
		if place.role <= Feedback {
			l.fail(k.rng, "Point missing", "%s is null. Every zone needs setpoint, command and feedback.", k.title())
		}
		return nil
	case !value.Type().IsObjectType() && !value.Type().IsMapType():
		l.fail(k.rng, "Not a point", "A point is an object with a location and what its number means, such as { %s = 100, raw = [0, 1000], level = [0, 100] }; this is %s.", k.exampleLocation(), kindOf(value))
		return nil
	}
	k.locate(attr.Expr)
	for it := value.ElementIterator(); it.Next(); {
		key, v := it.Element()
		if v.IsKnown() && v.IsNull() {
			continue // a key that is null is left out, so that a list may have empty cells
		}
		k.values[key.AsString()] = v
		k.order = append(k.order, key.AsString())
	}
	slices.SortStableFunc(k.order, func(a, b string) int { return k.keyRange(a).Start.Byte - k.keyRange(b).Start.Byte })

	p := &Point{Zone: place.index, Role: place.role, Range: k.rng, Scale: Unity}
	k.pickDevice()
	coding := k.coding()
	where := k.location(coding)
	k.meaning(p)
	if k.failed || k.place.device == nil {
		return nil
	}
	d := k.place.device
	p.Where, p.Device = where, d.index
	p.Index = d.take(drivers.Point{Name: place.zone + " " + place.role.String(), Keys: coding, Range: k.rng}, l.row)
	if out := &l.site.Devices[d.index]; p.Index == len(out.Points) {
		out.Points = append(out.Points, p)
	}
	return p
}

// locate finds the places of keys and values where the object, or one that goes into it, is written out.
func (k *pointKeys) locate(expr hcl.Expression) {
	k.keys, k.vals = map[string]hcl.Range{}, map[string]hcl.Range{}
	for {
		inner := hcl.UnwrapExpression(expr)
		if inner == expr || inner == nil {
			break
		}
		expr = inner
	}
	k.walk(expr)
}

func (k *pointKeys) walk(expr hcl.Expression) {
	switch e := expr.(type) {
	case *hclsyntax.ObjectConsExpr:
		k.walkObject(e)
	case *hclsyntax.ParenthesesExpr:
		k.walk(e.Expression)
	case *hclsyntax.ConditionalExpr:
		k.walk(e.TrueResult)
		k.walk(e.FalseResult)
	case *hclsyntax.FunctionCallExpr: // merge({ ... }, { ... }): of two places of a key the last counts
		for _, arg := range e.Args {
			k.walk(arg)
		}
	}
}

func (k *pointKeys) walkObject(e *hclsyntax.ObjectConsExpr) {
	here := map[string]hcl.Range{}
	for _, item := range e.Items {
		name := hcl.ExprAsKeyword(item.KeyExpr)
		if name == "" {
			key, diags := item.KeyExpr.Value(nil)
			if diags.HasErrors() || !key.IsKnown() || key.IsNull() || key.Type() != cty.String {
				continue
			}
			name = key.AsString()
		}
		if first, twice := here[name]; twice {
			k.fail(item.KeyExpr.Range(), "Key given twice", "%s already stands at %s. Remove one of the two.", name, at(first))
		}
		here[name] = item.KeyExpr.Range()
		k.keys[name], k.vals[name] = item.KeyExpr.Range(), item.ValueExpr.Range()
	}
}

func (k *pointKeys) fail(at hcl.Range, summary, detail string, args ...any) {
	k.failed = true
	k.l.fail(at, summary, detail, args...)
}

// keyRange and valueRange give the place of a key or its value, the whole object where it is not written out.
func (k *pointKeys) keyRange(name string) hcl.Range {
	if r, ok := k.keys[name]; ok {
		return r
	}
	return k.rng
}

func (k *pointKeys) valueRange(name string) hcl.Range {
	if r, ok := k.vals[name]; ok {
		return r
	}
	return k.rng
}

// known gives a key's value; ok is false where it is not there or not known.
func (k *pointKeys) known(name string) (cty.Value, bool) {
	v, ok := k.values[name]
	if !ok {
		return v, false
	}
	if !v.IsWhollyKnown() {
		k.failed = true
		return v, false
	}
	return v, true
}

// text gives a key's value where it is a text.
func (k *pointKeys) text(name, example string) (string, bool) {
	v, ok := k.known(name)
	if !ok {
		return "", false
	}
	s, err := convert.Convert(v, cty.String)
	if err != nil {
		k.fail(k.valueRange(name), "Not a text", "%s is a text, such as %s = %s; this is %s.", name, name, example, kindOf(v))
		return "", false
	}
	return s.AsString(), true
}

// pickDevice takes the point's own device where it names one.
func (k *pointKeys) pickDevice() {
	if _, own := k.values["device"]; !own {
		return
	}
	k.place.device = nil
	if name, ok := k.text("device", `"north"`); ok {
		k.place.device = k.l.findDevice(name, k.valueRange("device"))
	}
}

// kind is the driver of the point's device, nil where it is not known.
func (k *pointKeys) kind() *drivers.Kind {
	if k.place.device == nil {
		return nil
	}
	return k.place.device.kind
}

func (k *pointKeys) exampleLocation() string {
	if kind := k.kind(); kind != nil && len(kind.LocationKeys) > 0 {
		return kind.LocationKeys[len(kind.LocationKeys)-1]
	}
	return "holding"
}

// coding collects the keys that are the driver's and reports those that nobody knows.
func (k *pointKeys) coding() map[string]drivers.Value {
	kind := k.kind()
	out := map[string]drivers.Value{}
	for _, name := range k.order {
		if slices.Contains(commonKeys, name) {
			continue
		}
		if kind != nil && (slices.Contains(kind.PointKeys, name) || slices.Contains(kind.LocationKeys, name)) {
			if v, ok := k.known(name); ok {
				out[name] = drivers.Value{Value: v, Range: k.valueRange(name)}
			}
			continue
		}
		k.unknownKey(name, kind)
	}
	return out
}

// unknownKey reports a key that does not belong to the point's driver.
func (k *pointKeys) unknownKey(name string, kind *drivers.Kind) {
	var owners []string
	known := slices.Clone(commonKeys)
	for driver, other := range k.l.kinds {
		if slices.Contains(other.PointKeys, name) || slices.Contains(other.LocationKeys, name) {
			owners = append(owners, driver)
		}
		if kind == nil {
			known = append(append(known, other.PointKeys...), other.LocationKeys...)
		}
	}
	slices.Sort(owners)
	switch {
	case kind == nil && len(owners) > 0:
		return // the device is not known, which has been reported: the key may well be right for it
	case len(owners) > 0:
		driver := k.l.site.Devices[k.place.device.index]
		k.fail(k.keyRange(name), "Key of another driver", "%s belongs to %s; device %q is read by %s, whose points have %s.", name, list(owners, "and"), driver.Name, driver.Driver, list(slices.Sorted(slices.Values(kind.PointKeys)), "and"))
		return
	case kind != nil:
		known = append(append(known, kind.PointKeys...), kind.LocationKeys...)
		slices.Sort(known)
		known = slices.Compact(known)
	}
	k.fail(k.keyRange(name), "Unknown key", "A point has no key %q.%s", name, suggest(name, known))
}

// location checks that there is exactly one location, and says it for people.
func (k *pointKeys) location(coding map[string]drivers.Value) string {
	kind := k.kind()
	if kind == nil {
		return ""
	}
	var found []string
	for _, name := range k.order {
		if slices.Contains(kind.LocationKeys, name) {
			found = append(found, name)
		}
	}
	switch {
	case len(found) == 0:
		if !k.failed { // a misspelt location is reported as such
			k.fail(k.rng, "Location missing", "%s does not say where it is: add %s.", k.title(), list(kind.LocationKeys, "or"))
		}
		return ""
	case len(found) > 1:
		k.fail(k.keyRange(found[1]), "Two locations", "%s has %s. A point is one value in one place: keep one.", k.title(), list(found, "and"))
		return ""
	}
	v, ok := coding[found[0]]
	if !ok {
		return ""
	}
	where := found[0] + " " + keyText(v.Value)
	if bit, ok := coding["bit"]; ok {
		where += " bit " + keyText(bit.Value)
	}
	return where
}

// title names the point at the start of a sentence.
func (k *pointKeys) title() string {
	role := k.place.role.String()
	role = strings.ToUpper(role[:1]) + role[1:]
	if k.l.row != "" {
		return role // the row names the zone
	}
	return fmt.Sprintf("%s of zone %q", role, k.place.zone)
}
