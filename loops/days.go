package loops

import "math"

// The setpoint against daylight, day by day. What a zone's setpoint does with daylight is learned: over its own sensor's
// reading where it has one, else over how far daylight has brought the site's other setpoints down, morning and afternoon
// apart since windows look one way. A setpoint that does not go with it is suspected for hours and named after days; one that
// never went with it (a zone that is constant by design) is never suspected, and where daylight asks for the level at which
// the setpoint stands anyhow, nothing is put to the test.

// days is what is remembered of a zone's setpoint and daylight. Its size is fixed.
type days struct {
	at   int64         // when it was last weighed
	dt   float64       // since the time before
	last [5][2]float32 // the last two readings of each point

	place   float64 // where the setpoint rests
	since   int64   // since when
	off     int     // samples in a row that are elsewhere
	movedAt int64   // when it last moved
	moves   float64 // on this day, in daylight
	fed     bool    // it was weighed before
	rests   bool
	moved   bool // with the newest sample
	goes    bool // there was a day on which it went with daylight

	before     float64 // the setpoint of the sample before
	ranged     bool
	high       float64 // the highest that it kept for two samples while called for
	share      float64 // how far below that it is, 0..1
	shown      bool    // it is known
	mixed      bool    // it is in the sky's sum
	mixedShare float64 // with this much

	frozen float64 // the place that it was suspected, and named, for
	named  ID      // the finding that stands, None for none

	dark float64 // seconds without a call for light

	nodes [nodes]node
	full  float64 // the setpoint without daylight

	day    int64
	gained [2]float64 // evidence of this day, for each of the two findings

	expected float64 // the setpoint that daylight lets expect
	known    bool
}

// node is what was learned at one point of the relation: hours, mean of the setpoint, and how far it is off what is expected.
type node struct{ hours, mean, off float32 }

// The nodes: over the logarithm of the own sensor's reading, or over what the others show. The last is for a zone that is
// switched off, the one before it for night.
const (
	nodes      = lightNodes + 2
	lightNodes = 36
	nightNode  = lightNodes
	offNode    = lightNodes + 1

	// A reading of leastLux and less is the first node; each node is nodeRatio brighter: up to 140 klx.
	leastLux  = 4.0
	nodeRatio = 1.34

	// Of what the others show: steps, and the mean drop of setpoints beyond which all is one. Chosen: full daylight takes
	// half to four fifths, and some zones of most sites take none.
	useSteps = 8
	usedMost = 0.6
)

const (
	// daysSettle is how long, in seconds, a zone has to be called before its setpoint is compared: some begin at full, and
	// filters of daylight take minutes (common practice, no source).
	daysSettle = 600.0

	// restWander is how far a resting setpoint may be off its place, in percent. Source: resolutions met are 0.1 to 0.5, of
	// coarse ones 1 (common practice, no source).
	restWander = 0.6

	// topBand is how close to its full level a setpoint is full, in percent. Chosen: coarse programs stop a step short of it.
	topBand = 3.0

	// mostSetpoint bounds what is taken for a setpoint, in percent: beyond, it is nonsense.
	mostSetpoint = 200.0

	// liveMoves is how often a setpoint has moved on a day on which it went with daylight by itself. One that never did so is
	// driven by something else, and is not missed in daylight. Source: a demand limit or a night
	// level moves it there and back, two or three times a day (common practice, no source). Chosen: clouds and a slow sun move
	// it some times an hour; at half, ramps of a limit would do; at double, a short dull day would not.
	liveMoves = 8

	// nodeHours is how much has to be known of a node. Chosen: passed within the first two days; at double it takes four.
	nodeHours = 0.3

	// followsLeast is by how much, in percent, a setpoint has to have gone with daylight before it is missed.
	// Chosen: at half, the scatter of a constant setpoint is taken for it; at double, shallow daylight zones are untested.
	followsLeast = 10.0
)

// news says whether any of the zone's readings is new: its device is alive.
func (d *days) news(m *memory, s *Sample) (fresh bool) {
	for i, x := range [...]struct {
		channel Channels
		value   float64
	}{{Setpoint, s.Setpoint}, {Command, s.Command}, {Feedback, s.Feedback}, {Power, s.Power}, {Daylight, s.Daylight}} {
		if last, value := &d.last[i], float32(x.value); m.has.Has(x.channel) && value != last[0] {
			fresh = fresh || value != last[1] // back after a reading that was nonsense is no news
			last[0], last[1] = value, last[0]
		}
	}
	return fresh
}

