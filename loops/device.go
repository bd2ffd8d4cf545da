package loops

import "strconv"

// device is one device under judgement: whether it answers.
type device struct {
	at    int64
	seen  bool
	total float64
	since int64
	open  int `state:"-"`
	count int

	news   float64 // how many readings of its zones were new in the last minutes, fading
	newsAt int64   // when that was worked out

	tau, h float64 `state:"-"` // as of its zones: the quickest and the least strict
}

// lostNats is what one poll without an answer says, per correlation time. Chosen: a bus in order loses one poll in some
// hundred.
const lostNats = 4.6

// Answered tells the judge that a device was polled at a time (nanoseconds since 1970 UTC), and whether it answered. It
// comes before the samples of that poll.
func (j *Judge) Answered(at int, now int64, ok bool) {
	d := &j.devices[at]
	dt := float64(now-d.at) / 1e9
	if !d.seen || dt < 0 {
		dt = 0
		d.since = min(d.since, now)
	}
	before := d.at
	d.at, d.seen = now, true
	share := min(1, dt/d.tau)
	if ok {
		d.total = 0
		if d.open >= 0 {
			j.endDevice(at)
		}
		return
	}
	if d.total == 0 {
		d.since = now
		if dt > 0 && dt < gapSeconds {
			d.since = before
		}
	}
	d.total += lostNats * share
	if d.open < 0 && d.total >= d.h {
		j.raiseDevice(at)
	}
}

// raiseDevice makes the finding that a device is lost, with its zones under it.
func (j *Judge) raiseDevice(at int) {
	d := &j.devices[at]
	d.count++
	j.seq++
	f := Finding{
		Seq: j.seq, ID: DeviceLost, Cause: "device/" + j.set.Devices[at] + "/" + strconv.Itoa(d.count), Device: at,
		Onset: d.since, Raised: d.at, Confidence: 0.99,
	}
	f.Zones = append(f.Zones, j.zonesOf(at)...)
	j.describe(&f, nil)
	d.open = len(j.open)
	j.open = append(j.open, f)
	j.changes = append(j.changes, f)
}

// endDevice ends it.
func (j *Judge) endDevice(at int) {
	d := &j.devices[at]
	f := j.open[d.open]
	f.Cleared = d.at
	j.changes = append(j.changes, f)
	j.remove(d.open)
	d.open = -1
}
