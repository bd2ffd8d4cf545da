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

// EnergyState gives what the meters remember, by the name of the zone; EnergySaved tells that it is on disk.
func (s *Site) EnergyState() map[string]energy.State {
	s.mu.Lock()
	defer s.mu.Unlock()
	out := map[string]energy.State{}
	for i := range s.zones {
		out[s.cfg.Zones[i].Name] = s.zones[i].meter.State()
	}
	return out
}

// EnergySaved tells that what EnergyState gave last is on disk. From the first call on snapshots show the counters that are on
// disk, so that they never go back at a restart.
func (s *Site) EnergySaved() {
	s.mu.Lock()
	defer s.mu.Unlock()
	for i := range s.zones {
		s.zones[i].meter.Saved()
	}
}

// RestoreEnergy takes over what EnergyState gave, of the zones that there are. Findings are known by their Seq, so it goes with
// the same state of the judgement.
func (s *Site) RestoreEnergy(states map[string]energy.State) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for i := range s.zones {
		if st, ok := states[s.cfg.Zones[i].Name]; ok {
			s.zones[i].meter.Restore(st)
		}
	}
	s.charged = true // what stood is told anew
}