// weighDays weighs the newest setpoint, once a minute.
func (z *zone) weighDays(s *Sample, sky *sky, sensor *sensor, alive bool) {
	m, d := &z.memory, &z.days
	if dt := float64(m.at-d.at) / 1e9; d.fed && dt >= 0 && dt < daysStep || !m.has.Has(Setpoint) || m.setpoint != bound(m.setpoint, mostSetpoint) {
		return
	}
	d.step(m)
	if sky.day != d.day {
		d.day, d.gained, d.moves = sky.day, [2]float64{}, 0
	}
	if m.asked || m.lit || !m.askedKnown && !m.litKnown {
		d.dark = 0
	} else {
		d.dark += d.dt
	}
	d.shown = false
	if !alive || m.changing {
		return
	}
	at, part, ok := d.where(s, m, sky, sensor)
	if at < nightNode && d.dark == 0 && m.callSeconds >= daysSettle {
		d.uses(m.setpoint)
		if d.moved {
			d.moves++
			d.goes = d.goes || d.moves >= liveMoves
		}
	}
	if ok {
		z.follows(at, part, sensor)
	}
}

// step takes the newest setpoint: how long it rests, and the range that it goes through.
func (d *days) step(m *memory) {
	d.dt = float64(m.at-d.at) / 1e9
	if !d.fed || d.dt < 0 || d.dt > m.longest()+daysStep {
		d.dt = 0
		d.since, d.movedAt = min(d.since, m.at), min(d.movedAt, m.at)
	}
	d.fed, d.at, d.moved = true, m.at, false
	x := m.setpoint
	switch {
	case !d.rests:
		d.rests, d.place, d.since = true, x, m.at
	case math.Abs(x-d.place) <= restWander:
		d.off = 0
	case d.off == 0:
		d.off = 1
	default:
		d.place, d.since, d.off, d.moved, d.movedAt = x, m.at, 0, true, m.at
	}
}

// uses works out how far daylight has brought the setpoint down from the highest level that it kept for two samples while it
// was called for. A zone that is constant by design brings in nothing.
func (d *days) uses(x float64) {
	if !d.ranged {
		d.ranged, d.high, d.before = true, x, x
	}
	d.high = max(d.high, min(x, d.before))
	d.before = x
	d.share, d.shown = min(1, max(0, (d.high-x)/100)), true
}

// where gives the place of the newest sample in what is learned: a node, and how far it is on the way to the next.
func (d *days) where(s *Sample, m *memory, sky *sky, sensor *sensor) (at int, part float64, ok bool) {
	switch {
	case d.dark > daysSettle:
		return offNode, 0, sky.night() // by day some setpoints go on following daylight
	case d.dark > 0 || m.callSeconds < daysSettle:
		return offNode, 0, false
	case sensor != nil:
		if !m.has.Has(Daylight) || m.has.Has(DaylightLoop) && RangeOf(s.DaylightMilliamps) != CurrentValid {
			return 0, 0, false
		}
		x := math.Log(max(leastLux, s.Daylight)/leastLux) / math.Log(nodeRatio)
		x = min(x, lightNodes-1.001)
		return int(x), x - math.Floor(x), true
	case sky.night():
		return nightNode, 0, true
	}
	use, n := sky.use, sky.uses
	if d.mixed {
		use, n = use-d.mixedShare, n-1
	}
	if n < 2 {
		return 0, 0, false
	}
	x := min(useSteps-0.001, max(0, use/n*useSteps/usedMost))
	at, part = int(x), x-math.Floor(x)
	if sky.afternoon {
		at += useSteps + 1
	}
	return at, part, true
}

