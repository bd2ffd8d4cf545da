package loops

import (
	"math"
	"testing"
)

// The idle index. Source: worked example of Hägglund's index (Control Engineering Practice 7 (1999)): six steps with, two
// against, two of neither.
func TestIdleIndex(t *testing.T) {
	command := []float64{-1, -1, -1, -1, -1, 0, -1, 1, 1, 0}
	value := []float64{1, 1, -1, -1, -1, -1, -1, 1, 1, 1}
	var all, fading idle
	recursive, steps := 0.0, 0
	const keep = 0.8
	for i := range command {
		all.add(command[i], value[i], 1)
		fading.add(command[i], value[i], keep)
		if s := sign(command[i] * value[i]); s != 0 { // the recursive form: I = keep·I + (1-keep)·s, from 0
			recursive = keep*recursive + (1-keep)*s
			steps++
		}
	}
	if all.with != 6 || all.against != 2 || all.index() != 0.5 {
		t.Errorf("%+v, index %g, want 6 with, 2 against, 0.5", all, all.index())
	}
	// The fading index is the recursive one without its start at 0.
	if want := recursive / (1 - math.Pow(keep, float64(steps))); math.Abs(fading.index()-want) > 1e-12 {
		t.Errorf("fading index %.6f, want %.6f", fading.index(), want)
	}
	if (&idle{}).index() != 0 {
		t.Error("an index of nothing")
	}
}

// A loop that creeps to its setpoint has an index near 1, a quick one near 0 or below. A first-order process of 60 s under
// PI control, ten minutes after a load step.
func TestIdleIndexTellsSluggish(t *testing.T) {
	after := func(gain, integral float64) float64 {
		var i idle
		y, sum, was, wasY := 0.0, 0.0, 0.0, 0.0
		for at := 0.0; at < 600; at += 5 {
			e := 0 - y
			sum += e * 5 / integral
			u := gain * (e + sum)
			y = approach(y, u+10, 5, 60)
			if at > 0 {
				i.add(u-was, y-wasY, 1)
			}
			was, wasY = u, y
		}
		return i.index()
	}
	sluggish, quick := after(0.5, 60), after(3, 15)
	t.Logf("sluggish %.2f, quick %.2f", sluggish, quick)
	if sluggish < 0.6 || quick > 0.3 {
		t.Errorf("sluggish %.2f, quick %.2f", sluggish, quick)
	}
}
