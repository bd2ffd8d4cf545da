package loops

import (
	"math"
	"testing"
)

// idle is an index of how a loop recovers from a disturbance: near 1 the value goes on moving with the command for a long
// time after (sluggish), near 0 is reasonable, near -1 is well damped, or oscillates (ask the oscillation first).
// Source: T. Hägglund, Automatic detection of sluggish control loops, Control Engineering Practice 7 (1999), from memory.
// It means something only where a photosensor closes the loop over the light, and after noise was filtered out.
type idle struct{ with, against float64 }

// add takes what the command and the value moved since the last sample; a step in which either stood still says nothing.
// What was before counts keep times as much, 0..1: 1 is the index over all steps, 1-1/n that over about the last n.
func (i *idle) add(command, value, keep float64) {
	switch product := command * value; {
	case product > 0:
		i.with, i.against = i.with*keep+1, i.against*keep
	case product < 0:
		i.with, i.against = i.with*keep, i.against*keep+1
	}
}

// index is the idle index, -1..1; 0 where nothing moved.
func (i *idle) index() float64 {
	n := i.with + i.against
	if n == 0 {
		return 0
	}
	return (i.with - i.against) / n
}

// The judgement does not use it: an interface answers its command at once, so that command and pair go together in sound
// loops as well; see TestIdleIndexSaysNothingHere. What it uses instead is in sluggish.go.

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

// In a lighting loop the pair follows the command within a scan: the index is near 1 whether the loop is quick or creeps, and
// tells nothing. Source: the caution that the index means nothing for a process without lag.
func TestIdleIndexSaysNothingHere(t *testing.T) {
	for _, rate := range []float64{0.5, 0.002} {
		var i idle
		c, was := 50.0, 50.0
		for k := range 400 {
			setpoint := 50 + 30*math.Sin(float64(k)/40)
			c += rate * (setpoint - c)
			i.add(c-was, c-was, 1) // the pair is where the command is
			was = c
		}
		if i.index() < 0.99 {
			t.Errorf("rate %g: index %.2f", rate, i.index())
		}
	}
}
