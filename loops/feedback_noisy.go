package loops

import "math"

// The feedback is several times as noisy as it used to be: an a.c. voltage is induced on the pair, a shield is loose, hum beats
// with the scan, or the transmitter's supply ripples. What is seen is a feedback that jitters from reading to reading while
// the command stands still; the loop goes on closing on its mean.

const (
	// noiseTimes is by how much the noise has to grow: the explanation expects three times what was learned.
	// Chosen: a factor of two comes with the seasons; at double, a hum of 1 % would be left alone.
	noiseTimes = 3.0

	// noiseLeast is the least jitter, percent of level, that is told from a converter's last digit.
	noiseLeast = 0.12

	// noiseLearned is how many readings the noise has to be known from, and noiseSlow over how many the present one is a mean.
	noiseLearned = 40
	noiseSlow    = 30.0
)

// noise follows how far each feedback is off the middle of its neighbours, what the command lets expect taken out, while the
// command stands still: what goes up or down steadily has none.
type noise struct {
	n       int        // feedbacks before the newest that came one after the other, the command standing still: 0, 1 or 2
	before  [2]float64 // their distance from what was expected
	last    float64    // the last feedback
	command float64    // at which it stands
	x       float64    // jitter of the newest three, percent of level
	known   bool       // there is one
	now     float64    // mean size of the newest ones
	step    float64    // the least step between two feedbacks that was seen: a converter's last digit
}

// steadyCommand is by how much a command may move, percent of level, while the feedback's noise is looked at.
const steadyCommand = 0.3

// follow takes the newest sample of a lit zone.
func (n *noise) follow(m *memory) {
	off := m.feedback - m.expected
	if m.gap || m.commandHigh-m.commandLow > 2*steadyCommand || math.Abs(m.command-n.command) > steadyCommand || m.still.run >= 3 {
		n.n, n.command = 0, m.command
	}
	n.known = n.n == 2
	if n.n > 0 {
		if step := math.Abs(m.feedback - n.last); step > 1e-6 && (n.step == 0 || step < n.step) {
			n.step = step
		}
	}
	if n.known {
		n.x = n.before[0] - (off+n.before[1])/2
		if math.Abs(n.x) > spellJump/2 {
			n.known = false // a jump is no noise
		} else {
			n.now += (math.Abs(n.x) - n.now) / noiseSlow
		}
	}
	n.before[1], n.before[0], n.last = n.before[0], off, m.feedback
	n.n = min(2, n.n+1)
}

// jitter is the noise to expect of a healthy zone, percent of level, and whether it is known.
func (m *memory) jitter() (float64, bool) {
	l := &m.learned.jitter[band(m.feedback)]
	return max(noiseLeast, 0.6*m.noise.step, l.value()), l.n() >= noiseLearned
}

// bands are parts of the range in which noise is learned apart: transmitters and converters clip near the ends of their range,
// and pick-up grows where the interface's output stage is soft.
const bands = 4

// band is the part of the range that a level lies in.
func band(level float64) int {
	switch {
	case level < 30:
		return 0
	case level < 65:
		return 1
	case level < 92:
		return 2
	}
	return 3
}

// weighNoise adds what the newest readings say for a feedback that has become noisy: the likelihood of their jitter where the
// noise is noiseTimes what was learned, over that where it is not (Laplace's law, whose tails are heavy). Each reading is
// part of three jitters, hence a third.
func (z *zone) weighNoise() {
	m := &z.memory
	i := explanationOf(FeedbackNoisy)
	usual, known := m.jitter()
	if !m.noise.known || !known || !z.can[i] || !m.litSeen || m.feedback < litLevel {
		return
	}
	z.test(FeedbackNoisy)
	nats := bound(math.Abs(m.noise.x)/usual*(1-1/noiseTimes)-math.Log(noiseTimes), 3)
	z.step(i, nats/3*min(1, 3*m.dt/m.tau))
	z.sums.total[i] = min(z.sums.total[i], topNats)
}
