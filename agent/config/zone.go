package config

import (
	"fmt"
	"math"

	"github.com/hashicorp/hcl/v2"
)

// Limits of a zone. Chosen: beyond what one dimmed circuit of a store can have, so that a slip of a unit shows.
const (
	maxRatedPower = 1e6  // watts
	maxBallasts   = 5000 // of one zone

	// A ballast or driver draws from leastBallast to mostBallast watts, without a warning. Chosen: from one small lamp to the
	// largest fixture of a high hall; at half and double a power in kilowatts or a wrong count still shows.
	leastBallast, mostBallast = 5.0, 500.0
)

var zoneSchema = schemaOf("zone")

// decodeZone reads one zone. It is kept also when something is wrong with it, so that its points are still checked.
func (l *loader) decodeZone(b *hcl.Block) {
	l.enterRow(b)
	l.checkLabel(b)
	a, inner := l.decode(b, zoneSchema)
	z := Zone{Name: b.Labels[0], Range: b.DefRange}
	own := l.zoneDevice(a, &z)

	z.OutOfService = a.truth("out_of_service")
	z.RatedPower, _, _ = a.number("rated_power", 0, maxRatedPower, " in watts")
	if n, where, ok := a.number("ballasts", 0, maxBallasts, ""); ok {
		if n != math.Trunc(n) {
			l.fail(where, "Not a whole number", "ballasts is how many ballasts or drivers the zone has, a whole number; this is %s.", plain(n))
		}
		z.Ballasts = int(n)
	}
	l.checkGear(a, &z)
	z.PowerCurve = l.powerCurve(a)
	z.TapGear = l.feedbackTap(a)
	z.Judge = l.decodeJudge(inner, l.judge)

	index := len(l.site.Zones)
	for role := Setpoint; role < Roles; role++ {
		attr := a.attrs[role.String()]
		if attr == nil {
			if role <= Feedback {
				l.fail(b.DefRange, "Point missing", "%s has no %s. Every zone needs setpoint, command and feedback: add %s = { ... } with its location and what its number means.", l.zoneTitle(z.Name), role, role)
			}
			continue
		}
		p := l.decodePoint(attr, pointPlace{zone: z.Name, index: index, role: role, device: own})
		if p != nil {
			z.Points[role] = p
		}
	}
	if !l.site.Hours.Given && !a.has("lit") && !l.hoursFailed {
		l.warn(b.DefRange, "Not known when light is asked for", "%s has no lit point and the site has no hours: whether a dark zone is off or broken cannot be told. Add hours to the site, or lit = { ... } to the zone.", l.zoneTitle(z.Name))
	}
	l.site.Zones = append(l.site.Zones, z)
}

// checkGear warns where the power of one ballast is none that there is.
func (l *loader) checkGear(a block, z *Zone) {
	if z.RatedPower <= 0 || z.Ballasts <= 0 {
		return
	}
	if each := z.RatedPower / float64(z.Ballasts); each < leastBallast || each > mostBallast {
		l.warn(a.attrs["rated_power"].Expr.Range(), "Unlikely gear", "%s W for %d ballasts is %s W each; from %s to %s W is usual. rated_power is of the whole zone, in watts, and ballasts is how many it has.",
			plain(z.RatedPower), z.Ballasts, plain(math.Round(10*each)/10), plain(leastBallast), plain(mostBallast))
	}
}

// zoneDevice finds the zone's own device: the only one of the site where none is named. nil where there is none, which has
// been reported.
func (l *loader) zoneDevice(a block, z *Zone) *device {
	if !a.has("device") {
		if len(l.devices) == 1 {
			l.devices[0].used = true
			return l.devices[0]
		}
		l.deviceUnclear = true
		if l.dropped["device"] {
			return nil
		}
		if len(l.devices) == 0 {
			l.fail(a.rng, "No device", "%s has nothing to be read from: add a block such as device \"north\" { driver = \"modbus-tcp\" ... }.", l.zoneTitle(z.Name))
			return nil
		}
		l.fail(a.rng, "Device missing", "%s does not say which device it is on: add device = \"...\".%s", l.zoneTitle(z.Name), suggest("", l.deviceNames()))
		return nil
	}
	name, where, ok := a.text("device", `"north"`)
	if !ok {
		l.deviceUnclear = true
		return nil
	}
	d := l.findDevice(name, where)
	if d != nil {
		z.Device = d.index
	}
	return d
}

// findDevice looks a device up by its name and reports one that does not exist.
func (l *loader) findDevice(name string, where hcl.Range) *device {
	for i := range l.site.Devices {
		if l.site.Devices[i].Name == name {
			l.devices[i].used = true
			return l.devices[i]
		}
	}
	l.deviceUnclear = true
	if l.dropped["device"] {
		return nil // it may be the one whose block has no name
	}
	l.fail(where, "Unknown device", "There is no device %q.%s", name, suggest(name, l.deviceNames()))
	return nil
}

// zoneTitle names a zone at the start of a sentence. Those made from a list are named by their row, beside the text, so that
// what is wrong with every row is said once.
func (l *loader) zoneTitle(name string) string {
	if l.row != "" {
		return "The zone"
	}
	return fmt.Sprintf("Zone %q", name)
}

func (l *loader) deviceNames() []string {
	var names []string
	for _, d := range l.site.Devices {
		names = append(names, d.Name)
	}
	return names
}

// powerCurve reads power over level, both in percent of full, as a list of pairs with rising level.
func (l *loader) powerCurve(a block) [][2]float64 {
	v, where, ok := a.value("power_curve")
	if !ok {
		return nil
	}
	const form = "power_curve is a list of two or more pairs of level and power, both in percent of full and with rising level: [[0, 10], [50, 55], [100, 100]]."
	if !(v.Type().IsTupleType() || v.Type().IsListType()) || v.LengthInt() < 2 || v.LengthInt() > 1000 {
		l.fail(where, "Not a power curve", "%s This is %s.", form, kindOf(v))
		return nil
	}
	var curve [][2]float64
	for i, e := range v.AsValueSlice() {
		pair, ok := toPair(e)
		switch {
		case !ok:
			l.fail(where, "Not a power curve", "%s Element %d is %s.", form, i+1, kindOf(e))
			return nil
		case pair[0] < 0 || pair[0] > 100 || pair[1] < 0 || pair[1] > 150:
			l.fail(where, "Out of range", "%s Level is from 0 to 100 and power from 0 to 150; element %d is [%s, %s].", form, i+1, plain(pair[0]), plain(pair[1]))
			return nil
		case i > 0 && pair[0] <= curve[i-1][0]:
			l.fail(where, "Levels not rising", "%s Element %d has level %s after %s.", form, i+1, plain(pair[0]), plain(curve[i-1][0]))
			return nil
		}
		curve = append(curve, pair)
	}
	return curve
}

// feedbackTap says whether the feedback is measured at the gear.
func (l *loader) feedbackTap(a block) bool {
	tap, where, ok := a.text("feedback_tap", `"interface"`)
	if !ok || tap == "interface" || tap == "gear" {
		return tap == "gear"
	}
	l.fail(where, "Unknown tap", `feedback_tap is where the pair's voltage is measured: "interface" (its terminals, the default) or "gear".%s`, didYouMean(tap, []string{"interface", "gear"}))
	return false
}
