package history

import (
	"math"
	"time"
)

// Channel is what a minute has figures of.
type Channel int

// The channels: levels in percent, power in watts, daylight in lux.
const (
	Setpoint Channel = iota
	Command
	Feedback
	Power
	Daylight
	Channels // how many there are
)

// Roles is how many raw values a sample has: those of the channels, and lit. The owner says what is where.
const Roles = 6

const (
	// pendingMinutes is how many minutes wait for a commit. Chosen: six commits may fail; half loses history on a disk that
	// is full for a quarter of an hour, double is 2 KB more a zone.
	pendingMinutes = 30

	// clipTime is how much time the samples reach back, where a sample takes typicalBytes. Chosen: half an hour before the
	// onset, and an hour for the finding to convince, which it does where the evidence is hard; half would cut most onsets off,
	// double costs 12 KB a zone.
	clipTime     = 90 * time.Minute
	typicalBytes = 11 // Measured: feedback, command and power that change with every sample, as whole numbers (TestCost)

	blockBytes              = 1024
	leastBlocks, mostBlocks = 6, 32
)

// Stat is a minute of one channel.
type Stat struct{ Least, Mean, Most float32 }

// Minute is one minute of a zone. A channel that has no value in it has its bit of Has unset.
type Minute struct {
	At      int64  // minutes since 1970-01-01 UTC
	Samples uint16 // that had any value
	Has     uint8  // bit 1<<Channel
	Stats   [Channels]Stat
}

// Sample is one sample as it was read; what was not read is NaN.
type Sample struct {
	At  int64 // nanoseconds since 1970-01-01 UTC
	Raw [Roles]float32
}

// Zone is what is kept of one zone. NewZone makes it.
type Zone struct {
	open  Minute // the minute that is going on
	sums  [Channels]float64
	count [Channels]int

	minutes  [pendingMinutes]Minute // those that are over and not committed
	first, n int
	dropped  uint64

	blocks  []block // a ring of samples
	current int     // the block that is being written
}

// block are samples one after the other, as a Writer has them; the first is whole.
type block struct {
	n     int
	last  Sample
	bytes [blockBytes]byte
}

// NewZone makes a zone whose samples come every cycle.
func NewZone(cycle time.Duration) *Zone {
	n := mostBlocks
	if cycle > 0 {
		n = int(min(mostBlocks, max(leastBlocks, (clipTime/cycle*typicalBytes+blockBytes-1)/blockBytes)))
	}
	return &Zone{blocks: make([]block, n)}
}

// Observe takes a sample: its raw values, and those of the channels in the units of a minute; what is not known is NaN. One
// that is not later than the sample before is left out of the clip.
func (z *Zone) Observe(s *Sample, values *[Channels]float64) {
	z.keep(s)
	at := s.At / int64(time.Minute)
	if at != z.open.At {
		z.Close()
		z.open.At = at
	}
	any := false
	for c, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			continue
		}
		any = true
		x, st := float32(v), &z.open.Stats[c]
		if z.count[c] == 0 {
			*st = Stat{Least: x, Most: x}
		}
		st.Least, st.Most = min(st.Least, x), max(st.Most, x)
		z.sums[c] += v
		z.count[c]++
	}
	if any && z.open.Samples < math.MaxUint16 {
		z.open.Samples++
	}
}

func (z *Zone) keep(s *Sample) {
	b := &z.blocks[z.current]
	if s.At <= b.last.At {
		return
	}
	if b.n+mostSampleBytes > blockBytes {
		z.current = (z.current + 1) % len(z.blocks)
		b = &z.blocks[z.current]
		b.n, b.last = 0, Sample{}
	}
	b.n += len(appendSample(b.bytes[:b.n], &b.last, s, b.n == 0)) - b.n
	b.last = *s
}

// Close ends the minute that is going on. It is for an orderly end: what is observed of it afterwards is a minute of its own,
// which takes the place of this one where it is committed.
func (z *Zone) Close() {
	if z.open.Samples > 0 {
		for c := range z.count {
			if z.count[c] > 0 {
				z.open.Has |= 1 << c
				z.open.Stats[c].Mean = float32(z.sums[c] / float64(z.count[c]))
			}
		}
		if z.n == pendingMinutes {
			z.first, z.n = (z.first+1)%pendingMinutes, z.n-1
			z.dropped++
		}
		z.minutes[(z.first+z.n)%pendingMinutes] = z.open
		z.n++
	}
	z.open, z.sums, z.count = Minute{}, [Channels]float64{}, [Channels]int{}
}

// Pending calls f with the minutes that are over and not committed yet, oldest first.
func (z *Zone) Pending(f func(*Minute)) {
	for i := range z.n {
		f(&z.minutes[(z.first+i)%pendingMinutes])
	}
}

// Kept says that the minutes up to one are committed.
func (z *Zone) Kept(upTo int64) {
	for z.n > 0 && z.minutes[z.first].At <= upTo {
		z.first, z.n = (z.first+1)%pendingMinutes, z.n-1
	}
}

// Dropped is how many minutes were dropped because they could not be committed.
func (z *Zone) Dropped() uint64 { return z.dropped }

// Samples calls f with the samples after one time and up to another, oldest first.
func (z *Zone) Samples(after, upTo int64, f func(*Sample)) {
	for i := range z.blocks {
		b := &z.blocks[(z.current+1+i)%len(z.blocks)]
		var s Sample
		for rest := b.bytes[:b.n]; len(rest) > 0; {
			rest, _ = decodeSample(rest, &s) // it was written here
			if s.At > after && s.At <= upTo {
				f(&s)
			}
		}
	}
}
