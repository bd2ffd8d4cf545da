package loops

import "math"

// line is a straight line learned from pairs by least squares, held near slope 1 and offset 0 until the pairs say
// otherwise. Old pairs fade.
type line struct {
	n, x, y, xx, xy float64 // weight, means, and sums of squares about the means
	low, high       float64 // range of x that was seen
}

const (
	// lineMost is the weight of pairs that is remembered. Chosen: some hours at the usual cycles.
	lineMost = 3000.0

	// lineStiff holds the slope near 1: as many squared percent of command as 30 pairs with 6 % of spread.
	// Source: gains of interface and transmitter are within 1..3 % (common practice, no source): (1 %/0.03)².
	lineStiff = 1100.0

	// slopUnknown is by how much the line may be off where nothing is known, in percent of level: so much at no command
	// and so much more per percent of command. slopLeast is the same where it is known well.
	// Source: offsets of interface and transmitter of 0.1..0.2 V each, gains of 1..3 % each (common practice, no source).
	slopUnknown = 3.0
	slopGain    = 0.045
	slopLeast   = 1.0
)

// add learns one pair.
func (l *line) add(x, y float64) {
	if l.n == 0 {
		l.low, l.high = x, x
	}
	l.low, l.high = min(l.low, x), max(l.high, x)
	if l.n >= lineMost {
		keep := 1 - 1/lineMost
		l.xx *= keep
		l.xy *= keep
	} else {
		l.n++
	}
	dx, dy := x-l.x, y-l.y
	l.x += dx / l.n
	l.y += dy / l.n
	l.xx += dx * (x - l.x)
	l.xy += dx * (y - l.y)
}

// at gives y at x.
func (l *line) at(x float64) float64 {
	if l.n == 0 {
		return x
	}
	slope := 1 + (l.xy-l.xx)/(l.xx+lineStiff)
	return l.y*l.n/(l.n+3) + l.x*3/(l.n+3) + slope*(x-l.x)
}

// slop is by how much the line may be off at x: less where pairs were seen, more away from them.
func (l *line) slop(x float64) float64 {
	unknown := slopUnknown + slopGain*x
	if l.n == 0 {
		return unknown
	}
	away := max(0, max(l.low-x, x-l.high))
	known := slopLeast + 0.05*away
	const surely = 1000.0 // pairs: what is left of the doubt is nothing
	if l.n > surely {
		return min(unknown, known)
	}
	return min(unknown, known+(unknown-known)*math.Exp(-l.n/20))
}

// strange says whether the line is beyond what the gains and offsets of sound parts make of it.
func (l *line) strange() bool {
	const low, high, slack = 25.0, 75.0, 1.5 // percent
	off := func(x float64) bool { return math.Abs(l.at(x)-x) > slopUnknown+slopGain*x+slack }
	return l.n > 0 && (off(low) || off(high))
}
