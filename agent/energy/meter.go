// Package energy counts what zones use and what their faults cost. It is pure: samples and findings go in, joules come out.
//
// The arithmetic is that of the International Performance Measurement and Verification Protocol: energy that was not used
// cannot be measured, so it is what a baseline would have used under the conditions that were met, less what was used. There
// are three baselines:
//
//   - full output: what dimming has avoided (meter.go);
//   - the setpoint: what the loop uses in excess of what it was asked for, and the light that it owes (meter.go);
//   - the zone's own daylight curve: what a setpoint or a sensor at fault misses (daylight_curve.go, ledger.go). It is an
//     estimate, and has an interval (ipmvp.go).
//
// Power is measured, or else comes from the level by the zone's power curve (power_curve.go). Hours are kept for a fortnight
// (ledger.go), so that a finding is charged from its onset, which lies before it is raised (cost.go), and so that no hour is
// learned from before it is clear that nothing was wrong in it. What cannot be known is absent, and never zero.
//
// Levels are percent, power watts, energy joules, times nanoseconds since 1970 UTC. A meter has a fixed size and allocates
// nothing. It is not for concurrent use.
package energy

import (
	"math"
	"time"

	"dimwatch/loops"
)

// Settings are what the configuration says of a zone.
type Settings struct {
	RatedPower float64        // watts at full, 0 where not known
	PowerCurve [][2]float64   // power over level, both percent of full, rising; nil for the default
	Tolerance  float64        // percent of level by which setpoint and feedback may differ
	Location   *time.Location // the site's time zone, for the hour of the day
}

// Total is what a zone has used and what its light was apart from the setpoint. All but the interval only grow.
type Total struct {
	UsedJoules float64 // from the power point, else from full power and the power curve
	UsedKnown  bool

	ExcessJoules  float64 // of that, beyond what the setpoint asked for
	AvoidedJoules float64 // what full output would have used beyond what was used
	LevelsKnown   bool    // of these two

	// LightOwed is light below the setpoint, and while setpoint or sensor is at fault that of the setpoint below the zone's own
	// daylight curve, each by more than the tolerance, in percent of level times hours.
	LightOwed  float64
	LightKnown bool

	// MissedJoules are what the zone would have been spared had setpoint and sensor been right, by its own daylight curve; with
	// the interval that holds the truth with Confidence.
	MissedJoules, MissedLow, MissedHigh float64
	MissedKnown                         bool
}

// Add adds the total of another zone. Zones of a site have the same weather, so their intervals add up.
func (t *Total) Add(o *Total) {
	t.UsedJoules += o.UsedJoules
	t.ExcessJoules += o.ExcessJoules
	t.AvoidedJoules += o.AvoidedJoules
	t.LightOwed += o.LightOwed
	t.MissedJoules += o.MissedJoules
	t.MissedLow += o.MissedLow
	t.MissedHigh += o.MissedHigh
	t.UsedKnown = t.UsedKnown || o.UsedKnown
	t.LevelsKnown = t.LevelsKnown || o.LevelsKnown
	t.LightKnown = t.LightKnown || o.LightKnown
	t.MissedKnown = t.MissedKnown || o.MissedKnown
}

// Meter counts the energy of one zone: what a sample shows is held until the next.
type Meter struct {
	set Settings
	st  State
}

// New makes a meter that has counted nothing.
func New(set Settings) Meter { return Meter{set: set} }

// Rate is what a sample shows, a second.
type Rate struct {
	Used, Excess, Avoided float64 // watts
	Owed                  float64 // percent of level
	Asked                 float64 // used less excess
	Setpoint, Daylight    float64

	UsedKnown, LevelsKnown, LightKnown, DaylightKnown bool

	Feedback, Power float64 // as they were read, 0 where they were not, for what is learned of the next sample
}

// longestHold is the longest time in seconds for which a value is held: what nobody watched is not counted.
const longestHold = 900

