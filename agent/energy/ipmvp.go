package energy

import "math"

// Sums of a baseline less what was measured, and how sure they are.

// Confidence is the least share of intervals that hold the truth. Measured: 0.92 to 0.98 by kind of fault, over 1500 zones under
// simulated weather whose days hang together as real ones do (TestIntervalHoldsTheTruth).
const Confidence = 0.90

// Estimate is a sum of hours, each what was used less what a model of the baseline lets expect.
type Estimate struct {
	Joules float64
	Hours  int     // that were summed up
	Days   float64 // independent days behind the model, summed over the hours

	// An hour's error is that of its day: it is cloudy in the morning and in the afternoon. So errors add up within a day, and
	// between days their squares do.
	Day     int32   // the day under way, local
	OfDay   float64 // its error
	Squares float64 // of the errors of the days before
	OfMeans float64 // error of the learned means, which is the same every day: it adds up
	OfCurve float64 // what the power curve may be off, summed likewise
}

// hourly is one hour: the joules, the errors of one such hour, of the model's mean and of the power curve, all as standard
// deviations in joules, and the independent days behind the model.
type hourly struct{ joules, sigma, mean, curve, days float64 }

// add takes one hour of a day.
func (e *Estimate) add(day int32, h hourly) {
	if day != e.Day {
		e.Squares += e.OfDay * e.OfDay
		e.Day, e.OfDay = day, 0
	}
	e.Joules += h.joules
	e.Hours++
	e.Days += h.days
	e.OfDay += h.sigma
	e.OfMeans += h.mean
	e.OfCurve += h.curve
}

// Interval is where the truth lies with Confidence; what was missed is never less than nothing.
func (e *Estimate) Interval() (low, high float64) {
	if e.Hours == 0 {
		return 0, 0
	}
	n := e.Days / float64(e.Hours)
	half := halfWidth(quantile(n-1), n, e.Squares+e.OfDay*e.OfDay, e.OfMeans)
	half = math.Hypot(half, normal90*e.OfCurve)
	return max(0, e.Joules-half), e.Joules + half
}

// halfWidth is half the interval of a sum over m days: squares is the sum of their squared errors, n the days that the model
// was learned from, means the error of the model's means summed over the m days.
// Source: ASHRAE Guideline 14, simple form of the fractional savings uncertainty, 1.26·t·CV·√((1+2/n)/m)/F, times the savings.
// It is meant for about as many days as were learned from. Over more, the error of the means does not average out, and the
// plain sum of both variances is larger: the larger counts.
func halfWidth(t, n, squares, means float64) float64 {
	return t * math.Sqrt(max(1.26*1.26*(1+2/n)*squares, squares+means*means))
}

// normal90 is the normal distribution's quantile of a two-sided 90 %.
const normal90 = 1.6449

// quantile is Student's t of a two-sided 90 % by degrees of freedom.
// Source: tables of the distribution for 1, 2 and 3, straight in 1/f between them, and for less than 1 as for 1; from 3 on the
// expansion of Abramowitz and Stegun, 26.7.5, good to 0.5 %.
func quantile(f float64) float64 {
	const one, two, three = 6.314, 2.920, 2.353
	switch {
	case f < 2:
		return two + (one-two)*(1/max(1, f)-1.0/2)*2
	case f < 3:
		return three + (two-three)*(1/f-1.0/3)*6
	}
	const z = normal90
	const z3, z5, z7 = z * z * z, z * z * z * z * z, z * z * z * z * z * z * z
	return z + (z3+z)/(4*f) + (5*z5+16*z3+3*z)/(96*f*f) + (3*z7+19*z5+17*z3-15*z)/(384*f*f*f)
}

// Fit tells how well a model foretells what was measured: sums over pairs.
type Fit struct {
	N, Measured, Off, Squares float64 // Off is measured less model
}

func (f *Fit) add(measured, model float64) {
	f.N++
	f.Measured += measured
	f.Off += measured - model
	f.Squares += (measured - model) * (measured - model)
}

// CV is the coefficient of variation of the root mean square error, a share of the mean; parameters is how many the model
// took from the same pairs, 0 where it had not seen them. ok is false where there are too few.
// Source: ASHRAE Guideline 14; calibrated models are to stay within 0.30 by the hour.
func (f *Fit) CV(parameters float64) (share float64, ok bool) {
	if f.N <= parameters || f.Measured <= 0 {
		return 0, false
	}
	return math.Sqrt(f.Squares/(f.N-parameters)) / (f.Measured / f.N), true
}

// NMBE is the normalised mean bias error, positive where more was measured than foretold. Divisor and sign differ between texts:
// here they are N less parameters, and measured less model.
// Source: ASHRAE Guideline 14; calibrated models are to stay within 0.10 by the hour.
func (f *Fit) NMBE(parameters float64) (share float64, ok bool) {
	if f.N <= parameters || f.Measured <= 0 {
		return 0, false
	}
	return f.Off / ((f.N - parameters) * f.Measured / f.N), true
}

// beyond gives the mean and the standard deviation of what a normal variable of a mean and a deviation is above zero. It is what
// is missed where the setpoint would have been scattered about its mean, and no hour makes up for another.
// Source: moments of the rectified normal distribution (integration by parts).
func beyond(mean, sigma float64) (m, sd float64) {
	if sigma <= 0 {
		return max(0, mean), 0
	}
	z := mean / sigma
	p := math.Erfc(-z/math.Sqrt2) / 2
	d := math.Exp(-z*z/2) / math.Sqrt(2*math.Pi)
	m = mean*p + sigma*d
	return m, math.Sqrt(max(0, (mean*mean+sigma*sigma)*p+mean*sigma*d-m*m))
}
