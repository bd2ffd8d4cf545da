// Package judge turns readings into samples, has them judged, and keeps the findings. It is the one place where polls of
// several devices, a scrape and a reload meet, and holds the one lock.
package judge

import (
	"math"
	"slices"
	"sync"
	"time"

	"dimwatch/agent/config"
	"dimwatch/agent/energy"
	"dimwatch/agent/history"
	"dimwatch/drivers"
	"dimwatch/loops"
)

// freshCycles is how old a reading may be, in cycles of its device, before it is stale and no longer used.
const freshCycles = 2.5

// Poll is what one poll of a device gave: its readings, or the reason why there are none.
type Poll struct {
	Device   int // index in the site's devices
	Readings []drivers.Reading
	Err      error
}

// Site judges one site. Its methods may be called from any goroutine.
type Site struct {
	mu       sync.Mutex
	cfg      *config.Site
	loops    *loops.Judge
	devices  []device
	zones    []zone
	byDevice [][]int // zones whose feedback comes from a device
	raised   map[loops.ID]uint64
	charged  bool // a finding stood after the last round
	from, to time.Time
}

// device is what is known of a device's points.
type device struct {
	last   []drivers.Reading // the newest good reading of each point
	now    []drivers.Reading // as the last poll gave them
	err    error
	at     time.Time
	polled bool
	fresh  time.Duration
}

// zone is what is kept of a zone beside its judgement.
type zone struct {
	sample  loops.Sample
	meter   energy.Meter
	history *history.Zone
}

// New makes a judge of a site that has seen nothing.
func New(cfg *config.Site) *Site {
	s := &Site{
		cfg: cfg, devices: make([]device, len(cfg.Devices)), zones: make([]zone, len(cfg.Zones)),
		byDevice: make([][]int, len(cfg.Devices)), raised: map[loops.ID]uint64{},
	}
	_, offset := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC).In(cfg.Location).Zone() // any day: it only says where days begin
	set := loops.Settings{
		Uses: uses(cfg), Sensors: sensors(cfg),
		Placed: cfg.HasPlace, Latitude: cfg.Latitude, Longitude: cfg.Longitude, UTCOffset: float64(offset),
	}
	for i := range cfg.Devices {
		d := &cfg.Devices[i]
		set.Devices = append(set.Devices, d.Name)
		s.devices[i] = device{
			last: make([]drivers.Reading, len(d.Points)), now: make([]drivers.Reading, len(d.Points)),
			fresh: time.Duration(freshCycles * float64(d.Cycle)),
		}
	}
	for i := range cfg.Zones {
		z := &cfg.Zones[i]
		set.Zones = append(set.Zones, settings(cfg, z))
		s.zones[i].meter = newMeter(cfg, z)
		d := z.Points[config.Feedback].Device
		s.zones[i].history = history.NewZone(cfg.Devices[d].Cycle)
		s.byDevice[d] = append(s.byDevice[d], i)
	}
	s.loops = loops.New(set)
	return s
}

// Resume takes over from another judge what it knows of the zones and devices that are the same in both, and the energy of
// zones that have the same name. It is for a configuration that is read again, and comes before the first poll.
func (s *Site) Resume(old *Site) {
	old.mu.Lock()
	defer old.mu.Unlock()
	s.mu.Lock()
	defer s.mu.Unlock()
	s.loops.Resume(old.loops)
	s.charged = true
	for id, n := range old.raised {
		s.raised[id] = n
	}
	for i := range s.cfg.Zones {
		for k := range old.cfg.Zones {
			if s.cfg.Zones[i].Name == old.cfg.Zones[k].Name {
				s.zones[i].meter.Resume(&old.zones[k].meter)
				s.zones[i].takeHistory(s.cfg, old.cfg, i, k, &old.zones[k])
			}
		}
	}
}

// uses lists, for each device, the zones that have a point there.
func uses(cfg *config.Site) [][]int {
	list := make([][]int, len(cfg.Devices))
	for i := range cfg.Zones {
		for _, p := range cfg.Zones[i].Points {
			if p != nil && !slices.Contains(list[p.Device], i) {
				list[p.Device] = append(list[p.Device], i)
			}
		}
	}
	return list
}

// sensors lists the daylight sensors: points that are read from the same place are one.
func sensors(cfg *config.Site) []loops.SensorSettings {
	var list []loops.SensorSettings
	var points []*config.Point
	for i := range cfg.Zones {
		p := cfg.Zones[i].Points[config.Daylight]
		if p == nil {
			continue
		}
		same := func(o *config.Point) bool {
			return o.Device == p.Device && (o.Index == p.Index || o.Where == p.Where && p.Where != "")
		}
		if k := slices.IndexFunc(points, same); k >= 0 {
			list[k].Zones = append(list[k].Zones, i)
			continue
		}
		points = append(points, p)
		list = append(list, loops.SensorSettings{Device: p.Device, Zones: []int{i}})
	}
	return list
}

