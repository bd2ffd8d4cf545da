package loops

import (
	"math"
	"strconv"
)

// A gateway that has lost its device may go on answering for it with the last values, and a device whose program has stopped
// answers with its own: reads succeed, and nothing of what is read is news. Each zone alone would look like one whose
// feedback is frozen; all of them at once are one cause.
//
// Not every repetition is one. Values that come in whole percents repeat for hours while all is off, so it is learned of
// every device, with its zones lit and dark apart, how often a poll repeats everything: after no such poll, after one or
// two, and so on, because calm times are calm for long. What was not met yet is guessed from what was, and a run of
// repetitions is believed in the more the longer it gets. Where noise moves many points with every poll, in calm times as
// well, that none moves is told within some polls: a calm that comes by itself comes point by point.

// staleness is what is known of how the values of a device repeat themselves.
type staleness struct {
	total float64 // evidence that they are old
	sum   float64 // the same without the bound in time
	since int64
	run   int  // polls in a row that repeated everything
	busy  bool // as many points as ever changed in the poll before the evidence began
	open  int  // index in Judge.open, -1 for none
	count int
	known [2]stillness // dark, lit
}

// stillness is how the values of a device repeat themselves in one state.
type stillness struct {
	repeated, moved [len(runFrom)]float64 // polls that repeated everything and that did not, by the run before them
	share           float64               // of the points that change with a poll that is no repetition, its mean
	n, calm         float64               // polls, and those of them that moved less than a quarter of that
}

// runFrom is where each class of runs begins: after none, one, three ... polls that repeated everything.
var runFrom = [...]int{0, 1, 3, 8, 21, 61}

const (
	// staleMemory is how many polls are remembered. Chosen: eight hours at 15 s.
	staleMemory = 2000.0

	// stillUnknown is the share of repetitions that is believed in, like stillBelieved polls, where nothing is known.
	stillUnknown  = 0.75
	stillBelieved = 10.0

	// stillNext is the power of the share of one class of runs that the next is guessed to have: the longer it is calm, the
	// likelier it stays so. Chosen: at 1 calm evenings of a small device with whole values are reported, at 1/3 only
	// devices with many points.
	stillNext = 2.0 / 3

	// calmShare is the part of the usual number of changes below which a poll is nearly calm, and calmKnown the number of
	// polls after which it is known how often that comes. Chosen: at a tenth of calmKnown a device would be taken as one of
	// noisy values after some minutes of clouds.
	calmShare = 0.25
	calmKnown = 100.0

	// movedNats is what one point that changed says against old values, movedMostNats what all of them do. Chosen: one
	// point may read wild once in fifty polls.
	movedNats     = 4.0
	movedMostNats = 12.0

	// holdNats is the evidence from which the zones of a device wait until it is decided. Chosen: a quarter of what raises
	// the finding; no zone has gathered as much by itself then.
	holdNats = 6.0

	// staleSpare is how far the evidence may go beyond what raises the finding.
	staleSpare = 8.0
)

// Compared tells the judge how many of a device's points changed with the poll that Answered told of, to the last bit, of
// those that could be read in it and before. It comes between Answered and the samples of that poll.
func (j *Judge) Compared(at, changed, points int) {
	if points == 0 {
		return
	}
	d := &j.devices[at]
	s, k := &d.stale, &d.stale.known[j.anyLit(at)]
	part := float64(changed) / float64(points)
	if changed == 0 {
		s.repeats(k, d)
	} else {
		s.moves(k, d, changed, part)
	}
	if s.open < 0 {
		k.learn(classOf(s.run), part)
	}
	if changed == 0 {
		s.run++
	} else {
		s.run = 0
	}
	switch {
	case s.open < 0 && s.total >= d.h:
		j.raiseStale(at)
	case s.open >= 0 && s.total == 0:
		j.endDevice(at, &s.open)
	}
}

// repeats takes a poll that repeated everything.
func (s *staleness) repeats(k *stillness, d *device) {
	if s.total == 0 {
		s.since = d.before
	}
	class := classOf(s.run)
	nats := -math.Log(k.shareOf(class))
	if s.busy && k.repeated[class] < stillBelieved {
		nats = max(nats, k.uncalm())
	}
	s.sum = min(s.sum+nats, d.h+staleSpare)
	// However often it is polled, a correlation time says no more than its most.
	most := mostNats * float64(d.at-s.since) / 1e9 / d.tau
	if d.dt >= d.tau {
		most = s.total + mostNatsSlow
	}
	s.total = max(s.total, min(s.sum, most))
}

