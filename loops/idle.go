package loops

// idle is an index of how a loop recovers from a disturbance: near 1 the value goes on moving with the command for a long
// time after (sluggish), near 0 is reasonable, near -1 is well damped, or oscillates (ask the oscillation first).
// Source: T. Hägglund, Automatic detection of sluggish control loops, Control Engineering Practice 7 (1999), from memory.
// It means something only where a photosensor closes the loop over the light, and after noise was filtered out.
type idle struct{ with, against float64 }

// add takes what the command and the value moved since the last sample; a step in which either stood still says nothing.
// What was before counts keep times as much, 0..1: 1 is the index over all steps, 1-1/n that over about the last n.
func (i *idle) add(command, value, keep float64) {
	switch product := command * value; {
	case product > 0:
		i.with, i.against = i.with*keep+1, i.against*keep
	case product < 0:
		i.with, i.against = i.with*keep, i.against*keep+1
	}
}

// index is the idle index, -1..1; 0 where nothing moved.
func (i *idle) index() float64 {
	n := i.with + i.against
	if n == 0 {
		return 0
	}
	return (i.with - i.against) / n
}
