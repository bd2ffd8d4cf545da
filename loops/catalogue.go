package loops

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
	FeedbackFrozen
	FeedbackLoopLow
	FeedbackLoopHigh
	CommandHeld
	CeilingLow
	FloorHigh
	FeedbackDrift
	ReversedAction
	Sluggish
	DeviceLost
	TrackingError
	IDs // how many there are, None included
)

// Row is one finding as it is described to people and machines.
type Row struct {
	// Name is the stable identifier, "pair-short"; Part is the part most likely at fault, Severity one of urgent, high,
	// medium, low.
	Name, Part, Severity string

	// Title says in a few words what is wrong: "the pair is shorted".
	Title string

	// Needs are the channels without which the finding cannot be made; NeedsOne, where not empty, a set of which one
	// at least has to be there. Device findings need none.
	Needs, NeedsOne Channels

	// Sharper are channels that make it more certain.
	Sharper Channels
}

// Catalogue has one row a finding, indexed by ID.
var Catalogue = [IDs]Row{
	PairShort:        {"pair-short", "pair", "urgent", "the pair is shorted", loopPoints, 0, Power},
	PairOpen:         {"pair-open", "pair", "high", "the pair is open", loopPoints, 0, Power},
	CircuitOff:       {"circuit-off", "circuit", "high", "the gear has no supply", loopPoints, Power | Order | Contact, Power},
	StuckDim:         {"stuck-dim", "interface", "urgent", "the interface holds the pair at minimum", loopPoints, 0, Power},
	StuckMid:         {"stuck-mid", "interface", "high", "the interface does not answer to its command", loopPoints, 0, Power},
	NotDimming:       {"not-dimming", "interface", "high", "the interface does not dim", loopPoints, 0, Power},
	FeedbackFrozen:   {"feedback-frozen", "feedback", "high", "the feedback stands still", loopPoints, 0, Power},
	FeedbackLoopLow:  {"feedback-loop-low", "feedback", "high", "the feedback's current loop is open", Feedback | FeedbackLoop, 0, Power},
	FeedbackLoopHigh: {"feedback-loop-high", "feedback", "high", "the feedback's current loop is shorted", Feedback | FeedbackLoop, 0, Power},
	CommandHeld:      {"command-held", "controller", "medium", "the command is held", loopPoints, 0, 0},
	CeilingLow:       {"ceiling-low", "pair", "medium", "the pair stops short of full", loopPoints, 0, 0},
	FloorHigh:        {"floor-high", "interface", "medium", "the pair stops short of minimum", loopPoints, 0, 0},
	FeedbackDrift:    {"feedback-drift", "feedback", "medium", "feedback and command have parted", loopPoints, 0, Power},
	ReversedAction:   {"reversed-action", "controller", "high", "the command moves the wrong way", loopPoints, 0, 0},
	Sluggish:         {"sluggish", "controller", "low", "the loop arrives late", loopPoints, 0, 0},
	DeviceLost:       {"device-lost", "network", "high", "a device does not answer", 0, 0, 0},
	TrackingError:    {"tracking-error", "unknown", "medium", "setpoint and feedback are apart", loopPoints, 0, 0},
}

// loopPoints are the points without which a loop can not be judged.
const loopPoints = Setpoint | Command | Feedback

// String gives the name of the finding.
func (id ID) String() string { return Catalogue[id].Name }

// Support says whether a zone with the given points can have a finding made, and if not, what is missing.
func Support(id ID, has Channels) (ok bool, why string) {
	row := &Catalogue[id]
	for _, c := range channelNames {
		if row.Needs.Has(c.channel) && !has.Has(c.channel) {
			return false, "needs " + c.name
		}
	}
	if row.NeedsOne != 0 && has&row.NeedsOne == 0 {
		return false, "needs power or lit"
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
}
