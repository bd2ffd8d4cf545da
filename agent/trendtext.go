package main

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"dimwatch/agent/config"
)

// A configuration for recordings, written from one for live points: every device has driver "trend", every point is a
// column, and the rest stays. The columns hold numbers as they were read, before any scaling, so the raw mapping is written
// as it was given: a review judges the same to the bit, and a mapping that was wrong can be corrected afterwards.

// trendText is what such a configuration is made of.
type trendText struct {
	site    *config.Site
	zones   []int // indices in site.Zones
	devices []trendDevice

	// column says in which column of which device a point is.
	column func(p *config.Point) (device, column string)

	// own names the device of a zone that is said to be lost with it.
	own func(z *config.Zone) string
}

// trendDevice is a device of a recording.
type trendDevice struct {
	name, file string
	cycle      time.Duration
}

// String gives the text of the configuration.
func (t *trendText) String() string {
	var b strings.Builder
	t.siteBlock(&b)
	for _, d := range t.devices {
		fmt.Fprintf(&b, "\ndevice %s {\n  driver = \"trend\"\n  file   = %s\n  cycle  = %q\n}\n", quoted(d.name), quoted(d.file), d.cycle)
	}
	for _, z := range t.zones {
		t.zoneBlock(&b, &t.site.Zones[z])
	}
	return b.String()
}

func (t *trendText) siteBlock(b *strings.Builder) {
	s := t.site
	fmt.Fprintf(b, "site %s {\n", quoted(s.Name))
	line := func(key, value string) { fmt.Fprintf(b, "  %-9s = %s\n", key, value) }
	if s.Title != s.Name {
		line("name", quoted(s.Title))
	}
	if s.HasPlace {
		line("latitude", plainNumber(s.Latitude))
		line("longitude", plainNumber(s.Longitude))
	}
	if s.Location != time.Local { // without one, the machine that reviews must be in the same zone
		line("time_zone", quoted(s.Location.String()))
	}
	if s.Hours.Given {
		line("hours", hoursText(&s.Hours))
	}
	if len(s.Hours.Closed) > 0 {
		line("closed", closedText(s.Hours.Closed))
	}
	if s.Tariff > 0 {
		line("tariff", plainNumber(s.Tariff))
	}
	b.WriteString("}\n")
}

func hoursText(h *config.Hours) string {
	names := [7]string{"sun", "mon", "tue", "wed", "thu", "fri", "sat"}
	var days []string
	for day, spans := range h.Days {
		text := "closed"
		for i, s := range spans {
			if i == 0 {
				text = ""
			} else {
				text += ", "
			}
			text += clockText(s.From) + "-" + clockText(s.To)
		}
		days = append(days, fmt.Sprintf("%s = %q", names[day], text))
	}
	return "{ " + strings.Join(days, ", ") + " }"
}

// clockText writes minutes from midnight; an end on the next day is before its begin, which is how it is read.
func clockText(minutes int) string {
	if minutes > 24*60 {
		minutes -= 24 * 60
	}
	return fmt.Sprintf("%02d:%02d", minutes/60, minutes%60)
}

func closedText(closed map[int]bool) string {
	var dates []string
	for day, is := range closed {
		if is {
			dates = append(dates, strconv.Quote(time.Unix(int64(day)*86400, 0).UTC().Format("2006-01-02")))
		}
	}
	slices.Sort(dates)
	return "[" + strings.Join(dates, ", ") + "]"
}

func (t *trendText) zoneBlock(b *strings.Builder, z *config.Zone) {
	fmt.Fprintf(b, "\nzone %s {\n", quoted(z.Name))
	own := t.own(z)
	line := func(key, value string) { fmt.Fprintf(b, "  %-8s = %s\n", key, value) }
	line("device", quoted(own))
	for role, p := range z.Points {
		if p == nil {
			continue
		}
		device, column := t.column(p)
		keys := []string{"column = " + quoted(column)}
		if device != own {
			keys = append(keys, "device = "+quoted(device))
		}
		line(config.Role(role).String(), "{ "+strings.Join(append(keys, meaningText(p)...), ", ")+" }")
	}
	if z.OutOfService {
		line("out_of_service", "true")
	}
	if z.RatedPower > 0 {
		line("rated_power", plainNumber(z.RatedPower))
	}
	if z.Ballasts > 0 {
		line("ballasts", strconv.Itoa(z.Ballasts))
	}
	if len(z.PowerCurve) > 0 {
		var pairs []string
		for _, p := range z.PowerCurve {
			pairs = append(pairs, pair(p))
		}
		line("power_curve", "["+strings.Join(pairs, ", ")+"]")
	}
	if z.TapGear {
		line("feedback_tap", `"gear"`)
	}
	fmt.Fprintf(b, "  judge {\n    tolerance      = %s\n    settle         = %q\n    false_findings = %s\n  }\n}\n",
		plainNumber(z.Judge.Tolerance), z.Judge.Settle, plainNumber(z.Judge.FalseFindings))
}

// meaningText are the keys that say what the number of a point is.
func meaningText(p *config.Point) (keys []string) {
	switch {
	case p.Quantity == config.State:
		if p.Contact {
			keys = append(keys, `kind = "contact"`)
		}
		if p.Invert {
			keys = append(keys, "invert = true")
		}
		return keys
	case !p.Ends.Given:
		return []string{p.Quantity.String() + " = true"}
	}
	keys = append(keys, "raw = "+pair(p.Ends.Raw))
	if p.HasLoop {
		keys = append(keys, "milliamps = "+pair(p.Ends.Milliamps))
	}
	return append(keys, p.Quantity.String()+" = "+pair(p.Ends.Quantity))
}

func pair(p [2]float64) string { return "[" + plainNumber(p[0]) + ", " + plainNumber(p[1]) + "]" }

// plainNumber writes a number so that it is read to the bit.
func plainNumber(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

var hclEscapes = strings.NewReplacer(`\`, `\\`, `"`, `\"`, "\n", `\n`, "\r", `\r`, "\t", `\t`, "${", "$${", "%{", "%%{")

// quoted writes a text as the configuration language has it.
func quoted(s string) string { return `"` + hclEscapes.Replace(s) + `"` }
