package main

import (
	"cmp"
	"slices"

	"dimwatch/loops"
)

// incident is one cause as a report shows it: however often it was renamed, it is one thing to a person.
type incident struct {
	named  []loops.Finding // what it was called, in that order: the last is what it is called now
	before []incident      // earlier ones of the same finding in the same place, newest first
	beside []int           // zones in which the same began at the same time
	lost   []int           // devices that were lost at the same time
}

// now is the finding that it is called by.
func (c *incident) now() *loops.Finding { return &c.named[len(c.named)-1] }

func (c *incident) stands() bool { return c.now().Cleared == 0 }

// onset is when its first effect showed, under whatever name.
func (c *incident) onset() int64 {
	at := c.named[0].Onset
	for i := range c.named {
		at = min(at, c.named[i].Onset)
	}
	return at
}

// raised is when it was first sure that something is wrong.
func (c *incident) raised() int64 { return c.named[0].Raised }

// incidents makes one entry of each cause: revisions are joined, and what came again in the same place is put under its newest.
// The findings come in the order in which they were made. What stands comes first, then what is worse, then what is older:
// a person at a desk reads from the top and stops somewhere.
func incidents(findings []loops.Finding) []incident {
	list := repeats(joined(findings))
	for i := range list {
		if list[i].now().ID == loops.DeviceLost {
			list[i].lost = lostWith(list, i)
			continue
		}
		list[i].beside = besides(list, i)
	}
	slices.SortStableFunc(list, func(a, b incident) int { return a.rank(&b) })
	return list
}

// rank orders incidents: below 0 where a comes first.
func (c *incident) rank(o *incident) int {
	if c.stands() != o.stands() {
		return map[bool]int{true: -1, false: 1}[c.stands()]
	}
	return cmp.Or(cmp.Compare(severity(c.now()), severity(o.now())), cmp.Compare(c.onset(), o.onset()), cmp.Compare(c.now().Seq, o.now().Seq))
}

// severity is 0 for the worst.
func severity(f *loops.Finding) int {
	return slices.Index([]string{"urgent", "high", "medium", "low"}, loops.Catalogue[f.ID].Severity)
}

// joined puts together the findings of one cause. One that was revised without a successor of its own cause went into the
// finding that was made of it and others at that time, as two zones that turn out to be crossed.
func joined(findings []loops.Finding) []incident {
	var list []incident
	for _, f := range findings {
		at := slices.IndexFunc(list, func(c incident) bool { return c.now().Cause == f.Cause })
		if at < 0 {
			list = append(list, incident{})
			at = len(list) - 1
		}
		list[at].named = append(list[at].named, f)
	}
	for i := 0; i < len(list); i++ {
		last := list[i].now()
		if !last.Revised {
			continue
		}
		into := slices.IndexFunc(list, func(c incident) bool {
			return c.now().Cause != last.Cause && slices.ContainsFunc(c.named, func(f loops.Finding) bool {
				return f.Raised == last.Cleared && slices.ContainsFunc(f.Zones, func(z int) bool { return slices.Contains(last.Zones, z) })
			})
		})
		if into < 0 {
			continue
		}
		list[into].named = append(list[into].named, list[i].named...)
		slices.SortFunc(list[into].named, func(a, b loops.Finding) int { return cmp.Compare(a.Seq, b.Seq) })
		list = slices.Delete(list, i, i+1)
		i--
	}
	return list
}

// repeats puts what came again in the same place under its newest.
func repeats(list []incident) []incident {
	slices.SortStableFunc(list, func(a, b incident) int { return cmp.Compare(b.raised(), a.raised()) })
	var out []incident
	for _, c := range list {
		same := func(o incident) bool {
			return o.now().ID == c.now().ID && o.now().Device == c.now().Device && slices.Equal(o.now().Zones, c.now().Zones)
		}
		if at := slices.IndexFunc(out, same); at >= 0 {
			out[at].before = append(out[at].before, c)
			continue
		}
		out = append(out, c)
	}
	return out
}

// atOnce is within what time the same has to begin in several zones to be taken for one event, nanoseconds. Chosen: a minute,
// the scan of slow trends; at half, such trends part one event; at double, what two zones show at opening time is joined.
const atOnce = int64(60e9)

// lostWith are the other devices that were lost at the same time: a gateway has often more than one behind it.
func lostWith(list []incident, at int) (devices []int) {
	f := list[at].now()
	for i := range list {
		o := list[i].now()
		if o.ID == loops.DeviceLost && o.Device != f.Device && list[at].atOnce(&list[i]) {
			devices = append(devices, o.Device)
		}
	}
	return devices
}

func (c *incident) atOnce(o *incident) bool {
	apart := o.onset() - c.onset()
	return -atOnce <= apart && apart <= atOnce
}

// besides are the other zones in which the same began at the same time: one cause may be behind it.
func besides(list []incident, at int) (zones []int) {
	c := &list[at]
	for i := range list {
		o := &list[i]
		if i == at || o.now().ID != c.now().ID || !c.atOnce(o) {
			continue
		}
		for _, z := range o.now().Zones {
			if !slices.Contains(c.now().Zones, z) && !slices.Contains(zones, z) {
				zones = append(zones, z)
			}
		}
	}
	return zones
}
