package loops

import "strconv"

// device is one device under judgement: whether it answers, and whether it gives news.
type device struct {
	at     int64
	before int64   // the poll before
	dt     float64 // seconds since then
	seen   bool
	total  float64 // evidence of the polls in a row that it did not answer
	since  int64
	poor   float64 // evidence that it answers less than half of its polls
	failed int     // polls in a row that it did not answer
	open   int     `state:"-"`
	count  int

	stale staleness

	news   float64 // how many readings of its zones were new in the last minutes, fading
	newsAt int64   // when that was worked out

	tau, h float64 `state:"-"` // as of its zones: the quickest and the least strict
}

const (
	// lostNats is what one poll without an answer says, per correlation time. Chosen: a bus in order loses one poll in some
	// hundred.
	lostNats = 4.6

	// heardNats is what an answer says against a device that answers less than half of its polls. Chosen: the two cancel
	// where 44 of a hundred are lost.
	heardNats = 3.6

	// poorMost bounds the evidence of a device that comes and goes, in what raises the finding: it has to answer for some
	// minutes to be back.
	poorMost = 1.8

	// outage is the number of lost polls in a row that are an outage, and not answers that come and go.
	outage = 2
)

// Answered tells the judge that a device was polled at a time (nanoseconds since 1970 UTC), and whether it answered. It
// comes before the samples of that poll.
func (j *Judge) Answered(at int, now int64, ok bool) {
	d := &j.devices[at]
	d.dt = float64(now-d.at) / 1e9
	if !d.seen || d.dt < 0 {
		d.dt = 0
		d.since, d.stale.since = min(d.since, now), min(d.stale.since, now)
	}
	d.before = d.at
	if d.dt == 0 || d.dt >= gapSeconds {
		d.before = now
	}
	d.at, d.seen = now, true
	share := min(1, d.dt/d.tau)
	if ok {
		d.total, d.failed = 0, 0
		d.poor = max(0, d.poor-heardNats*share)
		if d.open >= 0 && d.poor < d.h/2 {
			j.endDevice(at, &d.open)
		}
		return
	}
	if d.total == 0 && d.poor == 0 {
		d.since = d.before
	}
	d.total += lostNats * share
	if d.failed++; d.failed <= outage {
		d.poor = min(poorMost*d.h, d.poor+lostNats*share)
	}
	if d.open < 0 && max(d.total, d.poor) >= d.h {
		d.count++
		j.raiseDevice(at, Finding{
			ID: DeviceLost, Cause: "device/" + j.set.Devices[at] + "/" + strconv.Itoa(d.count), Onset: d.since, Confidence: 0.99,
		}, &d.open)
	}
}

// raiseDevice makes a finding of a device, with its zones under it.
func (j *Judge) raiseDevice(at int, f Finding, open *int) {
	j.seq++
	f.Seq, f.Device, f.Raised = j.seq, at, j.devices[at].at
	f.Zones = append(f.Zones, j.zonesOf(at)...)
	j.describe(&f, nil)
	*open = len(j.open)
	j.open = append(j.open, f)
	j.changes = append(j.changes, f)
}

// endDevice ends a finding of a device.
func (j *Judge) endDevice(at int, open *int) {
	f := j.open[*open]
	f.Cleared = j.devices[at].at
	j.changes = append(j.changes, f)
	j.remove(*open)
	*open = -1
}
