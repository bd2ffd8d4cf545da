package judge

import (
	"dimwatch/agent/config"
	"dimwatch/loops"
)

// Energy is what a zone has used, and what its light was apart from the setpoint. All only grow.
type Energy struct {
	UsedJoules    float64 // from the power point, else from rated power and the power curve
	ExcessJoules  float64 // of that, beyond what the setpoint asked for; with the next two it takes a rated power
	AvoidedJoules float64 // what full output would have used beyond that

	// LightOwed is light below the setpoint, in percent of level times hours.
	LightOwed float64
}

// energy counts the energy of one zone: what a sample shows is held until the next.
type energy struct {
	at    int64
	rate  Energy // a second, since at
	total Energy
}

// longestHold is the longest time in seconds for which a value is held: what nobody watched is not counted.
const longestHold = 900

func (e *energy) add(s *loops.Sample, z *config.Zone) {
	dt := float64(s.At-e.at) / 1e9
	if e.at != 0 && dt > 0 && dt <= longestHold {
		e.total.UsedJoules += e.rate.UsedJoules * dt
		e.total.ExcessJoules += e.rate.ExcessJoules * dt
		e.total.AvoidedJoules += e.rate.AvoidedJoules * dt
		e.total.LightOwed += e.rate.LightOwed * dt
	}
	e.at, e.rate = s.At, rate(s, z)
}

// rate is what a zone uses a second as one sample shows it, nothing where that can not be told.
func rate(s *loops.Sample, z *config.Zone) (r Energy) {
	full := z.RatedPower
	lit := lit(s, full)
	power, known := 0.0, false
	switch {
	case s.Has.Has(loops.Power):
		power, known = max(0, s.Power), true
	case full > 0 && s.Has.Has(loops.Feedback):
		known = !lit || s.Feedback > darkPercent // else the pair may be shorted or open: minimum light or full
		if lit {
			power = full * share(z, s.Feedback)
		}
	}
	if known {
		r.UsedJoules = power
	}
	if !known || full <= 0 || !lit || !s.Has.Has(loops.Setpoint|loops.Feedback) {
		return r
	}
	wanted := full * share(z, s.Setpoint)
	r.ExcessJoules = max(0, power-wanted)
	r.AvoidedJoules = max(0, full-power)
	if power < wanted { // gear that draws what was asked for gives it, whatever the feedback says
		r.LightOwed = max(0, s.Setpoint-s.Feedback) / 3600
	}
	return r
}

const (
	// darkPercent is the least that a sound pair shows while its gear is lit, and darkShare the share of full power above
	// which gear is fed. They are those of the judgement.
	darkPercent = 5.0
	darkShare   = 0.04
)

// lit says whether the gear is fed, as far as one sample tells.
func lit(s *loops.Sample, full float64) bool {
	switch {
	case s.Has.Has(loops.Contact):
		return s.Contact
	case s.Has.Has(loops.Power) && full > 0:
		return s.Power > darkShare*full
	case s.Has.Has(loops.Feedback) && s.Feedback > darkPercent:
		return true
	case s.Has.Has(loops.Order):
		return s.Order
	}
	return s.Has.Has(loops.Hours) && s.Open
}

// share is the share of full power at a level in percent: as configured, else 0.3 up to 20 % light and straight from there
// to 1. Source: the continuous daylighting control of EnergyPlus in its usual values.
func share(z *config.Zone, level float64) float64 {
	level = min(100, max(0, level))
	if len(z.PowerCurve) == 0 {
		if level <= 20 {
			return 0.3
		}
		return 0.3 + 0.7*(level-20)/80
	}
	curve := z.PowerCurve
	if level <= curve[0][0] {
		return curve[0][1] / 100
	}
	for i := 1; i < len(curve); i++ {
		a, b := curve[i-1], curve[i]
		if level <= b[0] {
			return (a[1] + (b[1]-a[1])*(level-a[0])/(b[0]-a[0])) / 100
		}
	}
	return curve[len(curve)-1][1] / 100
}
