package demo

import (
	"fmt"
	"time"
)

// Fault is what can befall a part.
type Fault uint8

// The faults, each with the part that it acts on.
const (
	VioletGround     Fault = iota // pair: the positive conductor touches a fixture's chassis, which is earthed
	GrayGround                    // pair: the negative conductor does
	PairOpen                      // pair: the interface no longer reaches any gear
	BreakerOff                    // gear: it has no mains
	InterfaceStuck                // interface: holds the voltage that it had
	InterfaceDead                 // interface: sinks nothing
	CommandInputLost              // interface: takes the command for 0 V and goes to its floor
	FeedbackFrozen                // controller: its analog input keeps the last value
	FeedbackLoopOpen              // feedback: the 4..20 mA loop is interrupted
	CommandByHand                 // controller: the command stays where it is
	UnitSilent                    // network: the Modbus unit of the zone does not answer
)

// Row is one line of the story: a fault of one zone from one time to another.
type Row struct {
	Zone     string
	From, To time.Duration // since the start of the story
	Fault    Fault

	// Finding is the identifier of what a watcher ought to say of the zone, given time enough; "" where nothing can be
	// seen. It is here for tests and takes no part in the model.
	Finding string

	// Begins and Ends say for people what happens.
	Begins, Ends string
}

// Story is how long the story takes; it then begins anew. It ends with some calm, in which repaired zones show that
// they follow again.
const Story = 2 * day

const second = time.Second

// Script gives the story. Zones that no row names are healthy throughout.
func Script() []Row { return append([]Row(nil), script...) }

// In stock-room the second of two grounds makes the short, and the first repair does not end it: the interface's common
// is earthed, so that the ground of the violet conductor alone still takes all the current. Source: Kirchhoff's laws.
var script = []Row{
	{"stock-room", 4 * second, 72 * second, GrayGround, "",
		"the gray conductor touches a fixture's chassis; nothing shows yet",
		"a contractor finds the gray conductor on a chassis and lifts it; the violet one still touches"},
	{"stock-room", 10 * second, 100 * second, VioletGround, "pair-short",
		"a second ground, of the violet conductor, makes violet and gray touch by way of the chassis",
		"the second ground is found and lifted too"},
	{"produce", 20 * second, 75 * second, PairOpen, "pair-open",
		"the connector of the dimming pair works loose; the gear goes to full light",
		"the connector is pushed home"},
	{"aisles-5-8", 27 * second, 112 * second, FeedbackFrozen, "feedback-frozen",
		"the analog input of the feedback hangs and repeats its last value",
		"the input card is restarted"},
	{"wine", 30 * second, 130 * second, InterfaceStuck, "stuck-mid",
		"the interface sticks and no longer obeys its command",
		"the interface is replaced"},
	{"bakery", 55 * second, 125 * second, BreakerOff, "circuit-off",
		"the lighting breaker trips while light is asked for",
		"the breaker is on again"},
	// A sound zone: who tries one by hand is given a while, longer than this story lasts.
	{"checkouts", 62 * second, 155 * second, CommandByHand, "",
		"somebody tries the zone by hand and leaves the command there for a while; nothing is broken",
		"the command is given back to the program"},
	{"cold-aisle", 70 * second, 125 * second, InterfaceDead, "not-dimming",
		"the interface's output stage fails open; nothing dims the gear any more",
		"the interface is replaced"},
	{"office", 78 * second, 158 * second, CommandInputLost, "stuck-dim",
		"the command's wire breaks at the interface, which goes to its lowest level",
		"the wire is joined again"},
	{"pharmacy", 95 * second, 145 * second, FeedbackLoopOpen, "feedback-loop-low",
		"a wire of the feedback's current loop comes out of its terminal",
		"the wire is put back"},
	{"garden", 115 * second, 155 * second, UnitSilent, "device-lost",
		"the controller of garden and seasonal stops answering",
		"the controller answers again"},
}

// Event is a fault that begins or ends.
type Event struct {
	At     time.Duration // since the start
	Zone   string
	Fault  Fault
	Begins bool
	Text   string // what happens, for people
}

// String gives the event as a line for people: "10 s: stock-room: a second ground ...".
func (e Event) String() string {
	return fmt.Sprintf("%d s: %s: %s", int(e.At/time.Second), e.Zone, e.Text)
}

// play lets begin and end what the script has between two times since the start, from < t <= to, and calls f for each.
func play(from, to time.Duration, f func(row *Row, begins bool)) {
	reached := func(t time.Duration) bool {
		// The number of times that t was passed grows by one when it is reached.
		return (to-t+Story)/Story > (from-t+Story)/Story
	}
	for i := range script {
		if reached(script[i].To) {
			f(&script[i], false)
		}
	}
	for i := range script {
		if reached(script[i].From) {
			f(&script[i], true)
		}
	}
}
