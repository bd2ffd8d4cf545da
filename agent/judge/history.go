package judge

import (
	"math"

	"dimwatch/agent/config"
	"dimwatch/agent/history"
	"dimwatch/loops"
)

// The raw values of a sample of the history lie in the order of config.Role.
const _ = uint(history.Roles-int(config.Roles)) + uint(int(config.Roles)-history.Roles) // they are as many

// noValues is a sample of the history without any value.
var noValues = func() (s history.Sample) {
	for i := range s.Raw {
		s.Raw[i] = float32(math.NaN())
	}
	return s
}()

// remember adds a sample to the history of a zone.
func (z *zone) remember(raw *history.Sample, s *loops.Sample) {
	values := [history.Channels]float64{
		history.Setpoint: s.Setpoint, history.Command: s.Command, history.Feedback: s.Feedback, history.Power: s.Power, history.Daylight: s.Daylight,
	}
	for c, channel := range [history.Channels]loops.Channels{
		history.Setpoint: loops.Setpoint, history.Command: loops.Command, history.Feedback: loops.Feedback,
		history.Power: loops.Power, history.Daylight: loops.Daylight,
	} {
		if s.Has&channel == 0 {
			values[c] = math.NaN()
		}
	}
	z.history.Observe(raw, &values)
}

// Minute is a minute of a zone that is over.
type Minute struct {
	Zone  string
	At    int64  // minutes since 1970
	Value []byte // history.DecodeMinute reads it
}

// Minutes gives the minutes of all zones that are over and not kept yet. The function that comes with them says that they
// are; without it they come again. With all, the minutes that are going on are taken for over, at the end of a program.
func (s *Site) Minutes(all bool) (list []Minute, kept func()) {
	s.mu.Lock()
	defer s.mu.Unlock()
	last := make([]int64, len(s.zones))
	for i := range s.zones {
		if all {
			s.zones[i].history.Close()
		}
		s.zones[i].history.Pending(func(m *history.Minute) {
			list = append(list, Minute{Zone: s.cfg.Zones[i].Name, At: m.At, Value: m.Append(nil)})
			last[i] = m.At
		})
	}
	return list, func() {
		s.mu.Lock()
		defer s.mu.Unlock()
		for i := range s.zones {
			s.zones[i].history.Kept(last[i])
		}
	}
}

// Samples gives the samples of a zone after one time and up to another, in nanoseconds, as far as they are still there:
// encoded as history.DecodeSamples reads them, with the times of the first and the last; nil where there are none.
func (s *Site) Samples(zone int, after, upTo int64) (b []byte, from, to int64) {
	s.mu.Lock()
	defer s.mu.Unlock()
	var w history.Writer
	s.zones[zone].history.Samples(after, upTo, func(x *history.Sample) {
		if w.Bytes == nil {
			from = x.At
		}
		w.Add(x)
		to = x.At
	})
	return w.Bytes, from, to
}

// takeHistory takes over the history of a zone whose points are the same.
func (z *zone) takeHistory(cfg, oldCfg *config.Site, at, oldAt int, old *zone) {
	a, b := &cfg.Zones[at], &oldCfg.Zones[oldAt]
	for role := range a.Points {
		p, q := a.Points[role], b.Points[role]
		if (p == nil) != (q == nil) {
			return
		}
		if p == nil {
			continue
		}
		if p.Where != q.Where || p.Quantity != q.Quantity || p.HasLoop != q.HasLoop || p.Loop != q.Loop || p.Scale != q.Scale ||
			p.Contact != q.Contact || p.Invert != q.Invert ||
			cfg.Devices[p.Device].Name != oldCfg.Devices[q.Device].Name || cfg.Devices[p.Device].Cycle != oldCfg.Devices[q.Device].Cycle {
			return
		}
	}
	z.history = old.history
}
