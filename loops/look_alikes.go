package loops

import "math"

// lookAlike is an explanation that shares its picture with another, as the circuit has it: it is mentioned beside the other
// even where the sums have left it behind, since what they have gathered says little of it. Source: what the points can not
// split, in the circuit's classes; the rest is common practice.
type lookAlike struct {
	named, also ID
	when        func(*memory) bool
}

// alikeFits is how well a look-alike fits that only the picture speaks for, beside the name. Chosen: one in twenty.
const alikeFits = 0.05

// mostAlternatives bounds what is mentioned. Chosen: a technician who is told more has been told nothing.
const mostAlternatives = 4

var lookAlikes = [...]lookAlike{
	// A loop whose rate was lost moves its command by less than its point shows.
	{CommandHeld, Sluggish, func(m *memory) bool { return m.wrong < wrongSteps }},
	// At the wrong end stop nobody sees how the command got there.
	{CommandHeld, ReversedAction, func(m *memory) bool { return m.control == opposing }},
	// A swing as quick as the scan may be noise that the loop chases.
	{Hunting, FeedbackNoisy, func(m *memory) bool { return m.swings.oscillation.period() < 4*m.set.CycleSeconds }},
	// What rests above its command may be a floor, below it a ceiling, until the setpoint has crossed it.
	{StuckMid, FloorHigh, func(m *memory) bool { return m.residual > 2*m.spread }},
	{StuckMid, CeilingLow, func(m *memory) bool { return m.residual < -2*m.spread }},
	// A feedback that is off while command and setpoint rest may be off for good.
	{StuckMid, FeedbackDrift, (*memory).mayHaveDrifted},
	{CeilingLow, FeedbackDrift, (*memory).mayHaveDrifted},
	{FloorHigh, FeedbackDrift, (*memory).mayHaveDrifted},
	// A loop that runs open hides what the pair does.
	{TrackingError, StuckMid, func(m *memory) bool { return m.rest.n >= 3 }},
	{TrackingError, CeilingLow, func(m *memory) bool { return m.rest.n >= 3 && m.residual < -2*m.spread }},
	// 4 mA is a short, an open pair or dark gear until power tells.
	{RepairIncomplete, PairOpen, powerUnknown},
	{RepairIncomplete, CircuitOff, powerUnknown},
}

// mayHaveDrifted says whether the feedback is off by what a transmitter that drifted is off by.
func (m *memory) mayHaveDrifted() bool {
	size := math.Abs(m.feedback - m.expected)
	return size > driftLeast && size < driftMost && math.Abs(m.setpoint-m.feedback) < size+m.set.Tolerance/2
}

func powerUnknown(m *memory) bool { return math.IsNaN(m.watts) }
