package judge

import (
	"bytes"
	"encoding/gob"
	"errors"
	"fmt"
	"time"

	"dimwatch/agent/config"
	"dimwatch/agent/energy"
	"dimwatch/drivers"
	"dimwatch/loops"
)

// State is what of a site has to survive a restart, as bytes for Restore. It comes in three records: energy is small and grows
// all the time, the judgement is large and seldom worth a write, and the meters are larger still and change with the hour.
type State struct {
	Judgement []byte // nil where it was not asked for
	Meters    []byte // nor this
	Energy    []byte

	Counters Counters // as these records have them
}

// Counters are what only grows. A scrape that shows them as they were last kept never sees them fall, not even after
// the program was killed.
type Counters struct {
	Energy map[string]Energy   // by zone
	Raised map[loops.ID]uint64 // nil where the judgement was not asked for
}

// keptJudgement is the record of the judgement: an encoding/gob value, so that fields that are not there any more, or not
// yet, are left alone.
type keptJudgement struct {
	Loops    []byte            // of loops.Judge
	Raised   map[string]uint64 // by the finding's name
	From, To time.Time
	Readings map[string]drivers.Reading // the newest good one of each point
}

// The record of the meters has an energy.State by the zone's name, that of energy the counters alone.

// Save gives the state of the site. It changes nothing; findings that Changes has not told yet are part of it.
func (s *Site) Save() (State, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	k := keptJudgement{Loops: s.loops.Save(), Raised: map[string]uint64{}, From: s.from, To: s.to, Readings: map[string]drivers.Reading{}}
	state, err := s.saveEnergy()
	if err != nil {
		return state, err
	}
	state.Counters.Raised = map[loops.ID]uint64{}
	for id, n := range s.raised {
		k.Raised[id.String()], state.Counters.Raised[id] = n, n
	}
	s.points(func(name string, r *drivers.Reading) {
		if r.Quality == drivers.Good {
			k.Readings[name] = *r
		}
	})
	meters := map[string]energy.State{}
	for i := range s.zones {
		meters[s.cfg.Zones[i].Name] = s.zones[i].meter.State()
	}
	if state.Meters, err = encode(meters); err != nil {
		return state, err
	}
	state.Judgement, err = encode(k)
	return state, err
}

// SaveEnergy gives the energy alone.
func (s *Site) SaveEnergy() (State, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.saveEnergy()
}

func (s *Site) saveEnergy() (state State, err error) {
	kept := map[string]energy.Counters{}
	state.Counters.Energy = map[string]Energy{}
	for i := range s.zones {
		m, name := &s.zones[i].meter, s.cfg.Zones[i].Name
		kept[name] = m.State().Counters
		state.Counters.Energy[name] = m.Total()
	}
	state.Energy, err = encode(kept)
	return state, err
}

// Restore takes over what Save has given: of zones and devices that are the same as then, and the energy of zones of the
// same name. It comes before the first poll. A record that cannot be read is named by the error and not taken; the
// other is.
func (s *Site) Restore(state State) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	return errors.Join(s.restoreMeters(state.Meters), s.restoreEnergy(state.Energy), s.restoreJudgement(state.Judgement))
}

func (s *Site) restoreMeters(record []byte) error {
	if len(record) == 0 {
		return nil
	}
	var kept map[string]energy.State
	if err := decode(record, &kept); err != nil {
		return fmt.Errorf("meters: %w", err)
	}
	for i := range s.zones {
		if st, ok := kept[s.cfg.Zones[i].Name]; ok {
			s.zones[i].meter.Restore(st)
		}
	}
	s.charged = true // what stood is told anew
	return nil
}

// restoreEnergy takes over counters, which may be newer than the meters.
func (s *Site) restoreEnergy(record []byte) error {
	if len(record) == 0 {
		return nil
	}
	var kept map[string]energy.Counters
	if err := decode(record, &kept); err != nil {
		return fmt.Errorf("energy: %w", err)
	}
	for i := range s.zones {
		if c, ok := kept[s.cfg.Zones[i].Name]; ok {
			s.zones[i].meter.Restore(energy.State{Counters: c})
		}
	}
	return nil
}

func (s *Site) restoreJudgement(record []byte) error {
	if len(record) == 0 {
		return nil
	}
	var k keptJudgement
	if err := decode(record, &k); err != nil {
		return fmt.Errorf("judgement: %w", err)
	}
	if err := s.loops.Restore(k.Loops); err != nil {
		return fmt.Errorf("judgement: %w", err)
	}
	for name, n := range k.Raised {
		if id, ok := loops.Parse(name); ok {
			s.raised[id] = n
		}
	}
	s.from, s.to = k.From, k.To
	s.points(func(name string, r *drivers.Reading) {
		if was, ok := k.Readings[name]; ok {
			*r = was
		}
	})
	return nil
}

// points calls f with the name and the newest good reading of every point. The name says whose it is and where it is read:
// a point that has moved is another one.
func (s *Site) points(f func(name string, r *drivers.Reading)) {
	for i := range s.cfg.Zones {
		z := &s.cfg.Zones[i]
		for role, p := range z.Points {
			if p != nil {
				f(z.Name+" "+config.Role(role).String()+" "+s.cfg.Devices[p.Device].Name+" "+p.Where, &s.devices[p.Device].last[p.Index])
			}
		}
	}
}

// Config is the configuration of the site.
func (s *Site) Config() *config.Site { return s.cfg }

// Pending says whether Changes has anything to tell.
func (s *Site) Pending() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.loops.Pending()
}

// Hold shows the counters as they were kept.
func (s *Snapshot) Hold(c Counters) {
	for i := range s.Zones {
		s.Zones[i].Energy = c.Energy[s.Zones[i].Config.Name]
	}
	s.Raised = c.Raised
}

func encode(v any) ([]byte, error) {
	var b bytes.Buffer
	err := gob.NewEncoder(&b).Encode(v)
	return b.Bytes(), err
}

func decode(b []byte, v any) error { return gob.NewDecoder(bytes.NewReader(b)).Decode(v) }
