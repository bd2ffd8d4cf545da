package loops

import "slices"

// Resume takes over from another judge what it knows of the zones and devices that are the same in both: what was learned,
// the evidence, and the findings that stand. It is for a configuration that is read again: a zone is the same where its
// settings and the name of its device are; of the others nothing is kept. It comes before the first sample.
func (j *Judge) Resume(old *Judge) {
	j.seq = old.seq
	zones, devices := map[int]int{}, map[int]int{} // old index to new
	for i, name := range j.set.Devices {
		for k, was := range old.set.Devices {
			if was == name {
				devices[k] = i
				d := old.devices[k]
				d.open, d.stale.open = -1, -1
				d.tau, d.h = j.devices[i].tau, j.devices[i].h
				j.devices[i] = d
			}
		}
	}
	for i := range j.set.Zones {
		for k := range old.set.Zones {
			a, b := j.set.Zones[i], old.set.Zones[k]
			at, same := devices[b.Device]
			b.Device = at
			if a.Name == b.Name {
				j.zones[i].count = old.zones[k].count // a cause is never used twice
			}
			if !same || a != b {
				continue
			}
			zones[k] = i
			z := old.zones[k]
			for t := range z.open {
				z.open[t] = -1
			}
			z.memory.set = &j.set.Zones[i]
			j.zones[i] = z
		}
	}
	sensors := j.resumeSky(old, zones, devices)
	for _, f := range old.open {
		if f.Device >= 0 {
			j.resumeDevice(f, devices)
		} else if k := slices.Index(sensorIDs[:], f.ID); k >= 0 {
			j.resumeSensors(f, old, sensors)
		} else if at, ok := zones[f.Zones[0]]; ok {
			f.Zones = []int{at}
			e := explanationOf(f.ID)
			j.zones[at].open[explanations[e].track], j.zones[at].named[explanations[e].track] = len(j.open), e
			j.open = append(j.open, f)
		}
	}
}

// resumeDevice takes over the finding of a device, with the zones that it has now.
func (j *Judge) resumeDevice(f Finding, devices map[int]int) {
	at, ok := devices[f.Device]
	if !ok {
		return
	}
	f.Device, f.Zones = at, append([]int(nil), j.zonesOf(at)...)
	j.describe(&f, nil)
	open := &j.devices[at].open
	if f.ID == PointsStale {
		open = &j.devices[at].stale.open
	}
	*open = len(j.open)
	j.open = append(j.open, f)
}

// resumeSky takes over what is known of the sensors that are the same in both, and gives their old and new places. A sensor is
// the same where its zones are.
func (j *Judge) resumeSky(old *Judge, zones, devices map[int]int) map[int]int {
	sensors := map[int]int{}
	for k := range old.set.Sensors {
		was := &old.set.Sensors[k]
		for i := range j.set.Sensors {
			now := &j.set.Sensors[i]
			device, ok := devices[was.Device]
			same := ok && device == now.Device && len(was.Zones) == len(now.Zones)
			for _, z := range was.Zones {
				at, there := zones[z]
				same = same && there && slices.Contains(now.Zones, at)
			}
			if same {
				s := old.sensors[k]
				s.open, s.h = -1, j.sensors[i].h
				j.sensors[i], sensors[k] = s, i
			}
		}
	}
	return sensors
}

// resumeSensors takes over the finding of sensors, with those of them that are the same.
func (j *Judge) resumeSensors(f Finding, old *Judge, sensors map[int]int) {
	var zones []int
	for k, i := range sensors {
		if o := old.sensors[k].open; o >= 0 && old.open[o].Seq == f.Seq {
			j.sensors[i].open = len(j.open)
			zones = append(zones, j.set.Sensors[i].Zones...)
		}
	}
	if len(zones) == 0 {
		return
	}
	slices.Sort(zones)
	f.Zones = zones
	j.open = append(j.open, f)
}
