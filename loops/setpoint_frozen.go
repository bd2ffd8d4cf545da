package loops

import "math"

// The setpoint stands still for days on which daylight moved it before: the program that writes it has stopped, holds a
// default, or was put to manual. The zone keeps one level: too much light by day, or too little at night.
//
// Seen: the setpoint rests to the last digit at a level that daylight, as the zone used to follow it, does not ask for. A
// zone without a daylight point of its own is held against what the other zones and sensors of the site show, and against
// the night; there a setpoint that always goes back to full is named this as well, since nothing tells why. A demand limit,
// a hand or a night level that moves the setpoint shows that its program runs: then it is not frozen.

var setpointFrozenAt, daylightUnusedAt = explanationOf(SetpointFrozen), explanationOf(DaylightUnused)

// weighSetpointFrozen weighs a setpoint against the level that daylight lets expect; off is how badly it fits, in nats. Own
// says that the zone has a daylight point.
func (z *zone) weighSetpointFrozen(own bool, at int, level, spread, off, hours float64) {
	d, i := &z.days, setpointFrozenAt
	x := z.memory.setpoint
	back := !own && at < nightNode // a setpoint that goes back to full counts as one that stays there
	full := back && x > d.full-topBand
	place := d.place
	if d.named == SetpointFrozen {
		place = d.frozen
	}
	live := d.moves >= liveMoves
	test := math.Abs(level-place) > max(2*spread, followsLeast)
	if d.moved && at < nightNode && math.Abs(x-level) < 2.5*spread {
		z.test(SetpointFrozen)
	}
	switch {
	case d.named == SetpointFrozen && live && math.Abs(x-place) > topBand && math.Abs(x-level) < 3*spread,
		test && math.Abs(x-place) > followsLeast/2 && math.Abs(x-level) < 2.5*spread:
		z.dayGain(i, -d.proof()*hours)
	case d.named != SetpointFrozen && (d.moved && (own || d.frozen < d.full-topBand) || !own && live):
		z.sums.total[i] = 0 // it is not frozen; once named, only proof ends it
	case (d.moved || d.off > 0) && !full:
	case test && (math.Abs(x-place) <= restWander || full):
		if was := d.frozen; d.named != SetpointFrozen && math.Abs(place-was) > restWander && !(full && was > d.full-topBand) {
			z.sums.total[i] = 0 // it stands at another place than before
		}
		fresh := z.sums.total[i] == 0
		z.dayGain(i, (min(hourMostNats, off)-slackNats)*hours)
		if fresh && float64(d.at-d.since) < 7200e9 {
			z.sums.since[i] = d.since // when it last moved, where that is near: the first effect showed at once
		}
		if d.named != SetpointFrozen {
			d.frozen = place
		}
	}
}

// proof is what one hour takes back in which the setpoint is where daylight asks for it: more where it also moves, since
// a demand limit may be there by chance.
func (d *days) proof() float64 {
	if float64(d.at-d.movedAt) < 1800e9 {
		return 2 * proofNats
	}
	return proofNats / 2
}
