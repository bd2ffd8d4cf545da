package loops

import "strings"

// ID is one finding of the catalogue. It is an index into it; the zero value is no finding.
type ID uint8

// The findings, in the order of the catalogue.
const (
	None ID = iota
	PairShort
	PairOpen
	CircuitOff
	StuckDim
	StuckMid
	NotDimming
	CeilingLow
	FloorHigh
	PairIntermittent
	FeedbackFrozen
	FeedbackLoopLow
	FeedbackLoopHigh
	FeedbackDrift
	FeedbackNoisy
	GearStray
	LampsOut
	CommandHeld
	Hunting
	Sluggish
	ReversedAction
	SetpointFrozen
	DaylightUnused
	SensorLoopLow
	SensorLoopHigh
	SensorFrozen
	SensorImplausible
	ZonesCrossed
	RepairIncomplete
	DeviceLost
	PointsStale
	TrackingError
	IDs // how many there are, None included
)

// Row is one finding as it is described to people and machines.
type Row struct {
	// Name is the stable identifier, "pair-short"; Part is the part most likely at fault, Severity one of urgent (people or
	// the store suffer now), high (a part is broken), medium (works, wastes or wears), low (look at it).
	Name, Part, Severity string

	// Title says in a few words what is wrong: "the pair is shorted".
	Title string

	// Needs are the channels without which the finding cannot be made; NeedsOne, where not empty, a set of which one
	// at least has to be there. Device findings need none.
	Needs, NeedsOne Channels

	// Sharper are channels that make it more certain.
	Sharper Channels

	// ProofSeconds is for how long the loop has to work again before a finding ends, at a correlation time of 30 s.
	ProofSeconds float64

	// Says is the sentence for people, with figures in braces: see describe.
	Says string

	// Ends says what was seen when it ended, where that is not that the pair followed its command.
	Ends string

	// Checks are what to look at and measure, the one that separates first.
	Checks []Check
}

// Check is one thing to do, with the reading to expect.
type Check struct {
	Work Work
	Text string // with figures in braces
}

// Work is what a check asks for; the cautions follow from it.
type Work uint8

// Kinds of work. Two are kept apart: measuring on lit gear, which is the source and has to be fed, and tests on dead wiring.
const (
	Desk    Work = 0         // from the desk or the floor: nothing is touched
	Lit     Work = 1 << iota // measuring on lit gear
	Dead                     // tests on dead wiring
	Unplug                   // gives full light
	ByHand                   // changes the light by command or by bridging conductors
	Panel                    // measuring in the control panel: extra-low voltage, line voltage beside it
	Foreign                  // a voltage from elsewhere may be on the pair
)

// loopPoints are the points without which a loop can not be judged.
const loopPoints = Setpoint | Command | Feedback

// String gives the name of the finding, "" for None.
func (id ID) String() string { return Catalogue[id].Name }

// Parse gives the finding with a name.
func Parse(name string) (ID, bool) {
	for id := None + 1; id < IDs; id++ {
		if Catalogue[id].Name == name {
			return id, true
		}
	}
	return None, false
}

// Support says whether a zone with the given points can have a finding made, and if not, what is missing.
func Support(id ID, has Channels) (ok bool, why string) {
	row := &Catalogue[id]
	for _, c := range channelNames {
		if row.Needs.Has(c.channel) && !has.Has(c.channel) {
			return false, "needs " + c.name
		}
	}
	if row.NeedsOne != 0 && has&row.NeedsOne == 0 {
		return false, "needs " + OneOf(row.NeedsOne)
	}
	return true, ""
}

// channelNames are the channels in words.
var channelNames = [...]struct {
	channel Channels
	name    string
}{
	{Setpoint, "setpoint"},
	{Command, "command"},
	{Feedback, "feedback"},
	{FeedbackLoop, "feedback as a current in milliamps"},
	{Power, "power"},
	{Daylight, "daylight"},
	{DaylightLoop, "daylight as a current in milliamps"},
	{Sun, "the site's latitude and longitude"},
}

// OneOf says in words which channels of a set would do.
func OneOf(set Channels) string {
	var names []string
	for _, c := range channelNames {
		if set.Has(c.channel) {
			names = append(names, c.name)
		}
	}
	if set&(Order|Contact) != 0 {
		names = append(names, "lit")
	}
	return strings.Join(names, " or ")
}
