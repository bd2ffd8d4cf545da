package loops

import "math"

// The weights that explanations are compared with are logarithms of likelihoods, in nats, without the factors that all
// explanations of one channel share. 0 is a perfect fit.

// worst is the least that one channel of one sample can count: a reading may be nonsense under every explanation, so none
// is ever ruled out by one. Chosen: exp(-8) is about one wild reading in 3000; recordings show one in some thousand.
const worst = -8.0

// fit is the weight of a deviation x where s is the usual one: Student's t with 4 degrees of freedom, heavy-tailed, so
// that a wild value counts little more than a large one.
func fit(x, s float64) float64 {
	z := x / s
	if z*z >= outlying {
		return worst
	}
	return -2.5 * math.Log(1+z*z/4)
}

// outlying is the square beyond which a deviation, in usual ones, weighs as the worst.
var outlying = 4 * math.Expm1(-worst/2.5)

// within is the weight of x under an explanation that allows all values of a band alike, with soft ends: edge is the
// usual deviation beyond them.
func within(x, low, high, edge float64) float64 {
	switch {
	case x < low:
		return fit(x-low, edge)
	case x > high:
		return fit(x-high, edge)
	}
	return 0
}

// approach moves from one value towards another as a first-order lag does in dt seconds with time constant tau.
func approach(from, to, dt, tau float64) float64 { return to + (from-to)*remains(dt, tau) }

// remains is the part of a step that such a lag has still to go after dt seconds.
func remains(dt, tau float64) float64 {
	if dt >= tau*8 {
		return 0
	}
	return math.Exp(-dt / tau)
}
