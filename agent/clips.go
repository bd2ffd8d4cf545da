package main

import (
	"encoding/json"
	"slices"
	"time"

	"dimwatch/agent/config"
	"dimwatch/agent/judge"
	"dimwatch/agent/store"
	"dimwatch/loops"
)

// Clips: what was read around a finding, at full resolution, cut out of the rings of its zones and kept in the store. A clip goes from
// half an hour before the onset to half an hour after the finding was raised, and again from half an hour before it ended
// to half an hour after: the proof of the fault, and that of its repair. What is no longer in the ring is not in the clip.
//
// A clip is kept piece by piece, with the judgement: what was cut is safe, and a program that is killed loses five minutes.

const (
	// clipMargin is how far a clip goes beyond what it is about. Chosen: several settle times and moves of the setpoint on
	// either side; half leaves slow gear unsettled, double doubles what 200 clips take.
	clipMargin = 30 * time.Minute

	// mostClipZones bounds the zones of one clip. Chosen: a device that is lost takes up to dozens of zones with it, which all
	// show the same; 8 zones are 200 KB.
	mostClipZones = 8

	// mostDue bounds the clips that are being cut at one time, for a site on which everything fails at once.
	mostDue = 64
)

// clips are those that are being cut.
type clips struct{ due []*clipping }

type clipping struct {
	cause string
	seq   uint32
	head  []byte // that is still to be kept
	onset int64
	zones []clipZone
	until int64
}

type clipZone struct {
	name  string
	taken int64 // samples up to this time are kept
	cut   int64 // samples up to this time are in the pieces that are being kept
}

// clipHead is what the store has of a clip besides its samples.
type clipHead struct {
	Finding json.RawMessage `json:"finding"` // as in the report of review
	Config  string          `json:"config"`  // for the bundle: see clipText
	Version string          `json:"version"`
}

// note begins the clip of a finding that was raised, or goes on with that of one that has ended.
func (c *clips) note(s *judge.Site, f loops.Finding) error {
	from, until := f.Onset-int64(clipMargin), f.Raised+int64(clipMargin)
	at := slices.IndexFunc(c.due, func(x *clipping) bool { return x.cause == f.Cause && x.seq == uint32(f.Seq) })
	if f.Cleared != 0 && !f.Revised {
		from, until = f.Cleared-int64(clipMargin), f.Cleared+int64(clipMargin)
	}
	if at < 0 {
		c.due = append(c.due, newClip(s.Config(), f, from))
		at = len(c.due) - 1
	}
	x := c.due[at]
	x.until = max(x.until, until)
	var err error
	x.head, err = headOf(s, f)
	if len(c.due) > mostDue {
		c.due = c.due[1:]
	}
	return err
}

func newClip(site *config.Site, f loops.Finding, from int64) *clipping {
	x := &clipping{cause: f.Cause, seq: uint32(f.Seq), onset: f.Onset}
	for _, z := range clipZones(f) {
		x.zones = append(x.zones, clipZone{name: site.Zones[z].Name, taken: from - 1})
	}
	return x
}

func clipZones(f loops.Finding) []int { return f.Zones[:min(len(f.Zones), mostClipZones)] }

func headOf(s *judge.Site, f loops.Finding) ([]byte, error) {
	r := &recording{site: s.Config(), judge: s}
	finding, err := json.Marshal(r.finding(f))
	if err != nil {
		return nil, err
	}
	return json.Marshal(clipHead{Finding: finding, Config: clipText(s.Config(), clipZones(f)), Version: versionText()})
}

// resume goes on with the clips of findings that stand, of which the program that ran before has kept what it had.
func (c *clips) resume(site *config.Site, standing []loops.Finding, now time.Time) {
	for _, f := range standing {
		if until := f.Raised + int64(clipMargin); until > now.UnixNano() && len(c.due) < mostDue {
			x := newClip(site, f, now.UnixNano()+1)
			x.until = until
			c.due = append(c.due, x)
		}
	}
}

// cut gives what there is to keep of all clips. The function that comes with it says that it is kept.
func (c *clips) cut(s *judge.Site, now time.Time) (pieces []store.Piece, kept func()) {
	site := s.Config()
	for _, x := range c.due {
		if x.head != nil {
			pieces = append(pieces, store.Piece{Cause: x.cause, Seq: x.seq, From: x.onset, Value: x.head})
		}
		for i := range x.zones {
			z := &x.zones[i]
			z.cut = z.taken
			at := slices.IndexFunc(site.Zones, func(o config.Zone) bool { return o.Name == z.name })
			if at < 0 {
				continue // a reload has removed it
			}
			b, from, to := s.Samples(at, z.taken, min(x.until, now.UnixNano()))
			if b == nil {
				continue
			}
			z.cut = to
			pieces = append(pieces, store.Piece{Cause: x.cause, Seq: x.seq, From: from, Zone: z.name, Value: b})
		}
	}
	return pieces, func() {
		for _, x := range c.due {
			x.head = nil
			for i := range x.zones {
				x.zones[i].taken = x.zones[i].cut
			}
		}
		c.due = slices.DeleteFunc(c.due, func(x *clipping) bool { return now.UnixNano() > x.until })
	}
}

// clipText is the configuration of a clip of some zones. Zones whose feedback is on one device are sampled together, so
// their columns lie in one file.
func clipText(site *config.Site, zones []int) string {
	t := trendText{site: site, zones: zones}
	home := func(zone int) int { return site.Zones[zone].Points[config.Feedback].Device }
	var homes []int
	for _, z := range zones {
		if !slices.Contains(homes, home(z)) {
			homes = append(homes, home(z))
		}
	}
	for _, i := range homes {
		d := &site.Devices[i]
		file := "trend.csv.gz"
		if len(homes) > 1 {
			file = d.Name + ".csv.gz"
		}
		t.devices = append(t.devices, trendDevice{d.Name, file, d.Cycle})
	}
	t.own = func(z *config.Zone) string { return site.Devices[z.Points[config.Feedback].Device].Name }
	t.column = func(p *config.Point) (device, column string) {
		for _, z := range zones { // a point that several zones share is one column, as it was one reading
			for role, o := range site.Zones[z].Points {
				if o != nil && home(z) == home(p.Zone) && o.Device == p.Device && o.Index == p.Index {
					return site.Devices[home(z)].Name, site.Zones[z].Name + "_" + config.Role(role).String()
				}
			}
		}
		return "", ""
	}
	return t.String()
}