// moves takes a poll in which points changed. Where many change with every poll, a few are what wild readings make of old
// values.
func (s *staleness) moves(k *stillness, d *device, changed int, part float64) {
	nats := min(movedMostNats, movedNats*float64(changed))
	calm := part < calmShare*k.share
	if calm {
		nats = max(0, movedNats-k.uncalm())
	}
	s.total = max(0, s.total-nats*min(1, d.dt/d.tau))
	s.sum = s.total
	if s.total == 0 {
		s.busy = !calm
	}
}

// classOf gives the class of a run of repetitions.
func classOf(run int) int {
	class := 0
	for class+1 < len(runFrom) && run >= runFrom[class+1] {
		class++
	}
	return class
}

// learn takes a poll that came after a run of some class; part of the points changed.
func (k *stillness) learn(class int, part float64) {
	if k.repeated[class]+k.moved[class] >= staleMemory {
		keep := 1 - 1/staleMemory
		k.repeated[class] *= keep
		k.moved[class] *= keep
	}
	if part == 0 {
		k.repeated[class]++
		k.calm++
		k.n++
		return
	}
	k.moved[class]++
	if k.n = k.n + 1; k.n > staleMemory {
		k.calm *= staleMemory / k.n
		k.n = staleMemory
	}
	if part < calmShare*k.share {
		k.calm++
	}
	k.share += (part - k.share) / k.n
}

// forget takes back what was learned from the last so many polls, which repeated everything.
func (k *stillness) forget(run int) {
	for i := range run {
		class := classOf(i)
		k.repeated[class] = max(0, k.repeated[class]-1)
	}
	k.calm, k.n = max(0, k.calm-float64(run)), max(0, k.n-float64(run))
}

// shareOf is the share of polls that repeat everything after a run of some class.
func (k *stillness) shareOf(class int) float64 {
	share := stillUnknown
	for c := 0; c <= class; c++ {
		if c > 0 {
			share = math.Pow(share, stillNext)
		}
		share = (k.repeated[c] + share*stillBelieved) / (k.repeated[c] + k.moved[c] + stillBelieved)
	}
	return share
}

// uncalm is the evidence of a poll in which nothing changed where hardly a poll is nearly calm.
func (k *stillness) uncalm() float64 {
	if k.n < calmKnown {
		return 0
	}
	return math.Log((k.n + 2) / (k.calm + 1))
}

// anyLit says whether a zone of the device is lit, as 1, or none is, as 0. One that is going dark is not.
func (j *Judge) anyLit(at int) int {
	for _, z := range j.zonesOf(at) {
		if m := &j.zones[z].memory; m.lit && m.litSeen && !m.changing {
			return 1
		}
	}
	return 0
}

// raiseStale makes the finding that a device gives old values. What one of its zones alone was said to have of it is
// another name of the same.
func (j *Judge) raiseStale(at int) {
	d := &j.devices[at]
	s := &d.stale
	s.known[j.anyLit(at)].forget(s.run)
	cause := ""
	zones := j.zonesOf(at)
	for _, z := range zones {
		open := j.zones[z].open[loopTrack]
		if open >= 0 && j.open[open].ID == FeedbackFrozen && j.open[open].Raised >= s.since {
			cause = j.open[open].Cause
			j.end(z, loopTrack, true)
		}
	}
	if cause == "" {
		s.count++
		cause = "device/" + j.set.Devices[at] + "/stale/" + strconv.Itoa(s.count)
	}
	f := Finding{ID: PointsStale, Cause: cause, Onset: s.since, Confidence: 0.97}
	if len(zones) == 1 {
		f.Confidence, f.Also = 0.85, []Alternative{{FeedbackFrozen, 0.1}}
	}
	j.raiseDevice(at, f, &s.open)
}

// waits says whether a zone has to wait until it is known if the values of a device of it are old. A device with one zone
// is not waited for: what stills the zone's values stills the device's.
func (j *Judge) waits(zone int) bool {
	for _, at := range j.usedBy[zone] {
		s := &j.devices[at].stale
		if s.open >= 0 || s.run > 0 && s.total >= holdNats && len(j.zonesOf(at)) > 1 {
			return true
		}
	}
	return false
}
