package loops

import (
	"cmp"
	"math"
	"slices"
	"strconv"
)

// Settings are what the configuration says of a site.
type Settings struct {
	Devices []string // names
	Zones   []ZoneSettings

	// Uses lists, for each device, the zones that have a point there, rising; where nil, those whose own device it is.
	Uses [][]int `state:"-"`

	// Sensors are the daylight sensors, each distinct point once.
	Sensors []SensorSettings

	// Placed says that Latitude and Longitude, in degrees north and east, are known. UTCOffset is by how many seconds local
	// time is ahead of UTC; it only says where days begin where the place is not known, so summer time does not matter.
	Placed              bool
	Latitude, Longitude float64
	UTCOffset           float64
}

// ZoneSettings are what the configuration says of one zone.
type ZoneSettings struct {
	Name   string
	Device int      // index in Settings.Devices of the zone's own device
	Has    Channels // the points that the zone has; Hours where the site's hours are known
	Duty   bool     // the command is a pulse width, not a voltage

	// CycleSeconds is the time from one sample to the next.
	CycleSeconds float64

	Tolerance     float64 // percent of level by which setpoint and feedback may differ
	SettleSeconds float64 // after a step, how long an error is not counted
	FalseFindings float64 // per zone and year

	RatedPower   float64 // watts, 0 where not known
	Ballasts     int     // 0 where not known
	TapGear      bool    // the feedback is measured at the gear
	OutOfService bool
}

// Judge judges the zones and devices of one site. It is not for concurrent use.
type Judge struct {
	set      Settings
	zones    []zone
	devices  []device
	sensors  []sensor
	sensorOf []int `state:"-"` // of each zone: index in sensors, -1 for none
	sky      sky
	open     []Finding // those that stand, oldest first
	changes  []Finding
	seq      int

	crossings []crossing
	suspects  []int `state:"-"` // of one round

	usedBy [][]int `state:"-"` // the devices that a zone has a point on
}

// New makes a judge that has seen nothing.
func New(set Settings) *Judge {
	j := &Judge{
		set: set, zones: make([]zone, len(set.Zones)), devices: make([]device, len(set.Devices)),
		crossings: make([]crossing, 0, mostCrossings), suspects: make([]int, 0, mostSuspects),
	}
	for i := range j.devices {
		j.devices[i] = device{open: -1, tau: mostCorrelationSeconds, h: threshold(0, mostCorrelationSeconds)}
		j.devices[i].stale.open = -1
	}
	j.users()
	for i := range j.zones {
		j.zones[i] = newZone(&j.set.Zones[i])
	}
	for i := range j.devices {
		d := &j.devices[i]
		for _, z := range j.zonesOf(i) {
			d.tau = min(d.tau, j.zones[z].memory.tau)
		}
		for _, z := range j.zonesOf(i) {
			d.h = min(d.h, threshold(set.Zones[z].FalseFindings, d.tau))
		}
	}
	j.newSensors()
	return j
}

// users notes which zones use which devices.
func (j *Judge) users() {
	if j.set.Uses == nil {
		j.set.Uses = make([][]int, len(j.set.Devices))
		for i := range j.set.Zones {
			at := j.set.Zones[i].Device
			j.set.Uses[at] = append(j.set.Uses[at], i)
		}
	}
	j.usedBy = make([][]int, len(j.set.Zones))
	for at, zones := range j.set.Uses {
		for _, z := range zones {
			j.usedBy[z] = append(j.usedBy[z], at)
		}
	}
}

// zonesOf gives the zones that have a point on a device.
func (j *Judge) zonesOf(device int) []int { return j.set.Uses[device] }

// Observe weighs one sample of a zone; what follows from it is decided at the end of the round. Samples of a zone come in
// the order of time; one that is older than the last is taken as the first after a gap.
func (j *Judge) Observe(zone int, s *Sample) {
	z := &j.zones[zone]
	if j.waits(zone) {
		z.idle(s)
		return
	}
	z.observe(s)
	j.daylight(zone, s)
	z.due = true
}

