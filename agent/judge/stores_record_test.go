package judge_test

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"dimwatch/agent/config"
	"dimwatch/agent/judge"
	"dimwatch/drivers"
	"dimwatch/loops"
)

// recording is what the polls of a store gave.
type recording struct {
	store *storeModel
	cfg   *config.Site
	polls []recorded
	worst []stretch // by zone: the longest it was off its setpoint while lit
	off   [][]stretch
	trace [][]visible // by zone
}

type recorded struct {
	device int
	at     float64
	values []float64 // NaN: no value; nil: no answer
}

// stretch is a time in which a lit zone was off its setpoint by more than 10 %.
type stretch struct {
	from, to float64
	why      string
}

// visible is a zone as its points showed it, in percent and watts.
type visible struct {
	at                      float64
	setpoint, command, seen float64
	power                   float64
	lit                     bool
}

type slot struct {
	zone int
	role config.Role
}

// configure makes the configuration of a store.
func (s *storeModel) configure() (*config.Site, [][]slot) {
	c := &config.Site{Name: fmt.Sprintf("store-%d", s.seed), HasPlace: s.placed, Latitude: s.lat, Longitude: s.lon, Location: s.loc, Hours: s.hours}
	slots := make([][]slot, len(s.devices))
	for i, d := range s.devices {
		c.Devices = append(c.Devices, config.Device{Name: fmt.Sprintf("device-%d", i), Cycle: time.Duration(d.period * float64(time.Second))})
	}
	for i, z := range s.zones {
		p := &s.points[i]
		out := config.Zone{Name: z.name, Device: p.device, TapGear: z.tx.lift > 0,
			Judge: config.Judge{Tolerance: 10, Settle: time.Duration(p.settle * float64(time.Second)), FalseFindings: 0.001}}
		if p.rated && p.power {
			out.RatedPower = math.Round(z.gear.rated)
		}
		if p.ballasts {
			out.Ballasts = int(z.gear.n)
		}
		add := func(role config.Role, device int, point config.Point) {
			point.Zone, point.Role, point.Device, point.Index = i, role, device, len(slots[device])
			slots[device] = append(slots[device], slot{i, role})
			out.Points[role] = &point
			c.Devices[device].Points = append(c.Devices[device].Points, &point)
		}
		add(config.Setpoint, p.second, p.setpoint.point)
		add(config.Command, p.second, p.command.point)
		add(config.Feedback, p.device, p.feedback.point)
		if p.lit > 0 {
			add(config.Lit, p.second, config.Point{Quantity: config.State, Contact: p.lit == 2})
		}
		if p.power {
			add(config.Power, p.device, p.watts.point)
		}
		if p.daylight {
			add(config.Daylight, p.second, p.lux.point)
		}
		c.Zones = append(c.Zones, out)
	}
	return c, slots
}

// raw gives the number that travels for a value in the point's unit.
func (c *coding) raw(x float64) float64 {
	if c.point.HasLoop {
		x = (x - c.point.Scale.Offset) / c.point.Scale.Gain // to mA
		x = (x - c.point.Loop.Offset) / c.point.Loop.Gain
	} else {
		x = (x - c.point.Scale.Offset) / c.point.Scale.Gain
	}
	return min(c.high, max(c.low, math.Round(x/c.quantum)*c.quantum))
}

// reading is one value of a zone as the controller gives it out now.
func (z *zoneModel) reading(p *zonePoints, role config.Role, r *rand.Rand) float64 {
	var c *coding
	var x float64
	switch role {
	case config.Setpoint:
		c, x = &p.setpoint, z.setpoint
		if c.point.Quantity == config.Volts {
			x /= 10
		}
	case config.Command:
		c, x = &p.command, z.command
		if c.point.Quantity == config.Volts {
			x /= 10
		}
	case config.Feedback:
		c = &p.feedback
		mA := z.milliamps
		if z.wires == 2 && z.fault.is(z.t) && z.peer != nil {
			mA = z.peer.milliamps
		}
		switch {
		case c.point.HasLoop:
			return min(c.high, max(c.low, math.Round((mA-c.point.Loop.Offset)/c.point.Loop.Gain/c.quantum)*c.quantum))
		case c.point.Quantity == config.Volts:
			x = (mA - 4) / 1.6
		default:
			x = (mA - 4) / 0.16
		}
		return min(c.high, max(c.low, math.Round(x/c.quantum)*c.quantum))
	case config.Lit:
		lit := z.on
		if p.lit == 2 && z.fault.is(z.t) && z.fault.id == loops.CircuitOff && z.fault.variant == 0 {
			lit = false // the contact lies behind the breaker
		}
		if lit {
			return 1
		}
		return 0
	case config.Power:
		c, x = &p.watts, z.meter
	case config.Daylight:
		c = &p.lux
		mA := z.sensed()
		if !z.sen.heldActive {
			mA = min(max(z.sen.top, mA), mA+16*z.sen.lux/z.sen.span*z.sen.noise*r.NormFloat64())
		}
		if c.point.HasLoop {
			return min(c.high, max(c.low, math.Round((mA-c.point.Loop.Offset)/c.point.Loop.Gain/c.quantum)*c.quantum))
		}
		x = max(0, (mA-4)/16*z.sen.span)
	}
	return c.raw(x)
}

