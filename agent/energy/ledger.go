package energy

import (
	"math"
	"time"
)

// The ledger keeps a fortnight of hours. An hour is learned from when it leaves the ledger, or before that when a finding of
// the setpoint or the sensor is raised whose onset came later: so the days in which a fault stood unnoticed are no part of the
// baseline, and what they cost is still there to be charged.

// ledgerHours is how far back the ledger reaches. Chosen: setpoint and sensor faults are named after days; at half a week's
// holiday would hide their onset, at double the ledger takes twice its 11 KiB and says little more.
const ledgerHours = 14 * 24

// Hour is what an hour came to.
type Hour struct {
	Hour     int32   // since 1970, UTC
	Lit      float32 // seconds lit with setpoint and power known: what Asked, Setpoint and Daylight are about
	Asked    float32 // joules used less those in excess
	Setpoint float32 // mean, percent
	Daylight float32 // mean, lux
	Excess   float32 // joules
	Owed     float32 // percent-hours

	HasDaylight bool
	LightKnown  bool
	Faulty      bool // a finding stood, as far as is known by now
	Learned     bool
	Counted     bool // what it missed is in the zone's total
}

// OpenHour is the hour under way; Setpoint and Daylight are sums over time.
type OpenHour struct {
	Hour                                                          int32
	Lit, Asked, Setpoint, Daylight, DaylightSeconds, Excess, Owed float64
	LightKnown, Faulty                                            bool
}

// turn closes the hour under way when the next has begun.
func (m *Meter) turn(at int64) {
	now := int32(at / 3600e9)
	o := &m.st.Open
	switch {
	case now == o.Hour, now == o.Hour-1: // a clock set back by less than an hour goes on in the hour under way
		return
	case now > o.Hour && o.Hour != 0:
		m.closeHour()
	}
	*o = OpenHour{Hour: now, Faulty: m.st.Standing.Any}
}

// closeHour puts the hour under way into the ledger, in the place of the one of a fortnight ago, which is learned from.
func (m *Meter) closeHour() {
	o := &m.st.Open
	h := &m.st.Hours[o.Hour%ledgerHours]
	m.learn(h)
	*h = Hour{
		Hour: o.Hour, Lit: float32(o.Lit), Asked: float32(o.Asked), Excess: float32(o.Excess), Owed: float32(o.Owed),
		LightKnown: o.LightKnown, Faulty: o.Faulty || m.st.Standing.Any,
	}
	if o.Lit > 0 {
		h.Setpoint = float32(o.Setpoint / o.Lit)
	}
	if o.DaylightSeconds > 0.5*o.Lit && o.Lit > 0 {
		h.Daylight, h.HasDaylight = float32(o.Daylight/o.DaylightSeconds), true
	}
	if m.st.Standing.sun() {
		m.miss(h, m.st.Standing.Sensor, m.standingSun)
	}
}

// at gives a closed hour of the ledger, nil where it was not watched.
func (m *Meter) at(hour int32) *Hour {
	if h := &m.st.Hours[hour%ledgerHours]; h.Hour == hour && hour != 0 {
		return h
	}
	return nil
}

// since calls f with the closed hours from one on, in the order of time.
func (m *Meter) since(hour int32, f func(*Hour)) {
	for k := max(hour, m.st.Open.Hour-ledgerHours, 1); k < m.st.Open.Hour; k++ {
		if h := m.at(k); h != nil {
			f(h)
		}
	}
}

// local gives the day and the hour of the day of an hour, by the middle of it.
func (m *Meter) local(hour int32) (day int32, ofDay int) {
	t := time.Unix(int64(hour)*3600+1800, 0)
	if m.set.Location != nil {
		t = t.In(m.set.Location)
	} else {
		t = t.UTC()
	}
	_, offset := t.Zone()
	return int32((t.Unix() + int64(offset)) / 86400), t.Hour()
}

// learnSeconds is how long an hour has to be lit to be learned from. Chosen: half of it; less is the edge of opening hours.
const learnSeconds = 1800

// learn learns from an hour in which nothing was wrong, and first notes how well it was foretold.
func (m *Meter) learn(h *Hour) {
	if h.Hour == 0 || h.Faulty || h.Learned || h.Lit < learnSeconds {
		return
	}
	h.Learned = true
	c := &m.st.Daylight
	day, ofDay := m.local(h.Hour)
	level := float64(h.Setpoint)
	if f, ok := m.foretell(h, ofDay, false); ok {
		c.Fit.add(m.set.Shape(level), m.set.Shape(f.level))
	}
	b := &c.ByHour[ofDay]
	b.take(day, 0, level, level-float64(b.Level), daysMemory)
	if h.HasDaylight {
		b := &c.ByLux[luxBin(float64(h.Daylight))]
		off := level - float64(b.Level)
		if f, ok := c.byLux(float64(h.Daylight)); ok {
			off = level - f.level
		}
		b.take(day, float64(h.Daylight), level, off, luxMemory)
	}
}

// foretell gives the setpoint that the zone's curve would have asked for in an hour: by its daylight, and by the hour of the day
// where that is not known or not to be trusted.
func (m *Meter) foretell(h *Hour, ofDay int, sensorFaulty bool) (foretold, bool) {
	if h.HasDaylight && !sensorFaulty {
		if f, ok := m.st.Daylight.byLux(float64(h.Daylight)); ok {
			return f, true
		}
	}
	return m.st.Daylight.byHour(ofDay)
}

// miss charges an hour in which setpoint or sensor was at fault to the accounts that which picks, and to the zone, once.
func (m *Meter) miss(h *Hour, sensorFaulty bool, which func(*Account) bool) {
	day, ofDay := m.local(h.Hour)
	f, ok := m.foretell(h, ofDay, sensorFaulty)
	if !ok || h.Lit <= 0 {
		return
	}
	lit := float64(h.Lit)
	over := float64(h.Asked)/lit - m.watts(f.level)
	missed, sigma := max(0, over), m.error(f.level, f.spread)
	if h.Setpoint < topSetpoint {
		missed, sigma = beyond(over, sigma)
	}
	one := hourly{joules: missed * lit, sigma: sigma * lit, mean: m.error(f.level, f.mean) * lit, days: f.days}
	// Where hardly anything is missed the curves cannot be off by more.
	one.mean = min(one.mean, one.joules+one.sigma)
	one.curve = min(0.5*m.band(f.level)*m.full()*lit, one.joules+one.sigma)
	owed := f.level - float64(h.Setpoint)
	if owed <= m.set.Tolerance {
		owed = 0
	}
	if !h.Counted {
		h.Counted = true
		m.st.Counters.Missed.add(day, one)
		m.st.Counters.LightOwed += owed * lit / 3600
		m.st.Counters.LightKnown = true
	}
	for i := range m.st.Accounts {
		a := &m.st.Accounts[i]
		if !which(a) {
			continue
		}
		a.Missed.add(day, one)
		a.LightKnown = true
		a.Owed += owed * lit / 3600
	}
}

// topSetpoint is a setpoint in percent above which none can lie: what the zone's own would have been is below it, surely.
const topSetpoint = 99

// error is what an error of a level in percent is in watts.
func (m *Meter) error(level, spread float64) float64 {
	return math.Abs(m.watts(min(100, level+spread))-m.watts(max(0, level-spread))) / 2
}
