package judge_test

import (
	"math"
	"testing"
	"time"

	"dimwatch/agent/history"
	"dimwatch/agent/judge"

	"github.com/google/go-cmp/cmp"
)

func minutes(t *testing.T, list []judge.Minute) (out []history.Minute) {
	t.Helper()
	for _, x := range list {
		m, err := history.DecodeMinute(x.At, x.Value)
		if err != nil || x.Zone != "aisles-1-4" {
			t.Fatal(x.Zone, err)
		}
		out = append(out, m)
	}
	return out
}

// Minutes are scaled and samples are as read; what was not kept comes again, and a configuration that is read again takes both over where
// the points are the same.
func TestHistory(t *testing.T) {
	s := judge.New(site())
	for i := range 13 { // 12:00:00 to 12:02:00
		south(s, after(float64(10*i)), 2.5, 0)
		north(s, after(float64(10*i)), float64(250+10*(i%6)), counts8mA, 400)
	}
	list, _ := s.Minutes(false)
	again, kept := s.Minutes(false)
	if diff := cmp.Diff(list, again); diff != "" {
		t.Error(diff)
	}
	noon := start.Unix() / 60
	got := minutes(t, list)
	if len(got) != 2 || got[0].At != noon || got[0].Samples != 6 || got[0].Has != 0b01111 ||
		got[0].Stats[history.Setpoint] != (history.Stat{Least: 25, Mean: 27.5, Most: 30}) || got[0].Stats[history.Power].Mean != 400 ||
		got[0].Stats[history.Command].Most != 25 || math.Abs(float64(got[0].Stats[history.Feedback].Mean)-25) > 0.1 {
		t.Errorf("%+v", got)
	}
	kept()
	if list, _ := s.Minutes(false); len(list) != 0 {
		t.Errorf("minutes that were kept come again: %v", list)
	}

	changed := site()
	changed.Zones[0].Judge.Tolerance = 20
	next := judge.New(changed)
	next.Resume(s)
	b, from, to := next.Samples(0, after(15).UnixNano(), after(40).UnixNano())
	samples, err := history.DecodeSamples(b)
	if err != nil || len(samples) != 3 || from != after(20).UnixNano() || to != after(40).UnixNano() {
		t.Fatalf("%d samples from %v to %v: %v", len(samples), time.Unix(0, from), time.Unix(0, to), err)
	}
	if raw := samples[0].Raw; raw[0] != 270 || raw[1] != 2.5 || raw[2] != counts8mA || raw[3] != 0 || raw[4] != 400 || !math.IsNaN(float64(raw[5])) {
		t.Errorf("the raw values are %v", raw)
	}
	if list, _ := next.Minutes(true); len(minutes(t, list)) != 1 || list[0].At != noon+2 {
		t.Errorf("at the end there is %v", list)
	}

	other := site()
	other.Zones[0].Points[0].Scale.Gain = 0.2
	scaled := judge.New(other)
	scaled.Resume(next)
	if b, _, _ := scaled.Samples(0, 0, math.MaxInt64); b != nil {
		t.Error("samples under another scaling were taken over")
	}
}
