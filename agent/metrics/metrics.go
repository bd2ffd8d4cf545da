// Package metrics shows how a site stands in the exposition format of Prometheus. Everything is read from a snapshot at the
// scrape: the series of a zone that is gone are gone with it, and what is not known is absent.
package metrics

import (
	"time"

	"dimwatch/agent/judge"
	"dimwatch/agent/poll"
	"dimwatch/loops"

	"github.com/prometheus/client_golang/prometheus"
)

// View is what a scrape shows.
type View struct {
	Site  judge.Snapshot
	Polls []poll.Stats // as Site.Devices
	Kept  Kept
}

// Kept is how keeping the state goes.
type Kept struct {
	Asked    bool      // there is a folder for it; else nothing of it is shown
	OK       bool      // the last commit was good
	Failures uint64    // commits that failed
	At       time.Time // of the last good one
}

// Reload is how the last reload of the configuration went.
type Reload struct {
	OK bool
	At time.Time // of the last one that was good
}

// testedWithin is how long a test of a finding counts.
const testedWithin = 7 * 24 * time.Hour

// zoneMetric is one figure of a zone; ok is false where it is not known.
type zoneMetric struct {
	name, help string
	kind       prometheus.ValueType
	value      func(z *judge.Zone, now time.Time) (x float64, ok bool)
}

const (
	gauge   = prometheus.GaugeValue
	counter = prometheus.CounterValue
)

// zoneMetrics are the figures of a zone, label zone.
var zoneMetrics = []zoneMetric{
	{"dimming_zone_setpoint_ratio", "Level asked for, 1 is full light.", gauge, channel(loops.Setpoint, func(z *judge.Zone) float64 { return z.Sample.Setpoint / 100 })},
	{"dimming_zone_command_ratio", "Level that the controller gives to the interface, 1 is full light.", gauge, channel(loops.Command, func(z *judge.Zone) float64 { return z.Sample.Command / 100 })},
	{"dimming_zone_feedback_ratio", "Level that the interface sees on the pair, 1 is 10 V.", gauge, channel(loops.Feedback, func(z *judge.Zone) float64 { return z.Sample.Feedback / 100 })},
	{"dimming_zone_error_ratio", "Feedback minus setpoint of a zone that is lit.", gauge, func(z *judge.Zone, _ time.Time) (float64, bool) {
		return (z.Sample.Feedback - z.Sample.Setpoint) / 100, shown(z, loops.Setpoint|loops.Feedback) && z.State.LitKnown && z.State.Lit
	}},
	{"dimming_zone_pair_volts", "Voltage of the dimming pair at the interface.", gauge, channel(loops.Feedback, func(z *judge.Zone) float64 { return z.Sample.Feedback / 10 })},
	{"dimming_zone_feedback_amperes", "Current of the feedback's 4..20 mA loop.", gauge, channel(loops.FeedbackLoop, func(z *judge.Zone) float64 { return z.Sample.FeedbackMilliamps / 1000 })},
	{"dimming_zone_power_watts", "Power of the zone.", gauge, channel(loops.Power, func(z *judge.Zone) float64 { return z.Sample.Power })},
	{"dimming_zone_asked", "1 while light is asked for.", gauge, func(z *judge.Zone, _ time.Time) (float64, bool) {
		return bit(z.State.Asked), z.State.AskedKnown && !z.Stale
	}},
	{"dimming_zone_lit", "1 while the gear is fed.", gauge, func(z *judge.Zone, _ time.Time) (float64, bool) {
		return bit(z.State.Lit), z.State.LitKnown && !z.Stale
	}},
	{"dimming_zone_judged", "1 while the zone is judged.", gauge, func(z *judge.Zone, _ time.Time) (float64, bool) {
		return bit(z.State.Judged && !z.Stale), true
	}},
	{"dimming_zone_tested_ratio", "Share of the findings that the zone's points support that could have shown themselves within 7 days.", gauge, tested},
	{"dimming_zone_energy_joules_total", "Energy used by the zone.", counter, energy(func(e *judge.Energy) (float64, bool) { return e.UsedJoules, e.UsedKnown })},
	{"dimming_zone_excess_joules_total", "Energy used beyond what the setpoint asked for.", counter, energy(func(e *judge.Energy) (float64, bool) { return e.ExcessJoules, e.LevelsKnown })},
	{"dimming_zone_avoided_joules_total", "Energy that full output would have used beyond what was used.", counter, energy(func(e *judge.Energy) (float64, bool) { return e.AvoidedJoules, e.LevelsKnown })},
	{"dimming_zone_missed_joules_total", "Energy used for want of a sound setpoint or sensor, by the zone's own daylight curve: an estimate.", counter, energy(func(e *judge.Energy) (float64, bool) { return e.MissedJoules, e.MissedKnown })},
	{"dimming_zone_light_owed_ratio_seconds_total", "Light below the setpoint, and while setpoint or sensor is at fault of the setpoint below the zone's own daylight curve, in shares of full light times seconds.", counter, energy(func(e *judge.Energy) (float64, bool) { return e.LightOwed * 36, e.LightKnown })},
}

// shown says whether the newest sample has channels that can be shown as of now.
func shown(z *judge.Zone, all loops.Channels) bool { return !z.Stale && z.Sample.Has.Has(all) }

func channel(c loops.Channels, f func(*judge.Zone) float64) func(*judge.Zone, time.Time) (float64, bool) {
	return func(z *judge.Zone, _ time.Time) (float64, bool) { return f(z), shown(z, c) }
}

// energy is absent where it is not known.
func energy(f func(*judge.Energy) (float64, bool)) func(*judge.Zone, time.Time) (float64, bool) {
	return func(z *judge.Zone, _ time.Time) (float64, bool) { return f(&z.Energy) }
}