// record runs a store and polls it.
func (s *storeModel) record() *recording {
	cfg, slots := s.configure()
	rec := &recording{store: s, cfg: cfg, trace: make([][]visible, len(s.zones)), off: make([][]stretch, len(s.zones)), worst: make([]stretch, len(s.zones))}
	r := rand.New(rand.NewPCG(s.seed, 5))
	type due struct {
		at     float64
		device int
	}
	var list []due
	end := 86400 * float64(s.days)
	for i, d := range s.devices {
		for k := 0; ; k++ {
			at := d.phase + float64(k)*d.period + d.jitter*r.Float64()
			if at >= end {
				break
			}
			list = append(list, due{at, i})
		}
	}
	slices.SortStableFunc(list, func(a, b due) int {
		switch {
		case a.at < b.at:
			return -1
		case a.at > b.at:
			return 1
		}
		return 0
	})
	past := make([][][]float64, len(s.devices)) // values of the polls before, for what comes late
	last := make([][]float64, len(s.devices))
	gap := func(list []interval, at float64) bool {
		for _, g := range list {
			if at >= g.from && at < g.to {
				return true
			}
		}
		return false
	}
	meter := make([]float64, len(s.zones))
	metered := make([]float64, len(s.zones))
	for _, poll := range list {
		d := &s.devices[poll.device]
		s.advance(poll.at)
		missing, twice := r.Float64() < d.missing, r.Float64() < d.twice
		values := make([]float64, len(slots[poll.device]))
		for k, sl := range slots[poll.device] {
			z, p := s.zones[sl.zone], &s.points[sl.zone]
			x := z.reading(p, sl.role, r)
			if sl.role == config.Power && p.meterEvery > 1 {
				if poll.at-metered[sl.zone] >= p.meterEvery {
					meter[sl.zone], metered[sl.zone] = x, poll.at
				}
				x = meter[sl.zone]
			}
			values[k] = x
		}
		truth := slices.Clone(values)
		past[poll.device] = append(past[poll.device], truth)
		if n := len(past[poll.device]); n > 4 {
			past[poll.device] = past[poll.device][n-4:]
		}
		for k, sl := range slots[poll.device] {
			p := &s.points[sl.zone]
			if h := past[poll.device]; p.late > 0 && sl.role == p.lateRole && len(h) > p.late {
				values[k] = h[len(h)-1-p.late][k]
			}
			if wild, which := r.Float64(), r.IntN(4); wild < p.wild {
				top := map[config.Role]coding{config.Setpoint: p.setpoint, config.Command: p.command, config.Feedback: p.feedback, config.Power: p.watts, config.Daylight: p.lux}[sl.role]
				if sl.role != config.Lit {
					values[k] = []float64{0, top.high, math.NaN(), top.low + (top.high-top.low)*0.37}[which]
				}
			}
		}
		if gap(d.stale, poll.at) && last[poll.device] != nil {
			values = last[poll.device]
		}
		last[poll.device] = values
		switch {
		case missing || gap(d.gaps, poll.at):
			continue
		case gap(d.lost, poll.at):
			values = nil
		}
		rec.polls = append(rec.polls, recorded{poll.device, poll.at, values})
		if twice {
			rec.polls = append(rec.polls, recorded{poll.device, poll.at, values}) // the same row again
		}
		rec.note(poll.device, poll.at)
	}
	return rec
}

// advance runs all zones to a time; those that are crossed go second by second together.
func (s *storeModel) advance(to float64) {
	for _, z := range s.zones {
		if z.peer == nil {
			z.advance(to)
		}
	}
	for {
		moved := false
		for _, z := range s.zones {
			if z.peer != nil && z.t+1 <= to {
				z.advance(z.t + 1)
				moved = true
			}
		}
		if !moved {
			return
		}
	}
}

// note keeps what the zones of a device show, and measures how long they are off their setpoints.
func (rec *recording) note(device int, at float64) {
	for i, z := range rec.store.zones {
		if rec.store.points[i].device != device {
			continue
		}
		level := (z.milliamps - 4) / 0.16
		rec.trace[i] = append(rec.trace[i], visible{at: at, setpoint: z.setpoint, command: z.command, seen: level, power: z.meter, lit: z.fed})
		off := z.fed && math.Abs(level-z.setpoint) > 10
		list := rec.off[i]
		n := len(list)
		switch {
		case off && (n == 0 || list[n-1].to >= 0):
			rec.off[i] = append(list, stretch{from: at, to: -1, why: z.why()})
		case off:
			if w := z.why(); list[n-1].why == "" {
				list[n-1].why = w
			}
		case n > 0 && list[n-1].to < 0:
			list[n-1].to = at
			if list[n-1].to-list[n-1].from > rec.worst[i].to-rec.worst[i].from {
				rec.worst[i] = list[n-1]
			}
		}
	}
}

