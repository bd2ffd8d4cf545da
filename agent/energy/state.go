package energy

// Counters are what only grows.
type Counters struct {
	Used, Excess, Avoided float64 // joules
	LightOwed             float64 // percent-hours
	Missed                Estimate

	UsedKnown, LevelsKnown, LightKnown bool
}

// State is all that a meter remembers, about 15 KiB. A run that is cut in two, with the state saved and restored between
// the parts, counts what one run counts. Between two hours Hours, Power and Daylight change little or not at all.
type State struct {
	At       int64 // the newest sample
	Rate     Rate
	Standing Standing
	Counters Counters
	Accounts [accounts]Account
	Open     OpenHour
	Power    [11]Knot
	Daylight DaylightCurve
	Hours    [ledgerHours]Hour
}

// State gives a copy of all that the meter remembers.
func (m *Meter) State() State { return m.st }

// Restore takes over a state. It may be older than what the meter has counted itself: then of the state only counters that are
// ahead are taken, so that no counter ever goes back.
func (m *Meter) Restore(s State) {
	own := m.st
	if s.At >= own.At {
		m.st = s
	}
	c := &m.st.Counters
	for _, o := range [...]*Counters{&own.Counters, &s.Counters} {
		c.Used, c.Excess, c.Avoided = max(c.Used, o.Used), max(c.Excess, o.Excess), max(c.Avoided, o.Avoided)
		c.LightOwed = max(c.LightOwed, o.LightOwed)
		if o.Missed.Joules > c.Missed.Joules {
			c.Missed = o.Missed
		}
		c.UsedKnown, c.LevelsKnown, c.LightKnown = c.UsedKnown || o.UsedKnown, c.LevelsKnown || o.LevelsKnown, c.LightKnown || o.LightKnown
	}
}

// Resume takes over all of another meter but its settings, for a configuration that is read again.
func (m *Meter) Resume(old *Meter) {
	set := m.set
	*m = *old
	m.set = set
}

// Baseline is how well the zone's daylight curve is known.
type Baseline struct {
	Days     int     // that the best known hour of the day was learned from
	CV, NMBE float64 // of hours that were foretold before they were learned from, shares of the mean power
	Judged   bool    // there were such hours
}

// Baseline gives how well the zone's daylight curve is known, nil where it foretells nothing yet.
func (m *Meter) Baseline() *Baseline {
	c := &m.st.Daylight
	if !c.known() {
		return nil
	}
	b := &Baseline{Days: c.days()}
	b.CV, b.Judged = c.Fit.CV(0)
	b.NMBE, _ = c.Fit.NMBE(0)
	return b
}
