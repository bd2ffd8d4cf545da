package main

import (
	"bytes"
	"strings"
	"testing"

	"dimwatch/agent/config"
	"dimwatch/agent/judge"
	"dimwatch/loops"
)

// channelOf are the channels by the words that check has for them.
var channelOf = func() map[string]loops.Channels {
	words := map[string]loops.Channels{}
	for c := loops.Setpoint; c <= loops.Sun; c <<= 1 {
		if name := loops.OneOf(c); name != "" {
			words[name] = c
		}
	}
	words["feedback as a current in milliamps"] |= loops.Feedback
	words["daylight as a current in milliamps"] |= loops.Daylight
	return words
}()

// What check says that a zone lacks is what it takes: with it the finding can be made, without it not; and each finding is
// either one that can be made or one that lacks something.
func TestCheckSaysWhatIsMissing(t *testing.T) {
	level := &config.Point{Quantity: config.Level}
	current := &config.Point{Quantity: config.Volts, HasLoop: true}
	for _, site := range []*config.Site{{}, {HasPlace: true}} {
		for mask := range 32 {
			z := config.Zone{Name: "aisles"}
			z.Points[config.Setpoint], z.Points[config.Command], z.Points[config.Feedback] = level, level, level
			for bit, set := range []func(){
				func() { z.Points[config.Feedback] = current },
				func() { z.Points[config.Power] = level },
				func() { z.Points[config.Daylight] = level },
				func() { z.Points[config.Daylight] = current },
				func() { z.Points[config.Lit] = level },
			} {
				if mask>>bit&1 == 1 {
					set()
				}
			}
			site.Zones = []config.Zone{z, {Name: "bakery"}}
			has := judge.Channels(site, &z)
			a := abilityOf(site, &z)
			lacking := map[string]bool{}
			for _, add := range a.add {
				with := has
				place := strings.ReplaceAll(add, "latitude and longitude", "latitude & longitude")
				for _, name := range strings.Split(place, " and ") {
					name, _, _ = strings.Cut(name, " or ") // one of them is enough
					c, ok := channelOf[strings.ReplaceAll(name, "&", "and")]
					if !ok {
						t.Fatalf("%q is no point: %q", name, add)
					}
					with |= c
				}
				for _, name := range a.lacks[add] {
					lacking[name] = true
					id, _ := loops.Parse(name)
					if ok, why := loops.Support(id, has); ok {
						t.Errorf("%s can be made without %s (%s)", name, add, why)
					}
					if ok, why := loops.Support(id, with); !ok {
						t.Errorf("with %s %s cannot be made: %s", add, name, why)
					}
				}
			}
			for id := loops.None + 1; id < loops.IDs; id++ {
				if ok, _ := loops.Support(id, has); !ok && !lacking[id.String()] {
					t.Errorf("%v: nothing is said of %s", has, id)
				}
			}
		}
	}
}

// Zones of which the same is to be said are named together, and a zone that is alone cannot be crossed.
func TestCheckZones(t *testing.T) {
	level := &config.Point{Quantity: config.Level}
	zone := func(name string) config.Zone {
		z := config.Zone{Name: name}
		z.Points[config.Setpoint], z.Points[config.Command], z.Points[config.Feedback], z.Points[config.Lit] = level, level, level, level
		return z
	}
	dark := zone("cafe")
	dark.OutOfService = true
	var b bytes.Buffer
	checkZones(&b, &config.Site{Zones: []config.Zone{zone("aisles"), dark, zone("bakery")}})
	if text := b.String(); !strings.Contains(text, "\n  aisles, bakery: ") || !strings.Contains(text, "\n  cafe: ") || strings.Count(text, "out of service") != 1 {
		t.Errorf("got\n%s", text)
	}
	b.Reset()
	checkZones(&b, &config.Site{Zones: []config.Zone{zone("aisles"), zone("bakery")}})
	if text := b.String(); !strings.Contains(text, "\n  every zone: ") || strings.Contains(text, "second zone") {
		t.Errorf("got\n%s", text)
	}
	b.Reset()
	checkZones(&b, &config.Site{Zones: []config.Zone{zone("aisles")}})
	if text := b.String(); !strings.Contains(text, "not without a second zone: zones-crossed") {
		t.Errorf("got\n%s", text)
	}
}