// decide raises, renames or ends the finding of a track of a zone as its evidence asks.
func (j *Judge) decide(at int, t track) {
	z := &j.zones[at]
	if t == loopTrack && z.crossed {
		return
	}
	if z.open[t] < 0 && z.silent(t) {
		return
	}
	best, top := z.best(t)
	if t == loopTrack && best >= 0 && z.supportedAlone(best) {
		if c := j.crossingOf(at); c != nil {
			if age := float64(z.memory.at-c.since) / 1e9; age >= z.patience() {
				j.raiseCrossing(c)
			}
			return
		}
	}
	if z.open[t] < 0 {
		if best >= 0 && z.supportedAlone(best) && z.ripe(best) {
			if open := j.suppliedWith(at, best); open >= 0 {
				zones := append(slices.Clone(j.open[open].Zones), at)
				slices.Sort(zones)
				j.regroup(open, zones)
				return
			}
			j.raise(at, best, "")
		}
		return
	}
	named := int(z.named[t])
	if z.proved(named) {
		if !j.leave(at, t) {
			j.end(at, t, false)
		}
		return
	}
	if best == unknown && z.sums.total[named] > 0 {
		return // a part that was named is not taken back for "no part" while anything speaks for it
	}
	if best >= 0 && best != named && !z.dropped[best] && top-z.score(named) > z.lead(best) && z.supported(best) {
		z.dropped[named] = true
		z.revisions++
		cause := j.open[z.open[t]].Cause
		if len(j.open[z.open[t]].Zones) > 1 {
			total, since := z.sums.total, z.sums.since
			j.leave(at, t)
			z.sums.total, z.sums.since = total, since
			j.raise(at, best, "")
			return
		}
		j.end(at, t, true)
		j.raise(at, best, cause)
	}
}

// silent says whether nothing speaks for any explanation of a track.
func (z *zone) silent(t track) bool {
	for _, total := range z.sums.total[span[t].from:span[t].to] {
		if total > 0 {
			return false
		}
	}
	return true
}

// lead is by how much an explanation has to beat the one that was named to take its place: each revision of an incident
// asks for twice as much as the one before, and none is taken back, so that nobody is sent to and fro.
func (z *zone) lead(best int) float64 {
	if explanations[best].track != loopTrack {
		return revisionNats
	}
	if explanations[best].id == RepairIncomplete {
		return relapseNats - 1 // the same fault as a short, seen for what it is
	}
	return revisionNats * float64(uint(1)<<min(z.revisions, 3))
}

// supportedAlone says whether an explanation has the evidence for a finding.
func (z *zone) supportedAlone(i int) bool {
	if explanations[i].id == PairIntermittent {
		return z.loose() || z.returned() && z.anyTotal() >= z.h
	}
	if explanations[i].id == FeedbackDrift && z.memory.driftSize() < driftLeast-1 {
		return false // a small one may be the spread of sound parts
	}
	return z.sums.total[i]+explanations[i].prior >= z.h
}

// anyTotal is the largest evidence of the loop's track for any fault that shows from sample to sample.
func (z *zone) anyTotal() float64 {
	top := 0.0
	for i := range loopers {
		if z.can[i] {
			top = max(top, z.sums.total[i]+explanations[i].prior)
		}
	}
	return top
}

// supported says whether an explanation has the evidence for a finding, and the newest sample goes on speaking for it: a
// zone that recovers is not renamed on the way.
func (z *zone) supported(i int) bool {
	if explanations[i].track == setpointTrack {
		return z.sums.total[i]+explanations[i].prior >= z.h && z.sums.now[i].motion > 0
	}
	if explanations[i].id == PairIntermittent {
		return z.supportedAlone(i)
	}
	if explanations[i].weigh == nil {
		return z.supportedAlone(i)
	}
	now := z.sums.now[i].full()
	return z.sums.total[i]+explanations[i].prior >= z.h && now > z.sums.sound.full()+1 && now > -grossNats
}

// proved says whether the zone has shown that it works: nothing is left of the evidence for its finding, being healthy
// explains the newest sample as well as anything does, and it has gone on long enough. A zone that is sick in another way
// proves nothing.
func (z *zone) proved(named int) bool {
	id := explanations[named].id
	switch {
	case explanations[named].track == setpointTrack:
		return z.sums.total[named] <= 0 // its evidence goes with proof only
	case id == PairIntermittent:
		mean := float64(z.memory.at-z.sums.since[named]) / 1e9 / max(1, float64(z.memory.spells.count))
		return z.memory.spells.quiet(z.memory.tau, mean)
	case z.sums.total[named] > 0:
		return false
	case id == FeedbackNoisy || id == Hunting || explanations[named].track == gearTrack:
		return z.sums.sound.full() > -1
	case id == FeedbackLoopLow || id == FeedbackLoopHigh:
		return z.memory.loopSamples == 0
	case !z.proof.shown(id, z.memory.tau):
		return false
	}
	sound := z.sums.sound.full()
	if sound > -1 {
		return true
	}
	for i := range loopers {
		if z.can[i] && z.sums.now[i].full() > sound+1 {
			return false
		}
	}
	return true
}

