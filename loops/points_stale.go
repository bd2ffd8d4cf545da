package loops

import (
	"math"
	"math/bits"
	"strconv"
)

// A gateway that has lost its device may go on answering for it with the last values, and a device whose program has stopped
// answers with its own: reads succeed, and nothing of what is read is news. Each zone alone would look like one whose
// feedback is frozen; all of them at once are one cause.
//
// Not every repetition is one. Values that come in whole percents repeat for hours while all is off, so it is learned of
// every device, with its zones lit and dark apart, how long its calm times last: of those that lasted two polls, how many
// lasted four, and so on. What was not met yet is guessed from what was, and the longer a calm lasts, the likelier it goes
// on. That alone never makes old values of a calm evening, nor tells them soon. Where noise moves many points with every
// poll, in calm times as well, that none moves is told within some polls: a calm that comes by itself comes point by point.
// A device with one or two zones has too few points for that, until it has been seen to move in the dark.

// staleness is what is known of how the values of a device repeat themselves.
type staleness struct {
	total float64 // evidence that they are old
	sum   float64 // the same without the bound in time
	since int64
	run   int     // polls in a row in which nothing or nearly nothing changed
	busy  bool    // as many points as ever changed in the poll before the evidence began
	usual float64 // points that usually move with a poll; 0 where the device has too few zones to say
	open  int     `state:"-"` // index in Judge.open, -1 for none
	count int
	known [2]stillness // dark, lit
}

// stillness is how the values of a device repeat themselves in one state.
type stillness struct {
	begun, lasted [runs]float64 // calm times that lasted 0, 1, 2, 4 ... polls, and those of them that lasted twice as long
	share         float64       // of the points that change with a poll that is no repetition, its mean
	n, calm       float64       // polls, and those of them that moved less than a quarter of that
}

const (
	// runs is the number of lengths of calm times that are told apart: the longest is 2048 polls and more.
	runs = 13

	// staleMemory is how many polls are remembered. Chosen: eight hours at 15 s.
	staleMemory = 2000.0

	// stillUnknown is the share of calm times that is believed to last, like stillBelieved of them, where nothing is known.
	stillUnknown  = 0.75
	stillBelieved = 1.0

	// stillNext is the power of one share that the next is guessed to have: the longer it is calm, the likelier it stays so.
	// Chosen: at 1 calm evenings of a small device with whole values are reported.
	stillNext = 2.0 / 3

	// calmShare is the part of the usual number of changes below which a poll is nearly calm, and calmKnown the number of
	// polls after which it is known how often that comes. Chosen: at a tenth of calmKnown a device would be taken as one of
	// noisy values after some minutes of clouds.
	calmShare = 0.25
	calmKnown = 100.0

	// restsDark is the share of nearly calm polls in the dark from which on values are taken as free of noise.
	restsDark = 0.05

	// fewMovers is the number of points that usually move from which on none moving says something, and moverNats what each
	// more says; with no more than fewZones nothing is said: there, one zone that comes to rest stills the device.
	fewMovers = 5.0
	moverNats = 0.4
	fewZones  = 2

	// movedNats is what one point that changed says against old values. Chosen: one point may read wild once in fifty polls.
	// wildMost is how many points may read wild at once.
	movedNats = 4.0
	wildMost  = 2

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
	if s.usual = 0; len(j.zonesOf(at)) > fewZones {
		s.usual = k.share * float64(points)
	}
	if changed == 0 {
		s.repeats(k, d)
	} else {
		s.moves(k, changed, part)
	}
	calm := part < calmShare*k.share || changed == 0
	if s.open < 0 {
		k.learn(s.run, part, calm)
	}
	if s.run++; !calm {
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
	nats := 0.0
	if class, whole := classOf(s.run); whole {
		nats = -math.Log(k.lasts(class))
	}
	nats = max(nats, s.uncalm(k))
	s.sum = min(s.sum+nats, d.h+staleSpare)
	// However often it is polled, a correlation time says no more than its most.
	most := mostNats * float64(d.at-s.since) / 1e9 / d.tau
	if d.dt >= d.tau {
		most = s.total + mostNatsSlow
	}
	s.total = max(s.total, min(s.sum, most))
}

// moves takes a poll in which points changed: a few are what wild readings make of old values, many are news.
func (s *staleness) moves(k *stillness, changed int, part float64) {
	calm := part < calmShare*k.share
	if calm || changed <= wildMost {
		s.total = max(0, s.total-movedNats*float64(changed))
	} else {
		s.total = 0
	}
	s.sum = s.total
	if s.total == 0 {
		s.busy = !calm
	}
}

// classOf gives the class of a calm time that has lasted so many polls, and whether the next poll completes it.
func classOf(run int) (class int, completes bool) {
	class = min(bits.Len(uint(run)), runs-1)
	return class, run+1 == 1<<class
}

// learn takes a poll after a calm time of so many; part of the points changed, and calm says whether so few that it goes on.
func (k *stillness) learn(run int, part float64, calm bool) {
	class, completes := classOf(run)
	if run == 0 || run == 1<<(class-1) {
		k.begun[class]++
	}
	if calm && completes {
		k.lasted[class]++
	}
	if k.begun[class] > staleMemory {
		k.lasted[class] *= staleMemory / k.begun[class]
		k.begun[class] = staleMemory
	}
	if k.n++; k.n > staleMemory {
		k.calm *= staleMemory / k.n
		k.n = staleMemory
	}
	if calm {
		k.calm++
	}
	if part > 0 {
		k.share += (part - k.share) / k.n
	}
}

// forget takes back what was learned from the last so many polls, which repeated everything.
func (k *stillness) forget(run int) {
	for i := range run {
		class, completes := classOf(i)
		if i == 0 || i == 1<<(class-1) {
			k.begun[class] = max(0, k.begun[class]-1)
		}
		if completes {
			k.lasted[class] = max(0, k.lasted[class]-1)
		}
	}
	k.calm, k.n = max(0, k.calm-float64(run)), max(0, k.n-float64(run))
}

// lasts is the share of calm times of a class that last twice as long.
func (k *stillness) lasts(class int) float64 {
	share := stillUnknown
	for c := range class + 1 {
		if c > 0 {
			share = math.Pow(share, stillNext)
		}
		share = (k.lasted[c] + share*stillBelieved) / (k.begun[c] + stillBelieved)
	}
	return min(1, share)
}

// uncalm is the evidence of a poll in which nothing changed where hardly a poll is nearly calm. Where the values rest while
// all is dark, there is no noise that moves them, and no calm is too much; where they move then as well, it is noise. Until
// the dark was seen, it takes many points and zones to say so.
func (s *staleness) uncalm(k *stillness) float64 {
	if k.n < calmKnown {
		return 0
	}
	nats := math.Log((k.n + 2) / (k.calm + 1))
	if dark := &s.known[0]; dark.n >= calmKnown {
		if dark.calm > restsDark*dark.n {
			return 0
		}
		return nats
	}
	if !s.busy {
		return 0 // it came to rest point by point
	}
	return max(0, min(nats, moverNats*(s.usual-fewMovers)))
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
		f.Confidence, f.Also = 0.85, []Alternative{{FeedbackFrozen, 0.1, 0.5}}
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