// Channels are the channels that a zone's points give.
func Channels(cfg *config.Site, z *config.Zone) loops.Channels {
	var has loops.Channels
	for role, c := range [config.Roles]loops.Channels{
		config.Setpoint: loops.Setpoint, config.Command: loops.Command, config.Feedback: loops.Feedback,
		config.Power: loops.Power, config.Daylight: loops.Daylight,
	} {
		if z.Points[role] != nil {
			has |= c
		}
	}
	if p := z.Points[config.Feedback]; p != nil && p.HasLoop {
		has |= loops.FeedbackLoop
	}
	if p := z.Points[config.Daylight]; p != nil && p.HasLoop {
		has |= loops.DaylightLoop
	}
	switch p := z.Points[config.Lit]; {
	case p == nil:
	case p.Contact:
		has |= loops.Contact
	default:
		has |= loops.Order
	}
	if cfg.Hours.Given {
		has |= loops.Hours
	}
	if cfg.HasPlace {
		has |= loops.Sun
	}
	return has
}

func settings(cfg *config.Site, z *config.Zone) loops.ZoneSettings {
	cycle := max(cfg.Devices[z.Points[config.Feedback].Device].Cycle, cfg.Devices[z.Points[config.Command].Device].Cycle)
	return loops.ZoneSettings{
		Name: z.Name, Device: z.Device, Has: Channels(cfg, z),
		Duty:         z.Points[config.Command].Quantity == config.Duty,
		CycleSeconds: cycle.Seconds(),
		Tolerance:    z.Judge.Tolerance, SettleSeconds: z.Judge.Settle.Seconds(), FalseFindings: z.Judge.FalseFindings,
		RatedPower: z.RatedPower, Ballasts: z.Ballasts, TapGear: z.TapGear, OutOfService: z.OutOfService,
	}
}

// Take takes what polls at a time gave: one poll of a running daemon, or all those of one row of a recording. The zones
// whose feedback came are weighed, each with the newest values of its other points.
func (s *Site) Take(now time.Time, polls []Poll) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.from.IsZero() {
		s.from = now
	}
	s.to = now
	at := now.UnixNano()
	for i := range polls {
		p := &polls[i]
		changed, points := s.keep(now, p)
		s.loops.Answered(p.Device, at, p.Err == nil)
		s.loops.Compared(p.Device, changed, points)
	}
	open, known := s.cfg.Hours.Asked(now, s.cfg.Location)
	for i := range polls {
		for _, z := range s.byDevice[polls[i].Device] {
			// Of a device that does not answer there is a sample all the same, without its values: the time goes by unjudged.
			raw := noValues
			sample := s.sample(z, now, open, known, &raw)
			s.zones[z].remember(&raw, &sample)
			s.zones[z].meter.Observe(&sample)
			s.zones[z].sample = sample
			if !s.waits(z, now) {
				s.loops.Observe(z, &sample)
			}
		}
	}
	s.loops.EndRound(at)
	s.charge()
}

// waits says whether a zone's command is polled more seldom than its feedback, from another device, and is older than the
// feedback before: it may have moved since, and what the pair does is not held against an old one.
func (s *Site) waits(zone int, now time.Time) bool {
	points := &s.cfg.Zones[zone].Points
	command, feedback := points[config.Command], points[config.Feedback]
	if command.Device == feedback.Device {
		return false
	}
	r, ok := s.reading(command, now, false)
	return ok && now.Sub(r.At) > s.cfg.Devices[feedback.Device].Cycle
}

// keep stores what one poll gave, and counts the points that it could read and the one before it that it could as well, and
// those of them that changed, to the last bit.
func (s *Site) keep(now time.Time, p *Poll) (changed, points int) {
	d := &s.devices[p.Device]
	d.at, d.err, d.polled = now, p.Err, true
	for i := range d.now {
		if p.Err != nil {
			d.now[i] = drivers.Reading{At: now, Reason: "the device did not answer"}
			continue
		}
		d.now[i] = p.Readings[i]
		if p.Readings[i].Quality != drivers.Good {
			continue
		}
		if d.last[i].Quality == drivers.Good {
			points++
			if math.Float64bits(d.last[i].Value) != math.Float64bits(p.Readings[i].Value) {
				changed++
			}
		}
		d.last[i] = p.Readings[i]
	}
	return changed, points
}