// Observe takes a sample. Samples come in the order of time; one that is older than the last is the first after a gap.
func (m *Meter) Observe(s *loops.Sample) {
	if s.At <= 0 {
		return // no clock says that
	}
	dt := float64(s.At-m.st.At) / 1e9
	watched := m.st.At != 0 && dt > 0 && dt <= longestHold
	if watched {
		m.count(dt)
	}
	m.turn(s.At)
	if watched {
		m.learnPower(s, dt)
	}
	m.st.At, m.st.Rate = s.At, m.rate(s)
}

// count adds what the last sample showed for the time since.
func (m *Meter) count(dt float64) {
	r, c, h := &m.st.Rate, &m.st.Counters, &m.st.Open
	if r.UsedKnown {
		c.Used += r.Used * dt
		c.UsedKnown = true
	}
	if r.LevelsKnown {
		c.Excess += r.Excess * dt
		c.Avoided += r.Avoided * dt
		c.LevelsKnown = true
		h.Excess += r.Excess * dt
		h.Lit += dt
		h.Asked += r.Asked * dt
		h.Setpoint += r.Setpoint * dt
		if r.DaylightKnown {
			h.DaylightSeconds += dt
			h.Daylight += r.Daylight * dt
		}
	}
	if r.LightKnown {
		c.LightOwed += r.Owed * dt / 3600
		c.LightKnown = true
		h.Owed += r.Owed * dt / 3600
		h.LightKnown = true
	}
	m.charge(r, dt)
}

// rate works out what a zone uses a second as one sample shows it, and leaves out what cannot be told.
func (m *Meter) rate(s *loops.Sample) (r Rate) {
	full := m.full()
	measured := m.powerGood(s)
	lit := lit(s, measured, full)
	light, seen := m.light(s)
	if s.Has.Has(loops.Feedback) && finite(s.Feedback) {
		r.Feedback = s.Feedback
	}
	switch {
	case measured:
		r.Power = s.Power
		r.Used, r.UsedKnown = max(0, s.Power), true
	case full > 0 && !lit:
		r.UsedKnown = s.Has&(loops.Contact|loops.Order|loops.Hours) != 0
	case full > 0 && seen: // else the pair may be shorted or open: minimum light or full
		r.Used, r.UsedKnown = m.watts(light), true
	}
	if !s.Has.Has(loops.Setpoint) || !finite(s.Setpoint) {
		return r
	}
	r.Setpoint = min(100, max(0, s.Setpoint))
	moved := m.moved(r.Setpoint)
	switch {
	case !lit && m.asked(s): // no light where light is asked for
		r.Owed, r.LightKnown = r.Setpoint, measured || s.Has.Has(loops.Contact)
		return r
	case !lit:
		return r
	}
	if full > 0 && r.UsedKnown {
		r.LevelsKnown = true
		if !moved {
			r.Excess = m.excess(&r, light, seen, measured)
		}
		r.Avoided = max(0, full-r.Used)
		r.Asked = r.Used - r.Excess
	}
	if seen || measured && full > 0 && s.Has.Has(loops.Feedback) {
		r.LightKnown = true
		if !seen {
			light = s.Feedback
		}
		short := r.Setpoint - light
		if measured && full > 0 && short > m.set.Tolerance {
			short = min(short, m.shortOf(&r))
		}
		if short > m.set.Tolerance && !moved {
			r.Owed = min(short, 100)
		}
	}
	if s.Has.Has(loops.Daylight) && finite(s.Daylight) {
		r.Daylight, r.DaylightKnown = s.Daylight, true
	}
	return r
}

// shortOf is by how much the light is below the setpoint in percent, as far as the power tells: light that gear draws power for is
// not owed, whatever the feedback says. Within the tolerance of the setpoint it is none, since a meter is off by 1..2 % of full,
// which is 1..3 % of level on a usual curve; otherwise what the power shows counts for the least light that it can mean.
// Chosen: the zone's own tolerance. At half, full light of lamps that are cold or old is owed; at double, half of a visible step is not.
func (m *Meter) shortOf(r *Rate) float64 {
	if short := r.Setpoint - m.levelOf(r.Used); short <= m.set.Tolerance {
		return 0
	}
	return r.Setpoint - m.levelOf(r.Used-m.band(r.Setpoint)*m.full())
}

