package loops

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"strings"
)

// The sensors of a site: which there are, and the findings that are made of them. One cause is shown once: sensors that began
// to show the same at one time, on one supply or device, make one finding with all their zones. A sensor that comes to it, or
// is repaired alone, ends it as revised, and it is raised again under the same cause with those that it is about now.

// newSensors makes the sensors of a site.
func (j *Judge) newSensors() {
	j.sensors = make([]sensor, len(j.set.Sensors))
	j.sensorOf = make([]int, len(j.zones))
	for i := range j.sensorOf {
		j.sensorOf[i] = -1
	}
	for i := range j.sensors {
		s := &j.sensors[i]
		s.open, s.h = -1, math.Inf(1)
		for _, z := range j.set.Sensors[i].Zones {
			j.sensorOf[z] = i
			s.h = min(s.h, j.zones[z].h)
			s.loop = s.loop || j.set.Zones[z].Has.Has(DaylightLoop)
		}
	}
	j.sky = sky{placed: j.set.Placed, latitude: j.set.Latitude, longitude: j.set.Longitude, offset: j.set.UTCOffset}
}

// lead is the zone whose samples a sensor is judged from: one of its own device, since what comes with another device's
// samples is shown again and again.
func (j *Judge) lead(sensor int) int {
	set := &j.set.Sensors[sensor]
	best := -1
	for _, z := range set.Zones {
		if j.set.Zones[z].OutOfService {
			continue
		}
		if j.set.Zones[z].Device == set.Device {
			return z
		}
		if best < 0 {
			best = z
		}
	}
	return best
}

// judgeSensors raises, renames and ends the findings of sensors, once a round.
func (j *Judge) judgeSensors() {
	for i := range j.sensors {
		s := &j.sensors[i]
		best := s.best()
		if s.open < 0 {
			young := best == againstTheDay && float64(s.at-s.since[best])/1e9 < daysSeconds
			if s.total[best] >= s.h && !young && !j.sensorWaits(i, best) {
				j.raiseSensors(i, best)
			}
			continue
		}
		named := slices.Index(sensorIDs[:], j.open[s.open].ID)
		better := best != named && s.total[best] >= s.h && s.total[best]-s.total[named] > revisionNats
		if better || s.total[named] <= 0 {
			j.releaseSensor(i, better)
		}
	}
}

// together says whether two sensors began to show the same finding at one time.
func (j *Judge) together(a, b int64, sensor, finding int) bool {
	apart := max(gapSeconds, companyCycles*j.zones[j.set.Sensors[sensor].Zones[0]].memory.set.CycleSeconds)
	switch finding {
	case standsStill:
		apart = stillSeconds // a live reading may repeat itself for a while before it is held
	case againstTheDay:
		apart = 43200 // it shows at night or by day
	}
	return math.Abs(float64(a-b))/1e9 <= apart
}

// sensorWaits says whether another sensor is about to show the same, so that one record can be made of both.
func (j *Judge) sensorWaits(at, finding int) bool {
	s := &j.sensors[at]
	const surely = 8.0 // Chosen: one more correlation time of clear evidence; at double, one record waits for ever
	if s.total[finding] >= min(s.h+surely, dayTopNats(s.h)-1) {
		return false
	}
	for i := range j.sensors {
		o := &j.sensors[i]
		if i != at && o.open < 0 && o.total[finding] > o.h/3 && o.total[finding] < o.h && j.together(s.since[finding], o.since[finding], at, finding) {
			return true
		}
	}
	return false
}

// raiseSensors makes one finding of a sensor and of all that failed with it; where such a finding stands already, it is
// raised anew with this one in it.
func (j *Judge) raiseSensors(at, finding int) {
	s := &j.sensors[at]
	members := []int{at}
	cause := ""
	for i := range j.sensors {
		o := &j.sensors[i]
		switch {
		case i == at || !j.together(s.since[finding], o.since[finding], at, finding):
		case o.open < 0 && o.total[finding] >= o.h && o.best() == finding:
			members = append(members, i)
		case o.open >= 0 && j.open[o.open].ID == sensorIDs[finding] && cause == "":
			cause = j.open[o.open].Cause
			members = append(members, j.endSensors(o.open, s.at, true)...)
		}
	}
	j.nameSensors(members, finding, cause, s.at)
}