func tested(z *judge.Zone, now time.Time) (float64, bool) {
	supported, n := 0, 0
	for id := loops.None + 1; id < loops.IDs; id++ {
		if !z.State.Supported[id] || loops.Catalogue[id].Needs == 0 {
			continue // a device's finding is no zone's
		}
		supported++
		if at := z.State.Tested[id]; at > 0 && now.Sub(time.Unix(0, at)) <= testedWithin {
			n++
		}
	}
	if supported == 0 {
		return 0, false
	}
	return float64(n) / float64(supported), true
}

func bit(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// What is not a zone's.
var (
	findingActive  = desc("dimming_finding_active", "1 while a finding stands.", "zone", "device", "finding", "part", "severity")
	findingsRaised = desc("dimming_findings_raised_total", "Findings raised.", "finding", "part")
	deviceUp       = desc("dimming_device_up", "1 while the device answers.", "device")
	deviceRequests = desc("dimming_device_requests_total", "Requests to the device by result.", "device", "result")
	deviceCycle    = desc("dimming_device_cycle_seconds", "Time that reading all points of the device took.", "device")
	deviceSkipped  = desc("dimming_device_cycles_skipped_total", "Cycles skipped since the one before took too long.", "device")
	reloadOK       = desc("dimming_config_last_reload_successful", "1 if the last reload of the configuration was good.")
	reloadAt       = desc("dimming_config_last_reload_success_timestamp_seconds", "When the configuration was last loaded.")
	stateFailures  = desc("dimming_state_commit_failures_total", "Commits of the state that have failed.")
	stateAt        = desc("dimming_state_last_commit_timestamp_seconds", "When the state was last kept.")
	siteInfo       = desc("dimming_site_info", "The site, always 1.", "site", "name")
)

func desc(name, help string, labels ...string) *prometheus.Desc {
	return prometheus.NewDesc(name, help, labels, nil)
}

// Collector shows a view at each scrape.
type Collector struct {
	view   func() View
	reload func() Reload
	zones  []*prometheus.Desc
}

// New makes a collector that asks for the view and the state of the configuration at each scrape.
func New(view func() View, reload func() Reload) *Collector {
	c := &Collector{view: view, reload: reload}
	for _, m := range zoneMetrics {
		c.zones = append(c.zones, desc(m.name, m.help, "zone"))
	}
	return c
}

// Describe implements prometheus.Collector.
func (c *Collector) Describe(ch chan<- *prometheus.Desc) {
	for _, d := range append(c.zones, findingActive, findingsRaised, deviceUp, deviceRequests, deviceCycle, deviceSkipped,
		reloadOK, reloadAt, stateFailures, stateAt, siteInfo) {
		ch <- d
	}
}

// Collect implements prometheus.Collector.
func (c *Collector) Collect(ch chan<- prometheus.Metric) {
	v := c.view()
	put := func(d *prometheus.Desc, kind prometheus.ValueType, x float64, labels ...string) {
		ch <- prometheus.MustNewConstMetric(d, kind, x, labels...)
	}
	for i := range v.Site.Zones {
		z := &v.Site.Zones[i]
		for k, m := range zoneMetrics {
			if x, ok := m.value(z, v.Site.To); ok {
				put(c.zones[k], m.kind, x, z.Config.Name)
			}
		}
	}
	for _, f := range v.Site.Findings {
		row := &loops.Catalogue[f.ID]
		zone, device := "", ""
		if f.Device >= 0 {
			device = v.Site.Site.Devices[f.Device].Name
		} else {
			z := v.Site.Zones[f.Zones[0]].Config
			zone, device = z.Name, v.Site.Site.Devices[z.Device].Name
		}
		put(findingActive, gauge, 1, zone, device, row.Name, row.Part, row.Severity)
	}
	for id, n := range v.Site.Raised {
		put(findingsRaised, counter, float64(n), id.String(), loops.Catalogue[id].Part)
	}
	for i := range v.Polls {
		if len(v.Site.Site.Devices[i].Points) == 0 {
			continue // nothing is read from it: whether it answers is not known
		}
		c.device(ch, v.Site.Site.Devices[i].Name, &v.Polls[i])
	}
	r := c.reload()
	put(reloadOK, gauge, bit(r.OK))
	put(reloadAt, gauge, float64(r.At.UnixNano())/1e9)
	if v.Kept.Asked {
		put(stateFailures, counter, float64(v.Kept.Failures))
		if !v.Kept.At.IsZero() {
			put(stateAt, gauge, float64(v.Kept.At.UnixNano())/1e9)
		}
	}
	put(siteInfo, gauge, 1, v.Site.Site.Name, v.Site.Site.Title)
}

func (c *Collector) device(ch chan<- prometheus.Metric, name string, s *poll.Stats) {
	put := func(d *prometheus.Desc, kind prometheus.ValueType, x float64, labels ...string) {
		ch <- prometheus.MustNewConstMetric(d, kind, x, append([]string{name}, labels...)...)
	}
	if !s.Polled {
		return
	}
	put(deviceUp, gauge, bit(s.Up))
	put(deviceSkipped, counter, float64(s.Skipped))
	for _, r := range []struct {
		result string
		n      uint64
	}{{"ok", s.Counts.OK}, {"timeout", s.Counts.Timeout}, {"exception", s.Counts.Exception}, {"protocol", s.Counts.Protocol}, {"closed", s.Counts.Closed}} {
		put(deviceRequests, counter, float64(r.n), r.result)
	}
	within := map[float64]uint64{}
	for b, bound := range poll.Buckets {
		within[bound] = s.Within[b]
	}
	ch <- prometheus.MustNewConstHistogram(deviceCycle, s.Reads, s.Seconds, within, name)
}
