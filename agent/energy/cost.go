package energy

// What a finding has cost since its onset. A finding of the loop is charged with what was used in excess of the setpoint and the
// light owed below it; one of the setpoint or the sensor with what was missed, and the light owed, against the zone's daylight
// curve. The hour of the onset counts whole: before the onset there was nothing to charge. Of findings that stand at
// the same time each is charged with all of its kind, so costs of findings do not add up to the zone's total.

// Standing is what kind of findings stand on a zone.
type Standing struct {
	Any                                 bool
	Setpoint, Sensor, Feedback, Circuit bool // by part at fault
}

func (s Standing) sun() bool { return s.Setpoint || s.Sensor }

// Account is what one finding has cost.
type Account struct {
	Seq        int // the finding's; 0 in an account that was never used
	Stands     bool
	Sun        bool // of setpoint or sensor
	Excess     float64
	Owed       float64
	Missed     Estimate
	Levels     bool // Excess is known
	LightKnown bool // Owed is known
}

// accounts is how many findings can stand on a zone at once and be charged; an account is kept until its place is needed.
// Chosen: loop, gear, setpoint, sensor and wiring have a finding each at most.
const accounts = 6

// Cost is what a finding has cost in one zone, or in all of its zones.
type Cost struct {
	ExcessJoules float64
	ExcessKnown  bool

	MissedJoules, MissedLow, MissedHigh float64
	MissedKnown                         bool

	LightOwed  float64 // percent-hours
	LightKnown bool
}

// Joules is what was used for nothing; ok is false where neither part of it is known.
func (c *Cost) Joules() (joules float64, ok bool) {
	return c.ExcessJoules + c.MissedJoules, c.ExcessKnown || c.MissedKnown
}

// Add adds the cost of another zone. Zones of a site have the same weather, so their intervals add up.
func (c *Cost) Add(o Cost) {
	c.ExcessJoules += o.ExcessJoules
	c.MissedJoules += o.MissedJoules
	c.MissedLow += o.MissedLow
	c.MissedHigh += o.MissedHigh
	c.LightOwed += o.LightOwed
	c.ExcessKnown = c.ExcessKnown || o.ExcessKnown
	c.MissedKnown = c.MissedKnown || o.MissedKnown
	c.LightKnown = c.LightKnown || o.LightKnown
}

// Cost gives what a finding has cost in this zone so far: nothing known where it was never told of or is long over.
func (m *Meter) Cost(seq int) (c Cost) {
	for i := range m.st.Accounts {
		a := &m.st.Accounts[i]
		if a.Seq != seq || seq == 0 {
			continue
		}
		c = Cost{
			ExcessJoules: a.Excess, ExcessKnown: a.Levels, LightOwed: a.Owed, LightKnown: a.LightKnown,
			MissedJoules: a.Missed.Joules, MissedKnown: a.Missed.Hours > 0,
		}
		c.MissedLow, c.MissedHigh = a.Missed.Interval()
	}
	return c
}

// Clear begins a round: until Stands says otherwise, no finding stands. The round ends with Settle.
func (m *Meter) Clear() {
	m.st.Standing = Standing{}
	for i := range m.st.Accounts {
		m.st.Accounts[i].Stands = false
	}
}

// Stands tells that a finding stands on the zone: its Seq, its onset, and the part at fault by the catalogue. In a round the
// oldest come first: a new one takes the account of one that stands no longer.
func (m *Meter) Stands(seq int, onset int64, part string) {
	s := &m.st.Standing
	s.Any = true
	sun := part == "setpoint" || part == "sensor"
	switch part {
	case "setpoint":
		s.Setpoint = true
	case "sensor":
		s.Sensor = true
	case "feedback":
		s.Feedback = true
	case "circuit":
		s.Circuit = true
	}
	free := -1
	for i := range m.st.Accounts {
		a := &m.st.Accounts[i]
		if a.Seq == seq {
			a.Stands = true
			return
		}
		if !a.Stands && (free < 0 || a.Seq < m.st.Accounts[free].Seq) {
			free = i
		}
	}
	m.st.Open.Faulty = true
	from := int32(onset / 3600e9)
	m.since(from, func(h *Hour) { h.Faulty = true })
	if part == "network" || free < 0 {
		return // of a zone that cannot be read nothing is known
	}
	a := &m.st.Accounts[free]
	*a = Account{Seq: seq, Stands: true, Sun: sun}
	if sun {
		m.since(m.st.Open.Hour-ledgerHours, m.learn) // those before the onset
		m.since(from, func(h *Hour) {
			m.miss(h, part == "sensor", func(o *Account) bool { return o == a })
		})
		return
	}
	m.since(from, func(h *Hour) { a.take(float64(h.Excess), float64(h.Owed), h.Lit > 0, h.LightKnown) })
	o := &m.st.Open
	a.take(o.Excess, o.Owed, o.Lit > 0, o.LightKnown)
}

func (a *Account) take(excess, owed float64, levels, light bool) {
	a.Excess += excess
	a.Owed += owed
	a.Levels = a.Levels || levels
	a.LightKnown = a.LightKnown || light
}

// charge charges the findings of the loop that stand with what the last sample showed.
func (m *Meter) charge(r *Rate, dt float64) {
	if !m.st.Standing.Any {
		return
	}
	for i := range m.st.Accounts {
		if a := &m.st.Accounts[i]; a.Stands && !a.Sun {
			a.take(r.Excess*dt, r.Owed*dt/3600, r.LevelsKnown, r.LightKnown)
		}
	}
}

// standingSun picks the accounts of setpoint and sensor findings that stand.
func (m *Meter) standingSun(a *Account) bool { return a.Stands && a.Sun }