// nameSensors makes one finding of sensors.
func (j *Judge) nameSensors(members []int, finding int, cause string, at int64) {
	slices.Sort(members)
	lead := &j.sensors[members[0]]
	if cause == "" {
		lead.count++
		cause = "sensor/" + j.set.Zones[j.set.Sensors[members[0]].Zones[0]].Name + "/" + strconv.Itoa(lead.count)
	}
	j.seq++
	f := Finding{Seq: j.seq, ID: sensorIDs[finding], Cause: cause, Device: -1, Onset: lead.since[finding], Raised: at}
	for _, i := range members {
		f.Zones = append(f.Zones, j.set.Sensors[i].Zones...)
		f.Onset = min(f.Onset, j.sensors[i].since[finding])
		j.sensors[i].open = len(j.open)
	}
	slices.Sort(f.Zones)
	f.Confidence, f.Also = lead.shares(finding)
	if finding == standsStill {
		for _, i := range members { // what it showed while it stood still is explained
			j.sensors[i].total[againstTheDay], j.sensors[i].regime = 0, [regimes]float64{}
		}
	}
	j.describeSensor(&f, lead)
	j.open = append(j.open, f)
	j.changes = append(j.changes, f)
}

// endSensors takes a finding of sensors off those that stand, and gives its sensors.
func (j *Judge) endSensors(open int, at int64, revised bool) (members []int) {
	f := j.open[open]
	f.Cleared, f.Revised = at, revised
	j.changes = append(j.changes, f)
	for i := range j.sensors {
		if j.sensors[i].open == open {
			j.sensors[i].open = -1
			members = append(members, i)
		}
	}
	j.remove(open)
	return members
}

// releaseSensor ends the finding of a sensor, or takes the sensor out of one that it shares; renamed says that it is not
// repaired but shows another finding.
func (j *Judge) releaseSensor(at int, renamed bool) {
	s := &j.sensors[at]
	f := j.open[s.open]
	finding := slices.Index(sensorIDs[:], f.ID)
	members := j.endSensors(s.open, s.at, false)
	last := &j.changes[len(j.changes)-1]
	last.Revised = renamed || len(members) > 1
	if rest := slices.DeleteFunc(members, func(i int) bool { return i == at }); len(rest) > 0 {
		j.nameSensors(rest, finding, f.Cause, s.at)
		f.Cause = "" // what this sensor has now is its own
	}
	if renamed {
		j.nameSensors([]int{at}, s.best(), f.Cause, s.at)
		return
	}
	s.total, s.regime = [sensorFindings]float64{}, [regimes]float64{}
}

// shares gives how sure the named finding is, and those that it can not be told from.
func (s *sensor) shares(named int) (float64, []Alternative) {
	const most = 0.97 // chosen: no reading excludes a cause that nobody thought of
	var also []Alternative
	sum := 1.0
	for i := range s.total {
		if x := math.Exp(s.total[i] - s.total[named]); i != named && s.total[i] > 0 && x > math.Exp(-5) {
			also = append(also, Alternative{ID: sensorIDs[i], Confidence: x, Fits: min(1, x)})
			sum += x
		}
	}
	for i := range also {
		also[i].Confidence *= most / sum
	}
	slices.SortStableFunc(also, func(a, b Alternative) int { return cmp.Compare(b.Confidence, a.Confidence) })
	return most / sum, also
}

// describeSensor fills in what a technician reads of a sensor.
func (j *Judge) describeSensor(f *Finding, s *sensor) {
	names := make([]string, len(f.Zones))
	for i, z := range f.Zones {
		names[i] = j.set.Zones[z].Name
	}
	milliamps, elevation := "(no current loop)", "(not known)"
	if s.loop {
		milliamps = number(s.milliamps, 1)
	}
	if j.sky.placed {
		elevation = number(j.sky.elevation, 0)
	}
	many := ""
	if n := len(j.sensorsOf(f)); n > 1 {
		many = " " + strconv.Itoa(n) + " sensors began to show it at one time: look for their common supply, line or device first."
	}
	usual, known := s.expects(&j.sky)
	expected := "(not known)"
	if known {
		expected = number(usual, 0)
	}
	j.write(f, strings.NewReplacer(
		"{zones}", strings.Join(names, ", "), "{milliamps}", milliamps, "{lux}", number(s.value, 0), "{elevation}", elevation,
		"{still}", apart(float64(f.Raised-s.hold.since)/1e9), "{usual}", expected, "{many}", many,
	))
	for _, x := range []struct {
		known  bool
		name   string
		value  float64
		digits int
	}{
		{true, "daylight_lux", s.value, 1},
		{s.loop, "daylight_milliamps", s.milliamps, 2},
		{known, "daylight_usual_lux", usual, 1},
		{j.sky.placed, "sun_elevation_degrees", j.sky.elevation, 1},
		{f.ID == SensorFrozen, "still_seconds", float64(f.Raised-s.hold.since) / 1e9, 0},
	} {
		if x.known {
			f.Evidence = append(f.Evidence, Measure{x.name, round(x.value, x.digits)})
		}
	}
}

// sensorsOf counts the sensors of a finding.
func (j *Judge) sensorsOf(f *Finding) (list []int) {
	for _, z := range f.Zones {
		if i := j.sensorOf[z]; i >= 0 && !slices.Contains(list, i) {
			list = append(list, i)
		}
	}
	return list
}