// why names what holds a zone off its setpoint.
func (z *zoneModel) why() string {
	for _, e := range z.active {
		if e.kind != "demand limit" {
			return e.kind
		}
	}
	for k := max(0, z.evAt-8); k < z.evAt; k++ {
		if e := z.events[k]; z.t-e.to < 2400 {
			return "after " + e.kind
		}
	}
	if z.t-z.onSince < 1800 {
		return "after lighting"
	}
	return ""
}

// state says what a zone does, for a report.
func (rec *recording) state(i int, at float64) string {
	z, p := rec.store.zones[i], &rec.store.points[i]
	out := fmt.Sprintf("%s, %s (gain %.2g rate %.2g db %.2g scan %.3g dark %d), setpoint %s %.0f..%.0f q%.1f tau %.0f; iface floor %.2f lag %.1f backl %.1f rel %v ron*iz %.2f; adc %.3f white %.3f slow %.3f; gear fade %.0f n %.0f voc %.1f iz %.2f warm %.2f; settle %.0f period %.0f/%.0f late %d/%v wild %.5f lit %d power %v day %v meter %.0f W/q%.0f every %.0f other %.3f standby %.3f",
		useNames[p.use], controllerNames[z.ctl.kind], z.ctl.gain, z.ctl.rate, z.ctl.deadband, z.ctl.scan, z.ctl.dark, setpointNames[z.sp.kind], z.sp.least, z.sp.most, z.sp.quantum, z.sp.tau,
		z.itf.floor, z.itf.lag, z.itf.backlash, z.itf.releases, z.itf.ron*z.gear.n*z.gear.source, z.adc, z.tx.white, z.tx.slow, z.gear.fade, z.gear.n, z.gear.voc, z.gear.n*z.gear.source, z.gear.warm,
		p.settle, rec.store.devices[p.device].period, rec.store.devices[p.second].period, p.late, p.lateRole, p.wild, p.lit, p.power, p.daylight, z.gear.rated, p.watts.point.Scale.Gain, p.meterEvery, z.otherLoad, z.gear.standby)
	out += fmt.Sprintf("; hours %v", rec.store.hours.Days[int(rec.store.from.Add(time.Duration(at*1e9)).In(rec.store.loc).Weekday())])
	for k, d := range rec.store.devices {
		for _, g := range d.gaps {
			if (k == p.device || k == p.second) && g.from < at && g.to > at-3*3600 {
				out += fmt.Sprintf("; gap of device %d (%v) %.0f..%.0f min before", k, k == p.device, (at-g.from)/60, (at-g.to)/60)
			}
		}
	}
	for _, e := range z.events {
		if e.from < at && e.to > at-4*3600 {
			out += fmt.Sprintf("; %s %.0f..%.0f min before, %.0f", e.kind, (at-e.from)/60, (at-e.to)/60, e.value)
		}
	}
	for _, l := range z.lit {
		if l.from < at && l.to > at-2*3600 {
			out += fmt.Sprintf("; lit %.0f..%.0f min before (%.0f)", (at-l.from)/60, (at-l.to)/60, l.level)
		}
	}
	k, _ := slices.BinarySearchFunc(rec.trace[i], at, func(v visible, at float64) int {
		if v.at < at {
			return -1
		}
		return 1
	})
	for _, n := range []int{40, 20, 10, 5, 3, 2, 1, 0} {
		if k-n >= 0 && k-n < len(rec.trace[i]) {
			v := rec.trace[i][k-n]
			out += fmt.Sprintf("\n      %6.0f s: S %.1f C %.1f F %.1f P %.0f lit %v", v.at-at, v.setpoint, v.command, v.seen, v.power, v.lit)
		}
	}
	return out
}

// judged has a recording judged and gives all findings as they ended up.
func (rec *recording) judged() []loops.Finding {
	site := judge.New(rec.cfg)
	var list []loops.Finding
	readings := make([][]drivers.Reading, len(rec.cfg.Devices))
	for i, d := range rec.cfg.Devices {
		readings[i] = make([]drivers.Reading, len(d.Points))
	}
	before := math.Inf(-1)
	for k := range rec.polls {
		p := &rec.polls[k]
		if p.at == before && k > 0 && rec.polls[k-1].device == p.device {
			continue // of two rows with one time the first counts
		}
		before = p.at
		now := rec.store.from.Add(time.Duration(p.at * float64(time.Second)))
		poll := judge.Poll{Device: p.device}
		if p.values == nil {
			poll.Err = errors.New("timeout")
		} else {
			out := readings[p.device]
			for i, v := range p.values {
				out[i] = drivers.Reading{At: now, Value: v, Quality: drivers.Good}
				if math.IsNaN(v) {
					out[i] = drivers.Reading{At: now}
				}
			}
			poll.Readings = out
		}
		site.Take(now, []judge.Poll{poll})
		site.Changes(func(f loops.Finding) {
			for i := range list {
				if list[i].Seq == f.Seq {
					list[i] = f
					return
				}
			}
			list = append(list, f)
		})
	}
	return list
}

// since gives a time in seconds since the start of the recording.
func (rec *recording) since(at int64) float64 { return float64(at-rec.store.from.UnixNano()) / 1e9 }