// moved says that the setpoint has stepped since the last sample, while nothing is known to be wrong: what the loop is off by at
// that very sample is its way to the new level, and would be held until the next.
func (m *Meter) moved(setpoint float64) bool {
	return m.st.At != 0 && !m.st.Standing.Any && math.Abs(setpoint-m.st.Rate.Setpoint) > m.set.Tolerance
}

// excess is the power beyond what the setpoint asks for. Within what the curve may be off it is none: a sum of noise that only
// counts upwards would charge every sound zone.
func (m *Meter) excess(r *Rate, light float64, seen, measured bool) float64 {
	near := seen && math.Abs(light-r.Setpoint) <= m.set.Tolerance
	over, band := r.Used-m.watts(r.Setpoint), m.band(r.Setpoint)
	if near && (!measured || band > bandLearned) {
		return 0
	}
	if measured && over <= band*m.full() {
		return 0
	}
	return max(0, over)
}

// light is the level of light in percent, as far as the pair tells: what the feedback says of a sound pair, and where the
// feedback itself is at fault the command, which the pair then obeys.
func (m *Meter) light(s *loops.Sample) (level float64, known bool) {
	if m.st.Standing.Feedback {
		return min(100, max(0, s.Command)), s.Has.Has(loops.Command) && finite(s.Command)
	}
	known = s.Has.Has(loops.Feedback) && finite(s.Feedback) && s.Feedback > darkPercent
	return min(100, s.Feedback), known
}

// asked says whether light is asked for beyond doubt: by an order, or by the hours while the circuit is known to be at fault. On
// a holiday that nobody wrote down nothing is owed.
func (m *Meter) asked(s *loops.Sample) bool {
	return s.Has.Has(loops.Order) && s.Order || m.st.Standing.Circuit && s.Has.Has(loops.Hours) && s.Open
}

const (
	// darkPercent is the least that a sound pair shows while its gear is lit, and darkShare the share of full power above
	// which gear is fed. They are those of the judgement.
	darkPercent = 5.0
	darkShare   = 0.04

	// wildPower is the multiple of rated power beyond which a reading is no power.
	// Chosen: a rated power may be off by half; a slipped unit is a factor of ten or more.
	wildPower = 3.0
)

// lit says whether the gear is fed, as far as one sample tells.
func lit(s *loops.Sample, measured bool, full float64) bool {
	switch {
	case s.Has.Has(loops.Contact):
		return s.Contact
	case measured && full > 0:
		return s.Power > darkShare*full
	case s.Has.Has(loops.Feedback) && s.Feedback > darkPercent:
		return true
	case s.Has.Has(loops.Order):
		return s.Order
	}
	return s.Has.Has(loops.Hours) && s.Open
}

// powerGood says whether the sample has a power that can be counted.
func (m *Meter) powerGood(s *loops.Sample) bool {
	return s.Has.Has(loops.Power) && finite(s.Power) && (m.set.RatedPower <= 0 || math.Abs(s.Power) <= wildPower*m.set.RatedPower)
}

func finite(x float64) bool { return x-x == 0 }

// Total gives what was counted.
func (m *Meter) Total() Total {
	c := &m.st.Counters
	t := Total{
		UsedJoules: c.Used, UsedKnown: c.UsedKnown,
		ExcessJoules: c.Excess, AvoidedJoules: c.Avoided, LevelsKnown: c.LevelsKnown,
		LightOwed: c.LightOwed, LightKnown: c.LightKnown,
		MissedJoules: c.Missed.Joules,
		// Nothing was missed where nothing was wrong, if it is known what right is.
		MissedKnown: c.Missed.Hours > 0 || !m.st.Standing.sun() && m.st.Daylight.known(),
	}
	t.MissedLow, t.MissedHigh = c.Missed.Interval()
	return t
}
