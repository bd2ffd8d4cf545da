package config

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"dimwatch/drivers"

	"github.com/hashicorp/hcl/v2"
	"github.com/zclconf/go-cty/cty"
)

// Defaults and limits of a device block.
const (
	defaultTimeout = time.Second
	defaultCycle   = 5 * time.Second
	maxTimeout     = time.Minute
	maxCycle       = 24 * time.Hour
	maxGap         = 10 * time.Second

	// defaultGap is the pause between two requests. Common practice for Modbus TCP gateways, no source: those with a serial
	// side drop requests that come back to back. Recordings need none.
	defaultGap = 10 * time.Millisecond

	// defaultShare is the part of the time that requests may fill. Chosen: half, since the controllers are there for
	// somebody else; 0.9 doubles what fits a cycle and is for a bus that is ours alone.
	defaultShare = 0.5
)

// device is a device while its points are being collected.
type device struct {
	index  int // in Site.Devices
	kind   *drivers.Kind
	driver drivers.Device
	broken bool           // its own arguments failed: it is not given to the driver
	used   bool           // a zone or a point names it
	row    string         // the row that it was made from
	byKeys map[string]int // reading index by the keys of a point
	made   []madePoint
}

// madePoint is a point of a zone that a dynamic block made.
type madePoint struct {
	index int
	row   string
}

var deviceSchema = schemaOf("device")

// decodeDevice reads what the configuration knows of a device; the rest is the driver's.
func (l *loader) decodeDevice(b *hcl.Block) {
	l.enterRow(b)
	first := l.checkLabel(b)
	content, remain, diags := b.Body.PartialContent(deviceSchema)
	l.add(diags)
	a := block{l: l, attrs: content.Attributes, rng: b.DefRange}
	d := &device{index: len(l.site.Devices), used: !first, row: l.row, byKeys: map[string]int{}}
	out := Device{Name: b.Labels[0], Range: b.DefRange}
	l.decodeDriver(a, d, &out)

	out.Timeout = a.duration("timeout", minDuration, maxTimeout, defaultTimeout)
	out.Cycle = a.duration("cycle", minDuration, maxCycle, defaultCycle)
	gap := defaultGap
	if out.Recorded {
		gap = 0
	}
	out.Gap = a.duration("gap", 0, maxGap, gap)
	out.BusShare = defaultShare
	if share, _, ok := a.number("bus_share", 0.01, 1, " (largest part of the time that requests may fill)"); ok {
		out.BusShare = share
	}
	if !out.Recorded && out.Timeout > out.Cycle {
		where := b.DefRange
		for _, name := range []string{"cycle", "timeout"} {
			if attr := content.Attributes[name]; attr != nil {
				where = attr.Expr.Range()
			}
		}
		l.warn(where, "Timeout longer than the cycle", "One request without an answer takes %s and the device is to be read each %s: such cycles are skipped. Make timeout shorter or cycle longer.", shortDuration(out.Timeout), shortDuration(out.Cycle))
	}

	body := hideRow(remain)
	d.broken = d.broken || l.failing(body)
	d.driver = drivers.Device{
		Name: out.Name, Dir: l.dir, Body: body, Context: l.ctx,
		Timeout: out.Timeout, Cycle: out.Cycle, Gap: out.Gap, Range: b.DefRange,
	}
	l.site.Devices = append(l.site.Devices, out)
	l.devices = append(l.devices, d)
}

// decodeDriver finds the driver of a device.
func (l *loader) decodeDriver(a block, d *device, out *Device) {
	var names []string
	for name := range l.kinds {
		names = append(names, name)
	}
	slices.Sort(names)
	if !a.has("driver") {
		l.fail(a.rng, "Driver missing", "A device needs a driver, such as driver = \"modbus-tcp\".%s", suggest("", names))
		return
	}
	name, where, ok := a.text("driver", `"modbus-tcp"`)
	if !ok {
		return
	}
	kind, known := l.kinds[name]
	if !known {
		l.fail(where, "Unknown driver", "There is no driver %q.%s", name, suggest(name, names))
		return
	}
	out.Driver, out.Recorded = name, kind.Recorded
	d.kind = &kind
}

// rowSchema are the arguments that checkNames added.
var rowSchema = &hcl.BodySchema{Attributes: []hcl.AttributeSchema{{Name: rowKey}, {Name: rowValue}}}

// enterRow notes from which row of a list a block was made, for all that is reported from now on.
func (l *loader) enterRow(b *hcl.Block) {
	l.row = ""
	content, _, _ := b.Body.PartialContent(rowSchema)
	if len(content.Attributes) != 2 {
		return
	}
	key, _ := content.Attributes[rowKey].Expr.Value(l.ctx)
	value, _ := content.Attributes[rowValue].Expr.Value(l.ctx)
	l.row = l.rowName(key, value)
	if len(b.Labels) == 1 {
		l.row += fmt.Sprintf(" (%s %q)", b.Type, b.Labels[0])
	}
}

// hideRow gives the body without the arguments that checkNames added.
func hideRow(body hcl.Body) hcl.Body {
	_, remain, _ := body.PartialContent(rowSchema)
	return remain
}

// failing reports what cannot be evaluated of the arguments that go to a driver, and says whether one is missing for that:
// the driver would report it a second time.
func (l *loader) failing(body hcl.Body) bool {
	attrs, _ := body.JustAttributes()
	schema := &hcl.BodySchema{}
	for name := range attrs {
		if name != rowKey && name != rowValue && !slices.Contains(shapes["device"].attrs, name) {
			schema.Attributes = append(schema.Attributes, hcl.AttributeSchema{Name: name})
		}
	}
	content, _, _ := body.PartialContent(schema)
	failed := false
	for _, attr := range content.Attributes {
		v, diags := attr.Expr.Value(l.ctx)
		l.add(diags)
		failed = failed || diags.HasErrors() || !v.IsWhollyKnown()
	}
	return failed
}

// take adds a point to the device and gives the index of its reading; points with the same keys share one.
func (d *device) take(point drivers.Point, row string) int {
	var names []string
	for name := range point.Keys {
		names = append(names, name)
	}
	slices.Sort(names)
	var key strings.Builder
	for _, name := range names {
		fmt.Fprintf(&key, "%s=%s\n", name, keyText(point.Keys[name].Value))
	}
	index, shared := d.byKeys[key.String()]
	if !shared {
		index = len(d.driver.Points)
		d.byKeys[key.String()] = index
		d.driver.Points = append(d.driver.Points, point)
	}
	if row != "" {
		d.made = append(d.made, madePoint{index, row})
	}
	return index
}

// keyText makes a value comparable: the number 3 and the text "3" of a CSV list are the same to a driver.
func keyText(v cty.Value) string {
	if v.Type().IsPrimitiveType() && v.IsKnown() && !v.IsNull() {
		switch v.Type() {
		case cty.String:
			return v.AsString()
		case cty.Number:
			return v.AsBigFloat().Text('g', -1)
		}
	}
	return v.GoString()
}
