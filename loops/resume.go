package loops

import "slices"

// Resume takes over from another judge what it knows of the zones, sensors and devices that are the same in both: what was
// learned, the evidence, the findings that stand, and those not told yet. It is for a configuration that is read again: a
// zone is the same where its settings and the name of its device are, a sensor where its zones are; of the others nothing is
// kept. It comes before the first sample.
func (j *Judge) Resume(old *Judge) {
	j.seq = old.seq
	to := moving{judge: j, zones: map[int]int{}, devices: map[int]int{}}
	for i, name := range j.set.Devices {
		for k, was := range old.set.Devices {
			if was == name {
				to.devices[k] = i
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
			at, same := to.devices[b.Device]
			b.Device = at
			if a.Name == b.Name {
				j.zones[i].count = old.zones[k].count // a cause is never used twice
			}
			if !same || a != b {
				continue
			}
			to.zones[k] = i
			z := old.zones[k]
			for t := range z.open {
				z.open[t], z.named[t] = -1, 0
			}
			z.crossed = false
			z.memory.set = &j.set.Zones[i]
			j.zones[i] = z
		}
	}
	to.sky(old)
	for _, f := range old.open {
		if to.move(&f) {
			j.stands(f)
		}
	}
	for _, f := range old.changes {
		if to.move(&f) {
			j.changes = append(j.changes, f)
		}
	}
	for _, c := range old.crossings {
		pair, ok := to.moveZones([]int{c.a, c.b})
		if !ok {
			continue
		}
		c.a, c.b = pair[0], pair[1]
		j.crossings = append(j.crossings, c)
		if c.open {
			j.zones[c.a].crossed, j.zones[c.b].crossed = true, true
		}
	}
}

// stands puts a finding that was taken over among those that stand, and notes it where it is about.
func (j *Judge) stands(f Finding) {
	at := len(j.open)
	j.open = append(j.open, f)
	switch {
	case f.ID == PointsStale:
		j.devices[f.Device].stale.open = at
	case f.Device >= 0:
		j.devices[f.Device].open = at
	case sensorFinding(f.ID):
		for _, i := range j.sensorsOf(&f) {
			j.sensors[i].open = at
		}
	default:
		e := explanationOf(f.ID)
		for _, i := range f.Zones {
			z := &j.zones[i]
			z.open[explanations[e].track], z.named[explanations[e].track] = at, int8(e)
		}
	}
}

// sensorFinding says whether a finding is one of daylight sensors.
func sensorFinding(id ID) bool { return slices.Contains(sensorIDs[:], id) }

// moving says where the zones and devices of another judge are in this one: index there to index here.
type moving struct {
	judge          *Judge
	zones, devices map[int]int
	sensors        []int // those here that were taken over
}

// move makes a finding of the other judge one of this: about those of its zones or sensors that are the same (zones that are
// crossed, where both are), or about the same device with the zones that it has now. It is false where that leaves nothing.
func (p *moving) move(f *Finding) (ok bool) {
	switch {
	case sensorFinding(f.ID):
		old := f.Zones
		f.Zones = nil
		for _, k := range old {
			if at, ok := p.zones[k]; ok && slices.Contains(p.sensors, p.judge.sensorOf[at]) {
				f.Zones = append(f.Zones, at)
			}
		}
		slices.Sort(f.Zones)
		return len(f.Zones) > 0
	case f.ID == ZonesCrossed:
		f.Zones, ok = p.moveZones(f.Zones)
		return ok
	case f.Device < 0:
		old := f.Zones
		f.Zones = nil
		for _, k := range old {
			if at, ok := p.zones[k]; ok {
				f.Zones = append(f.Zones, at)
			}
		}
		slices.Sort(f.Zones)
		return len(f.Zones) > 0
	}
	at, ok := p.devices[f.Device]
	if !ok {
		return false
	}
	f.Device, f.Zones = at, slices.Clone(p.judge.zonesOf(at))
	p.judge.describe(f, nil)
	return true
}

func (p *moving) moveZones(old []int) (list []int, ok bool) {
	for _, k := range old {
		at, ok := p.zones[k]
		if !ok {
			return nil, false
		}
		list = append(list, at)
	}
	slices.Sort(list)
	return list, true
}

// sky takes over what is known of the sky, where the place is the same, and of the sensors that are.
func (p *moving) sky(old *Judge) {
	j := p.judge
	if k := old.sky; k.placed == j.sky.placed && k.latitude == j.sky.latitude && k.longitude == j.sky.longitude {
		k.offset = j.sky.offset
		j.sky = k
	}
	for k := range old.set.Sensors {
		was := &old.set.Sensors[k]
		for i := range j.set.Sensors {
			now := &j.set.Sensors[i]
			if old.set.Zones[was.Zones[0]].Name == j.set.Zones[now.Zones[0]].Name {
				j.sensors[i].count = max(j.sensors[i].count, old.sensors[k].count) // a cause is never used twice
			}
			device, same := p.devices[was.Device]
			same = same && device == now.Device && len(was.Zones) == len(now.Zones)
			for _, z := range was.Zones {
				at, there := p.zones[z]
				same = same && there && slices.Contains(now.Zones, at)
			}
			if same {
				s := old.sensors[k]
				s.open, s.h, s.loop = -1, j.sensors[i].h, j.sensors[i].loop
				j.sensors[i] = s
				p.sensors = append(p.sensors, i)
			}
		}
	}
}
