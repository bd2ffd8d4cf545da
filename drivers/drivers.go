// Package drivers is the contract between the daemon and the protocols that bring it readings.
//
// A driver turns the locations of points (a register, an object, a column) into readings: a number, a time and a
// quality. It knows no zone, no level and no finding, and no driver can write: the contract has no verb for it.
//
// A protocol is one folder beside this file with one Kind, listed in drivers/all, and one call of drivertest.Run.
package drivers

import (
	"context"
	"errors"
	"time"

	"github.com/hashicorp/hcl/v2"
	"github.com/zclconf/go-cty/cty"
)

// Kind is one protocol, as named by `driver` in a device block. It is a row in all.Kinds.
type Kind struct {
	// Name is the value of `driver` that selects it, such as "modbus-tcp".
	Name string

	// PointKeys are the keys that a point of this kind may have besides those that every point has (raw, the
	// quantities, kind, invert, device): the location keys and those that say how the number is coded. Exactly one key
	// of LocationKeys must be present in a point; the configuration reports none or two.
	PointKeys    []string
	LocationKeys []string

	// Recorded says that the readings come from a file and carry their own times: `review` judges them, `watch` refuses.
	Recorded bool

	// Open makes one source for each device, in the same order, and touches no wire and opens no file, so that a
	// configuration can be checked in an office: the first Read dials. All devices of a kind are given at once, so
	// that those behind one address can share its connection. Every mistake of every device is reported. Where there
	// are errors the sources are of no use; they may be nil.
	Open func(devices []Device) ([]Source, hcl.Diagnostics)
}

// Device is what the configuration says of one device.
type Device struct {
	// Name is the label of the device block.
	Name string

	// Dir is the folder that relative paths start from: that of the configuration file.
	Dir string

	// Body holds the keys of the device block that the configuration does not know itself, such as address and unit;
	// the driver decodes it with Context and reports what is missing, mistyped or not known.
	Body    hcl.Body
	Context *hcl.EvalContext

	// Timeout bounds one request and its reply, Gap is the least pause between two requests; both are >= 0.
	// Cycle is the time from one Read to the next.
	Timeout, Cycle, Gap time.Duration

	// Points are what Read fills, in this order.
	Points []Point

	// Range is the header of the device block, for diagnostics that have no better place.
	Range hcl.Range
}

// Point is one value to be read: the keys of its object in the configuration that belong to the driver.
type Point struct {
	// Name says whose point it is, for people: "aisles-1-4 feedback".
	Name string

	// Keys are the location and coding keys, those of Kind.PointKeys that are present.
	Keys map[string]Value

	// Range is the whole object in the configuration.
	Range hcl.Range
}

// Value is one key of a point with its place in the configuration.
type Value struct {
	cty.Value
	Range hcl.Range
}

// Source reads the points of one device. It is used by one goroutine at a time.
type Source interface {
	// Read reads every point once into out, which has one element a point in the order of Device.Points and belongs
	// to the caller: it is not kept. Every element is set, to a reading that is not good where nothing else is to be
	// had. A point that fails alone is a Quality, not an error. An error means that the device as a whole gave no
	// answer, and then no element of out is good; it is one of the sentinels below, wrapped with what was tried and
	// where, or io.EOF where a recording has ended. Read returns when ctx is done.
	Read(ctx context.Context, out []Reading) error

	// Plan tells what one Read asks of the device, a line a request, for people.
	Plan() []string

	// Counts are the requests made so far, by result. It is called by the goroutine that calls Read.
	Counts() Counts

	// Close lets go of the connection. A Read after it fails. Closing twice is allowed.
	Close() error
}

// Addressed is a Source that is reached at an address, which it may share with others: of devices that are lost at the same
// time the gateway at their address is the first suspect.
type Addressed interface {
	// Address gives it in one form for all that share it, such as "10.0.0.5:502".
	Address() string
}

// Counts are requests by their result, ever growing.
type Counts struct {
	OK        uint64 // answered with values
	Timeout   uint64 // no answer in time
	Exception uint64 // the device said that it cannot
	Protocol  uint64 // an answer that breaks the protocol, or does not belong to the request
	Closed    uint64 // the connection could not be made, or broke
}

// Reading is one value as it was read.
type Reading struct {
	// At is when the value was received; for recordings, the time of its row.
	At time.Time

	// Value is the decoded number, before any scaling; 0 or 1 for a bit. It means nothing unless Quality is Good or
	// Uncertain.
	Value float64

	// Quality says how far to trust Value. The zero value is Bad.
	Quality Quality

	// Reason says in a few words why the quality is not good: "exception 2: no such register". It is "" for Good.
	Reason string
}

// Quality is how far a reading can be trusted.
type Quality uint8

// The qualities, from worst to best. The zero value is Bad, so that what nobody has set is not trusted.
const (
	Bad       Quality = iota // no value, or one that must not be used
	Stale                    // a value of an earlier cycle: the newest is missing
	Uncertain                // a value that the device itself puts in doubt
	Good                     // as read, now
)

// String gives the word that is shown to people.
func (q Quality) String() string {
	switch q {
	case Good:
		return "good"
	case Uncertain:
		return "uncertain"
	case Stale:
		return "stale"
	}
	return "bad"
}

// What Read can fail with as a whole. They are wrapped with the address and what was tried.
var (
	ErrTimeout  = errors.New("no answer in time")
	ErrRefused  = errors.New("not connected")
	ErrReply    = errors.New("answer breaks the protocol")
	ErrDevice   = errors.New("the device refuses every request")
	ErrNoAnswer = errors.New("the device did not answer") // in a recording: a row without any of its values
	ErrClosed   = errors.New("source is closed")
)
