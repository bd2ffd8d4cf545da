package config

import (
	"fmt"
	"slices"
	"strings"

	"dimwatch/drivers"

	"github.com/hashicorp/hcl/v2"
)

// openDevices gives all devices of each kind to its driver.
func (l *loader) openDevices() {
	for i, d := range l.devices {
		if !d.used && !l.deviceUnclear && len(l.site.Zones) > 0 {
			out := &l.site.Devices[i]
			l.warn(out.Range, "Device not used", "No zone and no point names device %q: it is not read. Remove it, or name it in a zone.", out.Name)
		}
	}
	var names []string
	for name := range l.kinds {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		var mine []*device
		var given []drivers.Device
		for _, d := range l.devices {
			if l.site.Devices[d.index].Driver == name && !d.broken {
				mine = append(mine, d)
				given = append(given, d.driver)
			}
		}
		if len(given) == 0 {
			continue
		}
		sources, diags := l.kinds[name].Open(given)
		l.add(l.withOurNames(l.withRows(diags, mine)))
		for i, d := range mine {
			if i < len(sources) && sources[i] != nil {
				l.site.Devices[d.index].Source = sources[i]
				if s, ok := sources[i].(drivers.Addressed); ok {
					l.site.Devices[d.index].Address = s.Address()
				}
			}
		}
	}
}

// withRows finds the rows of what a driver reports of devices and points that a dynamic block made, by giving it each of
// them alone: all of one dynamic block have the same place.
func (l *loader) withRows(diags hcl.Diagnostics, devices []*device) hcl.Diagnostics {
	if len(diags) == 0 {
		return nil
	}
	same := func(d *hcl.Diagnostic) string {
		return fmt.Sprintf("%d|%s|%s|%v", d.Severity, d.Summary, d.Detail, place(d))
	}
	rows := map[string][]string{}
	for _, d := range devices {
		if d.row != "" {
			for _, f := range d.alone(nil) {
				rows[same(f)] = append(rows[same(f)], d.row)
			}
		}
		for _, p := range d.made {
			point := d.driver.Points[p.index]
			for _, f := range d.alone([]drivers.Point{point}) {
				if within(place(f), point.Range) {
					rows[same(f)] = append(rows[same(f)], p.row)
				}
			}
		}
	}
	var out hcl.Diagnostics
	done := []string{}
	for _, d := range diags {
		if rows[same(d)] == nil {
			out = append(out, d)
		}
		for _, r := range rows[same(d)] {
			c := *d
			c.Extra = row(r)
			out = append(out, &c)
		}
		if len(rows[same(d)]) > 0 {
			rows[same(d)] = done // the same again is the same rows again
		}
	}
	return out
}

// alone gives what the driver says of the device with these points only.
func (d *device) alone(points []drivers.Point) hcl.Diagnostics {
	one := d.driver
	one.Points = points
	sources, found := d.kind.Open([]drivers.Device{one})
	for _, s := range sources {
		if s != nil {
			_ = s.Close()
		}
	}
	return found
}

func within(r, outer hcl.Range) bool {
	return r.Filename == outer.Filename && r.Start.Byte >= outer.Start.Byte && r.End.Byte <= outer.End.Byte
}

// withOurNames adds a hint where a driver does not know an argument of a device block that is a slip of one of ours: it
// knows only its own.
func (l *loader) withOurNames(diags hcl.Diagnostics) hcl.Diagnostics {
	if len(diags) == 0 {
		return nil
	}
	theirs := map[hcl.Range]string{}
	for _, d := range l.devices {
		attrs, _ := d.driver.Body.JustAttributes()
		for name, attr := range attrs {
			if !slices.Contains(shapes["device"].attrs, name) {
				theirs[attr.NameRange] = name
			}
		}
	}
	for _, d := range diags {
		if name, ok := theirs[place(d)]; ok && !strings.Contains(d.Detail, "Did you mean") {
			d.Detail += didYouMean(name, shapes["device"].attrs)
		}
	}
	return diags
}