// patience is for how long, in seconds, explanations that are close to each other get time to part. Chosen: five correlation
// times (two and a half minutes) or four samples; by then the command has wound up and the light has settled.
func (z *zone) patience() float64 {
	return max(5*z.memory.tau, 4*z.memory.set.CycleSeconds)
}

// ripe says whether it is time to name a finding: its explanation stands out from the others, or has had its time to.
func (z *zone) ripe(best int) bool {
	const clear = 3.0
	age := float64(z.memory.at-z.sums.since[best]) / 1e9
	if explanations[best].track == setpointTrack {
		return age >= daysSeconds
	}
	if age >= z.patience() {
		return true
	}
	for i := span[explanations[best].track].from; i < span[explanations[best].track].to; i++ {
		if i != best && z.can[i] && z.score(best)-z.score(i) < clear {
			return false
		}
	}
	return true
}

func explanationOf(id ID) int {
	for i := range explanations {
		if explanations[i].id == id {
			return i
		}
	}
	return -1
}

// raise makes a finding of an explanation of a zone.
func (j *Judge) raise(at, best int, cause string) {
	z := &j.zones[at]
	if cause == "" {
		cause = z.newCause()
	}
	j.seq++
	f := Finding{
		Seq: j.seq, ID: explanations[best].id, Cause: cause, Zones: []int{at}, Device: -1,
		Onset: min(z.sums.since[best], z.memory.at), Raised: z.memory.at,
	}
	crossed := math.Inf(-1)
	if lead, ok := j.mayBeCrossed(at); ok && explanations[best].track == loopTrack {
		crossed = lead
	}
	f.Confidence, f.Also = z.shares(best, crossed)
	j.describe(&f, z)
	z.named[explanations[best].track] = int8(best)
	if explanations[best].track == loopTrack {
		z.proof = z.unproved()
	}
	z.open[explanations[best].track] = len(j.open)
	j.open = append(j.open, f)
	j.changes = append(j.changes, f)
}

// newCause names the next incident of a zone.
func (z *zone) newCause() string {
	z.count++
	return "zone/" + z.memory.set.Name + "/" + strconv.Itoa(z.count)
}

// end takes the finding of a track of a zone off those that stand.
func (j *Judge) end(at int, t track, revised bool) {
	z := &j.zones[at]
	f := j.open[z.open[t]]
	f.Cleared, f.Revised = z.memory.at, revised
	if !revised {
		f.Proof = j.proofOf(f)
	}
	j.changes = append(j.changes, f)
	j.remove(z.open[t])
	if !revised {
		z.starts(t)
	}
	z.open[t] = -1
}

// starts forgets what was held against a zone on a track: an incident has ended.
func (z *zone) starts(t track) {
	for i := span[t].from; i < span[t].to; i++ {
		z.sums.total[i], z.dropped[i] = 0, false
	}
	if t == loopTrack {
		z.revisions = 0
	}
}

// remove drops a finding from those that stand.
func (j *Judge) remove(at int) {
	j.open = slices.Delete(j.open, at, at+1)
	for i := range j.zones {
		for t := range j.zones[i].open {
			if j.zones[i].open[t] > at {
				j.zones[i].open[t]--
			}
		}
	}
	for i := range j.sensors {
		if j.sensors[i].open > at {
			j.sensors[i].open--
		}
	}
	for i := range j.devices {
		if j.devices[i].open > at {
			j.devices[i].open--
		}
		if j.devices[i].stale.open > at {
			j.devices[i].stale.open--
		}
	}
}

