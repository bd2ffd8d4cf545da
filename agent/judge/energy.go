package judge

import (
	"dimwatch/agent/config"
	"dimwatch/agent/energy"
	"dimwatch/loops"
)

// Energy is what a zone has used and what it cost; see package energy.
type Energy = energy.Total

// newMeter makes the meter of a zone.
func newMeter(cfg *config.Site, z *config.Zone) energy.Meter {
	return energy.New(energy.Settings{
		RatedPower: z.RatedPower, PowerCurve: z.PowerCurve, Tolerance: z.Judge.Tolerance, Location: cfg.Location,
	})
}

// charge tells the meters which findings stand after a round.
func (s *Site) charge() {
	standing := false
	s.loops.Active(func(loops.Finding) { standing = true })
	if !standing && !s.charged {
		return
	}
	s.charged = standing
	for i := range s.zones {
		s.zones[i].meter.Clear()
	}
	s.loops.Active(func(f loops.Finding) {
		for _, z := range f.Zones {
			s.zones[z].meter.Stands(f.Seq, f.Onset, loops.Catalogue[f.ID].Part)
		}
	})
}

// Cost is what a finding has cost since its onset, in all of its zones: while it stands, and for some time after it ended. It
// must not be called from within Changes.
func (s *Site) Cost(f loops.Finding) (c energy.Cost) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, z := range f.Zones {
		c.Add(s.zones[z].meter.Cost(f.Seq))
	}
	return c
}