// expect gives the setpoint to be expected between two nodes, and how far it may be off.
func (d *days) expect(at int, part float64) (level, spread float64, known bool) {
	a := &d.nodes[at]
	b := a
	if part > 0 {
		b = &d.nodes[at+1]
	}
	u, v := (1-part)*float64(a.hours), part*float64(b.hours)
	if float64(a.hours) < nodeHours/4 {
		u = 0
	}
	if float64(b.hours) < nodeHours/4 {
		v = 0
	}
	if u+v < nodeHours/2 {
		return 0, 0, false
	}
	// Where both are known the place between them counts, not how well each is known.
	wa, wb := 1-part, part
	if u == 0 {
		wa, wb = 0, 1
	} else if v == 0 {
		wa, wb = 1, 0
	}
	level = wa*float64(a.mean) + wb*float64(b.mean)
	off := wa*float64(a.off) + wb*float64(b.off)
	const young = 6.0 // percent, by which a relation seen once may be off
	return level, min(20, max(3, 1.4*off)+young*math.Exp(-2*(u+v))), true
}

// learn takes the newest setpoint as one of a zone that follows.
func (d *days) learn(at int, part, x, hours float64) {
	level, spread, known := d.expect(at, part)
	if known && math.Abs(x-level) > 2.5*spread {
		hours /= 10 // a demand limit or a hand; were it a new relation, it is learned in days
	}
	if hours <= 0 {
		return
	}
	for k, w := range [2]float64{1 - part, part} {
		if w <= 0 {
			continue
		}
		n := &d.nodes[at+k]
		w *= hours
		was := float64(n.hours)
		n.hours = float32(min(rememberedHours, was+w))
		pull := min(1, w/float64(n.hours))
		n.mean += float32((x - float64(n.mean)) * pull)
		if known {
			n.off += float32((math.Abs(x-level) - float64(n.off)) * pull)
		} else if was == 0 {
			n.off = 3
		}
	}
}

// fullest gives the setpoint without daylight: the highest that is usual.
func (d *days) fullest() float64 {
	top := 0.0
	for i := range nightNode + 1 {
		if n := &d.nodes[i]; n.hours >= nodeHours {
			top = max(top, float64(n.mean))
		}
	}
	return top
}

// follows weighs the newest setpoint against what is expected, and learns from it where nothing speaks against the zone.
func (z *zone) follows(at int, part float64, sensor *sensor) {
	m, d := &z.memory, &z.days
	hours := d.dt / 3600
	level, spread, known := d.expect(at, part)
	d.expected, d.known = level, known
	d.full = d.fullest()
	doubted := sensor != nil && sensor.suspect()
	z.sums.now[setpointFrozenAt].motion, z.sums.now[daylightUnusedAt].motion = 0, 0
	if known && !doubted && d.goes {
		off := -fit(m.setpoint-level, spread)
		z.weighSetpointFrozen(sensor != nil, at, level, spread, off, hours)
		if sensor != nil && at < nightNode {
			z.weighDaylightUnused(level, spread, off, hours)
		}
	}
	// What has not moved since it is watched may stand still already.
	if !doubted && z.open[setpointTrack] < 0 && z.setpointNats() < calmNats && d.movedAt != 0 {
		d.learn(at, part, m.setpoint, hours)
	}
	if z.setpointNats() > calmNats {
		d.shown = false
	}
}

// setpointNats is the evidence against the setpoint.
func (z *zone) setpointNats() (most float64) {
	for i := span[setpointTrack].from; i < span[setpointTrack].to; i++ {
		most = max(most, z.sums.total[i])
	}
	return most
}

// dayGain adds to one of the two sums what one day may say.
func (z *zone) dayGain(i int, nats float64) {
	d := &z.days
	k := i - span[setpointTrack].from
	z.sums.now[i].motion = float32(nats)
	if nats > 0 {
		nats = min(nats, dayMostNats-d.gained[k])
		d.gained[k] += nats
		nats = min(nats, dayTopNats(z.h)-z.sums.total[i])
	}
	z.step(i, nats)
}

// asks writes the level that daylight asks for.
func (d *days) asks() string {
	if !d.known {
		return "(not known)"
	}
	return number(d.expected, 0)
}

// kept says how it has been where it stands since a time.
func (d *days) kept(since int64) string {
	if d.movedAt > since {
		return "has kept going back to"
	}
	return "has kept"
}

// measures are the figures behind a finding of the setpoint.
func (d *days) measures() (list []Measure) {
	if d.known {
		list = append(list, Measure{"setpoint_expected_percent", round(d.expected, 1)})
	}
	return append(list, Measure{"setpoint_full_percent", round(d.full, 1)}, Measure{"setpoint_rests_seconds", round(float64(d.at-d.since)/1e9, 0)})
}