// reading gives the newest good reading of a point that is still fresh; with only, it must be of the newest poll.
func (s *Site) reading(p *config.Point, now time.Time, only bool) (drivers.Reading, bool) {
	d := &s.devices[p.Device]
	if only {
		r := d.now[p.Index]
		return r, r.Quality == drivers.Good
	}
	r := d.last[p.Index]
	return r, r.Quality == drivers.Good && now.Sub(r.At) <= d.fresh
}

// sample makes a zone's sample, and notes what it is made of as it was read. The feedback has to be of this very poll: a
// value that is shown again is no news.
func (s *Site) sample(zone int, now time.Time, open, known bool, raw *history.Sample) loops.Sample {
	z := &s.cfg.Zones[zone]
	raw.At = now.UnixNano()
	out := loops.Sample{At: now.UnixNano(), Open: open}
	if known {
		out.Has = loops.Hours
	}
	for role, p := range z.Points {
		if p == nil {
			continue
		}
		r, ok := s.reading(p, now, config.Role(role) == config.Feedback)
		if !ok {
			continue
		}
		raw.Raw[role] = float32(r.Value)
		v := p.Scaled(r.Value)
		switch config.Role(role) {
		case config.Setpoint:
			out.Setpoint, out.Has = v.Level, out.Has|loops.Setpoint
		case config.Command:
			out.Command, out.Has = v.Level, out.Has|loops.Command
		case config.Feedback:
			out.Feedback, out.Has = v.Level, out.Has|loops.Feedback
			if p.HasLoop {
				out.FeedbackMilliamps, out.Has = v.Milliamps, out.Has|loops.FeedbackLoop
			}
		case config.Power:
			out.Power, out.Has = v.Value, out.Has|loops.Power
		case config.Daylight:
			out.Daylight, out.Has = v.Value, out.Has|loops.Daylight
			if p.HasLoop {
				out.DaylightMilliamps, out.Has = v.Milliamps, out.Has|loops.DaylightLoop
			}
		case config.Lit:
			if p.Contact {
				out.Contact, out.Has = v.Value != 0, out.Has|loops.Contact
			} else {
				out.Order, out.Has = v.Value != 0, out.Has|loops.Order
			}
		}
	}
	return out
}

// Changes calls f with every finding that was raised, renamed or ended since the last call, in that order; a finding comes
// again, with the same Seq, when it ends. f must not call back.
func (s *Site) Changes(f func(loops.Finding)) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.loops.Changes(func(c loops.Finding) {
		if c.Cleared == 0 {
			s.raised[c.ID]++
		}
		f(c)
	})
}

// Zone is how a zone stands.
type Zone struct {
	Config   *config.Zone
	Sample   loops.Sample // the newest
	State    loops.ZoneState
	Energy   Energy
	Baseline *energy.Baseline // how well its daylight curve is known, nil where it is not
	Stale    bool             // its device has not answered lately: the sample says nothing about now
}

// Device is how a device stands.
type Device struct {
	Config   *config.Device
	Polled   bool
	At       time.Time // of the last poll
	Err      error     // of the last poll
	Readings []drivers.Reading
}

// Snapshot is a copy of how the site stands.
type Snapshot struct {
	Site     *config.Site
	From, To time.Time // first and last poll
	Zones    []Zone
	Devices  []Device
	Findings []loops.Finding // that stand, oldest first
	Raised   map[loops.ID]uint64
}

// Snapshot copies how the site stands.
func (s *Site) Snapshot() Snapshot {
	s.mu.Lock()
	defer s.mu.Unlock()
	out := Snapshot{Site: s.cfg, From: s.from, To: s.to, Raised: map[loops.ID]uint64{}}
	for id, n := range s.raised {
		out.Raised[id] = n
	}
	for i := range s.devices {
		d := &s.devices[i]
		out.Devices = append(out.Devices, Device{
			Config: &s.cfg.Devices[i], Polled: d.polled, At: d.at, Err: d.err, Readings: slices.Clone(d.now),
		})
	}
	for i := range s.zones {
		z := &s.cfg.Zones[i]
		d := &s.devices[z.Points[config.Feedback].Device]
		out.Zones = append(out.Zones, Zone{
			Config: z, Sample: s.zones[i].sample, State: s.loops.State(i), Energy: s.zones[i].meter.Total(), Baseline: s.zones[i].meter.Baseline(),
			Stale: d.err != nil || !d.polled,
		})
	}
	s.loops.Active(func(f loops.Finding) { out.Findings = append(out.Findings, f) })
	return out
}
