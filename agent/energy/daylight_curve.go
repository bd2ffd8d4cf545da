package energy

import "math"

// The setpoint that a zone's daylight control asks for, learned by the hour from hours in which nothing was wrong: as a function
// of the daylight, and, for zones without a daylight point or with one at fault, of the hour of the day.

// Bin is what was learned of one band of daylight or of one hour of the day.
type Bin struct {
	N    float32 // hours, at most the bin's memory
	Days float32 // distinct days among them, at most daysMemory
	Day  int32   // the last of them

	Lux, Level float32 // means: daylight, and setpoint in percent
	Square     float32 // mean square of what the setpoint was off the curve
}

// DaylightCurve is the curve of one zone.
type DaylightCurve struct {
	ByLux  [luxBins]Bin
	ByHour [24]Bin
	Fit    Fit // how well hours were foretold before they were learned from, as shares of full power
}

const (
	// Bands of daylight are half an octave wide from 1 lux. Chosen: a setpoint goes from full to minimum over one to three
	// octaves; bands of half the width fill half as fast, and of double the width bend the curve's knees away.
	luxBins    = 34
	binsOctave = 2

	// What a bin has to have seen before it says anything: hours, and days. Chosen: three days tell a spread from an accident;
	// with less the interval is so wide that it says nothing.
	leastHours, leastDays = 3, 3

	// luxMemory and daysMemory are how far back bins reach, in hours and days. Chosen: about a month; half of it follows the
	// season closer and is less sure, double mixes seasons.
	luxMemory, daysMemory = 120, 30

	// leastSpread is the least error of a setpoint that is foretold, in percent of level.
	// Source: resolution and hysteresis of daylight controls, 1..3 % (common practice, no source).
	leastSpread = 2.0

	// An hour farther off than cutSpreads counts as if it were just there, so that one that slipped through bends nothing, from
	// cutDays on. Chosen: with fewer days or a closer cut, real weather is cut off, and intervals come out too narrow.
	cutSpreads, cutDays = 4, 10

	// weather is by how much the variance of a mean over days exceeds that of independent days.
	// Source: the lag-one correlation of daily clearness is about 0.3 (from memory: Graham, Hollands and Huget, Solar Energy,
	// 1988); (1+0.3)/(1-0.3) = 1.86.
	weather = 1.86
)

func (b *Bin) known() bool { return b.N >= leastHours && b.Days >= leastDays }

func (b *Bin) spread() float64 { return max(leastSpread, math.Sqrt(float64(b.Square))) }

// take learns one hour; off is how far its level was from what the curve said, where it said anything.
func (b *Bin) take(day int32, lux, level, off float64, most float32) {
	if b.Days >= cutDays {
		if cut := cutSpreads * b.spread(); math.Abs(off) > cut {
			level += math.Copysign(cut, off) - off
			off = math.Copysign(cut, off)
		}
	}
	if b.N > 0 {
		n := float64(b.N)
		b.Square += float32((off*off*n/(n+1) - float64(b.Square)) / n) // the curve itself is off by about a share of 1/n
	}
	if b.N == 0 || day != b.Day {
		b.Days = min(b.Days+1, daysMemory)
	}
	b.Day = day
	b.N = min(b.N+1, most)
	b.Lux += (float32(lux) - b.Lux) / b.N
	b.Level += (float32(level) - b.Level) / b.N
}

// luxBin is the band of a daylight.
func luxBin(lux float64) int {
	if lux <= 1 {
		return 0
	}
	return min(luxBins-1, int(binsOctave*math.Log2(lux)))
}

// foretold is the setpoint to expect, how far it may be off in an hour and how far the mean of what was learned may be off, both
// as standard deviations in percent, and the independent days behind it.
type foretold struct{ level, spread, mean, days float64 }

func (b *Bin) foretell(level, persistence float64) foretold {
	s := math.Sqrt(persistence) * b.spread()
	return foretold{level: level, spread: s, mean: s / math.Sqrt(float64(b.Days)), days: float64(b.Days) / persistence}
}

// byHour foretells the setpoint of an hour of the day.
func (c *DaylightCurve) byHour(hour int) (f foretold, ok bool) {
	b := &c.ByHour[hour]
	return b.foretell(float64(b.Level), weather), b.known()
}

// byLux foretells the setpoint at a daylight: on the straight line between the two bands seen next to it, no farther than two
// octaves apart, and at the ends of what was seen half an octave on.
func (c *DaylightCurve) byLux(lux float64) (f foretold, ok bool) {
	at := luxBin(lux)
	below, above := -1, -1
	for i := range c.ByLux {
		b := &c.ByLux[i]
		if !b.known() {
			continue
		}
		if float64(b.Lux) <= lux {
			below = i
		} else if above < 0 {
			above = i
		}
	}
	switch {
	case below >= 0 && above >= 0 && above-below <= 2*binsOctave:
		a, b := &c.ByLux[below], &c.ByLux[above]
		share := (lux - float64(a.Lux)) / float64(b.Lux-a.Lux)
		worse := a
		if b.spread() > a.spread() {
			worse = b
		}
		return worse.foretell(float64(a.Level)+share*float64(b.Level-a.Level), 1), true
	case below >= 0 && at-below <= 1:
		return c.ByLux[below].foretell(float64(c.ByLux[below].Level), 1), true
	case above >= 0 && above-at <= 1:
		return c.ByLux[above].foretell(float64(c.ByLux[above].Level), 1), true
	}
	return f, false
}

// known says whether the curve foretells anything.
func (c *DaylightCurve) known() bool {
	for i := range c.ByHour {
		if c.ByHour[i].known() {
			return true
		}
	}
	return false
}

// days is how many days the best known hour of the day has seen.
func (c *DaylightCurve) days() int {
	most := float32(0)
	for i := range c.ByHour {
		most = max(most, c.ByHour[i].Days)
	}
	return int(most)
}