// shares gives how sure the named explanation is, and those that it can not be told from; crossed is by how much being
// crossed with another zone beats it. The confidence is that the name is right or one that the points can not tell from it:
// what is within reach shares the rest by how well it fits.
func (z *zone) shares(named int, crossed float64) (float64, []Alternative) {
	const within = 6.0 // nats: an explanation farther behind is not mentioned
	top := z.score(named)
	var also []Alternative
	sum := 0.0
	mention := func(id ID, lead float64) {
		if lead > -within {
			fits := math.Exp(min(0, lead))
			sum += fits
			also = append(also, Alternative{ID: id, Fits: fits})
		}
	}
	for i := span[explanations[named].track].from; i < span[explanations[named].track].to; i++ {
		if z.can[i] && i != named {
			mention(explanations[i].id, z.score(i)-top)
		}
	}
	mention(ZonesCrossed, crossed)
	for i := range lookAlikes {
		l := &lookAlikes[i]
		if l.named != explanations[named].id || !l.when(&z.memory) || slices.ContainsFunc(also, func(a Alternative) bool { return a.ID == l.also }) {
			continue
		}
		if ok, _ := Support(l.also, z.memory.set.Has); ok {
			mention(l.also, math.Log(alikeFits))
		}
	}
	slices.SortStableFunc(also, func(a, b Alternative) int { return cmp.Compare(b.Fits, a.Fits) })
	also = also[:min(len(also), mostAlternatives)]
	sure := explanations[named].sure
	for i := range also {
		also[i].Confidence = (1 - sure) * also[i].Fits / (1 + sum)
	}
	return sure, also
}

// EndRound tells the judge that all zones polled at a time have been observed: what needs more than one zone is worked
// out here, and then the findings are raised and ended, in the order of the zones.
func (j *Judge) EndRound(at int64) {
	j.census(at)
	j.mix(at)
	j.judgeSensors()
	j.cross(at)
	j.endCrossings()
	j.uncrossed(at)
	for i := range j.zones {
		if !j.zones[i].due {
			continue
		}
		j.zones[i].due = false
		for t := range tracks {
			j.decide(i, t)
		}
	}
}

// census counts which zones are lit, and tells each about the others.
func (j *Judge) census(at int64) {
	lit, known := 0, 0
	for i := range j.zones {
		m := &j.zones[i].memory
		if m.fresh(at) {
			known++
			if m.lit && m.litSeen {
				lit++
			}
		}
	}
	for i := range j.zones {
		m := &j.zones[i].memory
		l, k := lit, known
		if m.fresh(at) {
			k--
			if m.lit && m.litSeen {
				l--
			}
		}
		m.othersLit, m.othersKnown = 0, k > 0
		if k > 0 {
			m.othersLit = float64(l) / float64(k)
		}
	}
}

// fresh says whether it is known now if the zone is lit: a zone whose device is lost says nothing about the site.
func (m *memory) fresh(at int64) bool {
	return m.seen && m.litKnown && float64(at-m.tracedAt)/1e9 <= m.longest()
}

// Changes calls f with every finding that was raised, renamed or ended since the last call, in that order; a finding
// comes again, with the same Seq, when it ends.
func (j *Judge) Changes(f func(Finding)) {
	for _, c := range j.changes {
		f(c)
	}
	j.changes = j.changes[:0]
}

// Pending says whether Changes has anything to tell.
func (j *Judge) Pending() bool { return len(j.changes) > 0 }

// Active calls f with the findings that stand, oldest first, each with what has been shown of a repair so far.
func (j *Judge) Active(f func(Finding)) {
	for _, c := range j.open {
		c.Proof = j.proofOf(c)
		f(c)
	}
}

// State tells how a zone stands.
func (j *Judge) State(at int) ZoneState {
	z := &j.zones[at]
	m := &z.memory
	s := ZoneState{
		Asked: m.asked, AskedKnown: m.askedKnown, Lit: m.lit, LitKnown: m.litKnown,
		Judged: z.judged, Reason: z.reason,
		JudgedSeconds: z.judgedSeconds, CalledSeconds: z.calledSeconds,
	}
	for id, at := range z.tested {
		s.Tested[id] = int64(at) * 1e9
	}
	if own := j.sensorOf[at]; own >= 0 {
		for i, id := range sensorIDs {
			s.Tested[id] = j.sensors[own].tested[i]
		}
	}
	for id := None + 1; id < IDs; id++ {
		s.Supported[id], _ = Support(id, m.set.Has)
	}
	return s
}
