// Package config turns a configuration file into a Site, or into diagnostics that say everything that is wrong with it.
package config

import (
	"time"

	"dimwatch/drivers"

	"github.com/hashicorp/hcl/v2"
)

// Site is a whole configuration, checked and with its sources made; nothing has been dialled yet.
type Site struct {
	// File is the path that it was read from. Name is the label of the site block, Title its `name`.
	File, Name, Title string

	// HasPlace says that latitude and longitude, in degrees north and east, were given. What needs the sun cannot be
	// supported without.
	HasPlace            bool
	Latitude, Longitude float64

	// Location is the site's time zone, time.Local where none was given.
	Location *time.Location

	// Hours are the opening hours: when light is asked for where no point says so.
	Hours Hours

	// Tariff is the price of a kilowatt-hour in the site's currency, 0 where none was given.
	Tariff float64

	Agent   Agent
	Devices []Device // in the order of the file
	Zones   []Zone   // in the order of the file

	// Reads is what the configuration took from outside of its file.
	Reads Reads
}

// Reads are the names that were asked of the functions env and file, each once and sorted.
type Reads struct {
	Env   []string // environment variables, whether they were set or not
	Files []string // paths as they were opened
}

// Agent is the block that is about the program itself. Flags win over it.
type Agent struct {
	Listen    string // address of the metrics page, "127.0.0.1:9847" where not given
	State     string // folder for what has to survive a restart; "" where not given
	WebConfig string // path of a web configuration file (TLS, users), "" for none
}

// Device is one device block.
type Device struct {
	Name, Driver string

	// Cycle is the time from one poll to the next, Timeout bounds one request, Gap is the least pause between requests.
	Cycle, Timeout, Gap time.Duration

	// BusShare is the largest part of the time, 0..1, that requests may fill.
	BusShare float64

	// Address is where the device is reached, "" where its driver has none. Devices behind one gateway share it.
	Address string

	// Recorded is Kind.Recorded of its driver.
	Recorded bool

	// Points are those that the device is read for, in the order of the readings of Source.
	Points []*Point
	Source drivers.Source

	Range hcl.Range
}

// Zone is one dimmed zone.
type Zone struct {
	Name   string
	Device int // index in Site.Devices: the zone's own device, which names it when it is lost

	// OutOfService says that the zone is not to be judged.
	OutOfService bool

	// RatedPower is the power at full in watts and Ballasts the number of ballasts or drivers; 0 where not known.
	RatedPower float64
	Ballasts   int

	// PowerCurve is power over level, both in percent of full, as pairs with rising level; nil where not given.
	PowerCurve [][2]float64

	// TapGear says that the feedback is measured at the gear and not at the interface's terminals.
	TapGear bool

	Judge Judge

	// Points by role; nil where the zone has none. Setpoint, Command and Feedback are always there.
	Points [Roles]*Point

	Range hcl.Range
}

// Judge is the judge block of a zone, completed from the site's.
type Judge struct {
	Tolerance     float64       // percent of level by which setpoint and feedback may differ
	Settle        time.Duration // after a step, how long an error is not counted
	FalseFindings float64       // findings without a fault that are tolerated per zone and year
}

// Role is what a point is to its zone.
type Role uint8

// The roles, in the order in which they are shown.
const (
	Setpoint Role = iota
	Command
	Feedback
	Lit
	Power
	Daylight
	Roles // how many there are
)

// String gives the key of the zone block.
func (r Role) String() string {
	return [...]string{"setpoint", "command", "feedback", "lit", "power", "daylight"}[r]
}

// Quantity is what the number of a point means.
type Quantity uint8

// The quantities that a point's `raw` can be mapped to, or that it can be without.
const (
	Level Quantity = iota // percent of light, 0..100
	Volts                 // of the pair or of a 0..10 V signal: 0..10 V = 0..100 percent
	Duty                  // pulse width, percent, = level
	Lux
	Watts
	State // true when not zero
)

// String gives the key of the point object.
func (q Quantity) String() string {
	return [...]string{"level", "volts", "duty", "lux", "watts", "state"}[q]
}

// Point is one point of a zone.
type Point struct {
	Zone int // index in Site.Zones
	Role Role

	// Device is an index in Site.Devices and Index the place of the point in the device's readings. Two zones may share one.
	Device, Index int

	// Quantity is what the scaled number is. Scale maps the decoded number to it; for a current loop (HasLoop) Loop
	// maps the decoded number to milliamperes and Scale milliamperes to the quantity.
	Quantity Quantity
	HasLoop  bool
	Loop     Line
	Scale    Line

	// Ends are the pairs that the lines were made of, so that the point can be written again to the bit.
	Ends Ends

	// Contact says that a lit point is an auxiliary contact (gear is fed), not the order to switch on. Invert turns a
	// state point.
	Contact, Invert bool

	// Where says where the point is, for people: "holding 100", "column z01".
	Where string

	Range hcl.Range
}

// Ends are two raw values and what they mean, as the configuration gives them; not Given where the number is the quantity
// itself. Milliamps counts where the point is a current loop; Quantity is then that at 4 and 20 mA.
type Ends struct {
	Given                    bool
	Raw, Milliamps, Quantity [2]float64
}

// Line is a straight line through two points, extrapolated and never clipped. The zero value is not valid; Unity maps a
// number to itself.
type Line struct{ Gain, Offset float64 }

// Unity maps a number to itself.
var Unity = Line{Gain: 1}

// Through gives the line that maps from[0] to to[0] and from[1] to to[1]; from's ends must differ.
func Through(from, to [2]float64) Line {
	gain := (to[1] - to[0]) / (from[1] - from[0])
	return Line{Gain: gain, Offset: to[0] - gain*from[0]}
}

// At maps one number.
func (l Line) At(x float64) float64 { return l.Gain*x + l.Offset }

// Scaled is a reading in the units of its point.
type Scaled struct {
	Value     float64 // in the unit of the quantity; 0 or 1 for a state
	Level     float64 // percent, where the quantity is Level, Volts or Duty
	Milliamps float64 // where HasLoop
}

// Scaled maps a decoded number to the point's units.
func (p *Point) Scaled(raw float64) Scaled {
	var s Scaled
	x := raw
	if p.HasLoop {
		s.Milliamps = p.Loop.At(x)
		x = s.Milliamps
	}
	if p.Quantity == State {
		if (x != 0) != p.Invert {
			s.Value = 1
		}
		return s
	}
	s.Value = p.Scale.At(x)
	s.Level = s.Value
	if p.Quantity == Volts {
		s.Level = 10 * s.Value
	}
	return s
}

// Hours are the opening hours of a site by weekday, as spans of local time.
type Hours struct {
	// Given says that hours are known at all.
	Given bool

	// Days are the spans that begin on a weekday (time.Sunday is 0), in minutes from midnight; a span whose end is
	// past 1440 goes on into the next day.
	Days [7][]Span

	// Closed are dates on which no span begins, as days since 1970-01-01 of the local calendar.
	Closed map[int]bool

	cache *hoursCache // set by Load; Hours made without it work, slower
}

// Span is a stretch of local time in minutes from midnight, From before To.
type Span struct{ From, To int }
