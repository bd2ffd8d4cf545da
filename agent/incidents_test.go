package main

import (
	"fmt"
	"strings"
	"testing"

	"dimwatch/loops"
)

// said is a finding as a test writes it: hours of onset, raise and end; an end of 0 stands.
type said struct {
	id                   loops.ID
	cause                string
	zones                []int
	onset, raised, ended float64
	revised              bool
}

func findings(list ...said) []loops.Finding {
	var out []loops.Finding
	for i, s := range list {
		hour := func(h float64) int64 { return int64(h * 3600e9) }
		out = append(out, loops.Finding{
			Seq: i + 1, ID: s.id, Cause: s.cause, Zones: s.zones, Device: -1,
			Onset: hour(s.onset), Raised: hour(s.raised), Cleared: hour(s.ended), Revised: s.revised,
		})
	}
	return out
}

// drawn is a list of incidents in short: names joined by ">", zones, "+" for each earlier time, "&" and the zones beside.
func drawn(list []incident) string {
	var out []string
	for i := range list {
		c := &list[i]
		var names []string
		for _, f := range c.named {
			names = append(names, f.ID.String())
		}
		text := fmt.Sprintf("%s %v%s", strings.Join(names, ">"), c.now().Zones, strings.Repeat("+", len(c.before)))
		if len(c.beside) > 0 {
			text += fmt.Sprintf(" & %v", c.beside)
		}
		if !c.stands() {
			text = "(" + text + ")"
		}
		out = append(out, text)
	}
	return strings.Join(out, "; ")
}

func TestIncidents(t *testing.T) {
	zero, one := []int{0}, []int{1}
	for _, c := range []struct {
		name string
		list []loops.Finding
		want string
	}{
		{"none", nil, ""},
		{"renamed twice", findings(
			said{loops.StuckMid, "z/1", zero, 1, 2, 3, true},
			said{loops.CeilingLow, "z/1", zero, 1, 3, 4, true},
			said{loops.FloorHigh, "z/1", zero, 1, 4, 0, false},
		), "stuck-mid>ceiling-low>floor-high [0]"},
		{"two causes in one zone are two", findings(
			said{loops.StuckMid, "z/1", zero, 1, 2, 0, false},
			said{loops.DaylightUnused, "z/2", zero, 1, 3, 0, false},
		), "stuck-mid [0]; daylight-unused [0]"},
		{"crossed zones take in what each was called", findings(
			said{loops.NotDimming, "a/1", zero, 1, 2, 3, true},
			said{loops.StuckDim, "b/1", one, 1, 2, 3, true},
			said{loops.ZonesCrossed, "a/1", []int{0, 1}, 1, 3, 0, false},
		), "not-dimming>stuck-dim>zones-crossed [0 1]"},
		{"a sensor that comes to another is one cause", findings(
			said{loops.SensorFrozen, "sensor/a/1", zero, 1, 2, 3, true},
			said{loops.SensorFrozen, "sensor/a/1", []int{0, 1}, 1, 3, 0, false},
		), "sensor-frozen>sensor-frozen [0 1]"},
		{"what came again is under its newest", findings(
			said{loops.CommandHeld, "z/1", zero, 1, 2, 3, false},
			said{loops.CommandHeld, "z/2", zero, 5, 6, 7, false},
			said{loops.CommandHeld, "z/3", zero, 9, 10, 0, false},
			said{loops.CommandHeld, "y/1", one, 1, 10.5, 11, false},
		), "command-held [0]++; (command-held [1])"},
		{"what stands comes first, then what is worse, then what is older", findings(
			said{loops.PairShort, "a/1", zero, 1, 2, 3, false},
			said{loops.FeedbackNoisy, "b/1", one, 4, 5, 0, false},
			said{loops.PairOpen, "c/1", []int{2}, 6, 7, 0, false},
			said{loops.NotDimming, "d/1", []int{3}, 5.5, 8, 0, false},
			said{loops.StuckDim, "e/1", []int{4}, 7, 8, 0, false},
		), "stuck-dim [4]; not-dimming [3]; pair-open [2]; feedback-noisy [1]; (pair-short [0])"},
		{"the same at one time in several zones is noted", findings(
			said{loops.FeedbackFrozen, "a/1", zero, 1, 2, 0, false},
			said{loops.FeedbackFrozen, "b/1", one, 1.01, 3, 0, false},
			said{loops.FeedbackFrozen, "c/1", []int{2}, 1.05, 3, 0, false},
		), "feedback-frozen [0] & [1]; feedback-frozen [1] & [0]; feedback-frozen [2]"},
		{"one that was renamed and ends so, without a successor, is kept", findings(
			said{loops.StuckMid, "a/1", zero, 1, 2, 3, true},
		), "(stuck-mid [0])"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := drawn(incidents(c.list)); got != c.want {
				t.Errorf("got  %s\nwant %s", got, c.want)
			}
		})
	}
}

// The onset is that of the first effect, whatever a later name says of it, and no finding is lost or shown twice.
func TestIncidentsKeepAll(t *testing.T) {
	list := findings(
		said{loops.StuckMid, "z/1", []int{0}, 1, 2, 3, true},
		said{loops.TrackingError, "z/1", []int{0}, 2.5, 3, 5, false},
		said{loops.TrackingError, "z/2", []int{0}, 6, 7, 0, false},
		said{loops.NotDimming, "y/1", []int{1}, 6, 7, 8, true},
		said{loops.ZonesCrossed, "w/1", []int{1, 2}, 6, 8, 9, false},
	)
	seen := map[int]int{}
	var visit func(c *incident)
	visit = func(c *incident) {
		for _, f := range c.named {
			seen[f.Seq]++
		}
		for i := range c.before {
			visit(&c.before[i])
		}
	}
	all := incidents(list)
	for i := range all {
		visit(&all[i])
	}
	for _, f := range list {
		if seen[f.Seq] != 1 {
			t.Errorf("finding %d is there %d times", f.Seq, seen[f.Seq])
		}
	}
	for i := range all {
		for k := range all[i].before {
			if b := &all[i].before[k]; b.named[0].ID == loops.StuckMid && (b.onset() != 3600e9 || b.raised() != 7200e9) {
				t.Errorf("onset %d, raised %d", b.onset(), b.raised())
			}
		}
	}
}
