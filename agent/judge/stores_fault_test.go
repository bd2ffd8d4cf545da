package judge_test

import (
	"math"
	"math/rand/v2"

	"dimwatch/loops"
)

// fault is something that has broken.
type fault struct {
	id         loops.ID
	variant    int
	onset, end float64
	value      float64 // by id: ohms, volts, mA, share ...
	second     float64
	lasts      float64 // s: ramp, or until a visit
	visit      float64 // s
	stray      float64 // V that an open pair shows
	held       float64 // NaN until it holds something
	spells     []interval
	spellAt    int
}

func (f *fault) is(t float64) bool { return f != nil && t >= f.onset && t < f.end }

// spell says whether a loose contact is in one of its spells.
func (f *fault) spell(t float64) bool {
	for f.spellAt < len(f.spells) && f.spells[f.spellAt].to <= t {
		f.spellAt++
	}
	return f.spellAt < len(f.spells) && f.spells[f.spellAt].from <= t
}

// newFault draws a fault of a kind for a zone. Times are seconds since the start of the run.
func newFault(r *rand.Rand, id loops.ID, z *zoneModel, onset, end float64) *fault {
	f := &fault{id: id, onset: onset, end: end, held: math.NaN()}
	between := func(a, b float64) float64 { return a + (b-a)*r.Float64() }
	iz := z.gear.n * z.gear.source
	switch id {
	case loops.PairShort:
		f.value = math.Min(0.15/iz, math.Pow(10, between(-5, -1.5))) // kohm
	case loops.RepairIncomplete:
		f.value = math.Min(0.1/iz, math.Pow(10, between(-5, -2)))
		f.lasts, f.visit = between(1.5, 8)*3600, between(8, 40)*60
	case loops.PairOpen:
		if r.Float64() < 0.3 {
			f.stray = math.Min(0.3, 0.01*iz)
		}
	case loops.StuckDim:
		if r.Float64() < 0.5 {
			f.variant, f.value = 1, between(0.65, 1.4)
		}
	case loops.StuckMid:
		f.value = between(2.2, 8)
		if r.Float64() < 0.4 {
			f.variant = 1
		}
	case loops.CeilingLow:
		f.variant = r.IntN(2)
		f.value = between(3.5, 8)
	case loops.FloorHigh:
		f.variant = r.IntN(2)
		f.value = between(3.2, 6)
		if f.variant == 1 {
			f.value = between(2.5, 5)
		}
	case loops.PairIntermittent:
		f.variant = r.IntN(3)
		every, long := math.Pow(10, between(2.6, 3.8)), math.Pow(10, between(1.2, 2.6))
		for t := onset; t < end; {
			t += every * r.ExpFloat64()
			l := 3 + long*r.ExpFloat64()
			f.spells = append(f.spells, interval{from: t, to: t + l})
			t += l
		}
	case loops.FeedbackLoopLow:
		f.value = between(0, 3.4)
		if r.Float64() < 0.5 {
			f.value = 0
		}
	case loops.FeedbackLoopHigh:
		f.value = between(21.3, 24)
	case loops.FeedbackDrift:
		f.lasts = 1
		if r.Float64() < 0.5 {
			f.lasts = between(2, 60) * 3600
		}
		sign := float64(1 - 2*r.IntN(2))
		if r.Float64() < 0.5 {
			f.value = sign * between(1.4, 3.2)
		} else {
			f.second = sign * between(0.13, 0.3)
		}
	case loops.FeedbackNoisy:
		f.value = math.Max(8*z.tx.white, between(0.25, 0.8))
	case loops.GearStray:
		f.value = between(0.15, 0.7)
	case loops.LampsOut:
		f.value = between(0.1, 0.5)
	case loops.CommandHeld:
		f.variant = r.IntN(2)
		f.value = between(0, 100)
	case loops.Hunting:
		f.value = between(8, 40)
	case loops.Sluggish:
		f.value = between(10, 40)
	case loops.SensorLoopLow:
		f.value = between(0, 3.3)
	case loops.SensorLoopHigh:
		f.value = between(21.3, 23)
	case loops.SensorImplausible:
		f.variant = r.IntN(3)
		f.value = between(0.2, 0.6) * z.sen.span
	}
	return f
}
