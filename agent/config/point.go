package config

import (
	"fmt"
	"slices"
	"strings"

	"dimwatch/drivers"

	"github.com/hashicorp/hcl/v2"
	"github.com/zclconf/go-cty/cty"
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
	p.Where = k.location(coding)
	d := k.place.device
	if d == nil || k.failed {
		k.meaning(p)
		return nil
	}
	// The driver checks its keys also where what the number means is wrong.
	p.Device = d.index
	p.Index = d.take(drivers.Point{Name: place.zone + " " + place.role.String(), Keys: coding, Range: k.rng}, l.row)
	k.meaning(p)
	if k.failed {
		return nil
	}
	if out := &l.site.Devices[d.index]; p.Index == len(out.Points) {
		out.Points = append(out.Points, p)
	}
	return p
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
	k.slips = append(k.slips, Closest(name, known))
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
