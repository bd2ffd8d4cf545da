package modbus

import (
	"encoding/binary"
	"fmt"
	"math"
	"math/bits"

	"dimwatch/drivers"
	"dimwatch/drivers/plan"
)

// table is one of the four address spaces of a device (AP 4.3).
type table uint8

const (
	coil table = iota
	discrete
	input
	holding
)

// tables are their keys in a point, the functions that read them (AP 6.1 to 6.4), and whether they hold bits.
var tables = [...]struct {
	key      string
	function byte
	bits     bool
}{
	coil:     {"coil", 1, true},
	discrete: {"discrete", 2, true},
	input:    {"input", 4, false},
	holding:  {"holding", 3, false},
}

// most is how many addresses of the table one request may ask for.
func (t table) most() int {
	if tables[t].bits {
		return plan.MaxBits
	}
	return plan.MaxRegisters
}

// kind is how the bits of a register value are to be understood.
type kind uint8

const (
	uint16Kind kind = iota
	int16Kind
	uint32Kind
	int32Kind
	uint64Kind
	int64Kind
	float32Kind
	float64Kind
)

// kinds are their names in the configuration and how many registers they take. Numbers from a float64's 53 bits on are
// rounded, which no meter reading comes near.
var kinds = [...]struct {
	name  string
	words int
}{
	uint16Kind:  {"uint16", 1},
	int16Kind:   {"int16", 1},
	uint32Kind:  {"uint32", 2},
	int32Kind:   {"int32", 2},
	uint64Kind:  {"uint64", 4},
	int64Kind:   {"int64", 4},
	float32Kind: {"float32", 2},
	float64Kind: {"float64", 4},
}

func kindNames() []string {
	var names []string
	for _, k := range kinds {
		names = append(names, k.name)
	}
	return names
}

// order is the order of the bytes of a value on the wire. Only big-endian within a register is standard (AP 4.2); how
// registers are put together is the habit of a maker.
type order uint8

const (
	bigEndian    order = iota // ABCD
	wordSwap                  // CDAB: low register first
	byteSwap                  // BADC: low byte first in each register
	littleEndian              // DCBA
)

var orderNames = []string{bigEndian: "big", wordSwap: "word-swap", byteSwap: "byte-swap", littleEndian: "little"}

// place is where a point lies and how it is coded.
type place struct {
	table   table
	address int
	kind    kind
	order   order
	hasBit  bool
	bit     byte
}

// width is how many addresses the point takes.
func (p *place) width() int {
	if tables[p.table].bits {
		return 1
	}
	return kinds[p.kind].words
}

func (p *place) span() plan.Span { return plan.Span{Start: p.address, Width: p.width()} }

// String gives the place for people: "holding 100".
func (p *place) String() string { return fmt.Sprintf("%s %d", tables[p.table].key, p.address) }

// decode takes the point's value out of the data of a reply that begins at address start. The reply covers the point. A
// value that is no number is bad.
func (p *place) decode(data []byte, start int) (value float64, q drivers.Quality, reason string) {
	offset := p.address - start
	if tables[p.table].bits {
		// AP 6.1: the first bit asked for is the lowest of the first byte.
		return float64(data[offset/8] >> (offset % 8) & 1), drivers.Good, ""
	}
	word := p.word(data[2*offset : 2*(offset+p.width())])
	if p.hasBit {
		return float64(word >> p.bit & 1), drivers.Good, ""
	}
	value = p.kind.number(word)
	switch {
	case math.IsNaN(value):
		return 0, drivers.Bad, "not a number (NaN)"
	case math.IsInf(value, 0):
		return 0, drivers.Bad, "infinite"
	}
	return value, drivers.Good, ""
}

// word puts the registers of a value together, the most significant bits first.
func (p *place) word(wire []byte) (value uint64) {
	lowFirst := p.order == wordSwap || p.order == littleEndian
	swapped := p.order == byteSwap || p.order == littleEndian
	for i := 0; i < len(wire); i += 2 {
		register := be16(wire, i)
		if swapped {
			register = bits.ReverseBytes16(register)
		}
		if lowFirst {
			value |= uint64(register) << (8 * i)
		} else {
			value = value<<16 | uint64(register)
		}
	}
	return value
}

// number understands bits as a number of the kind.
func (k kind) number(bits uint64) float64 {
	switch k {
	case int16Kind:
		return float64(int16(bits))
	case int32Kind:
		return float64(int32(bits))
	case int64Kind:
		return float64(int64(bits))
	case float32Kind:
		return float64(math.Float32frombits(uint32(bits)))
	case float64Kind:
		return math.Float64frombits(bits)
	}
	return float64(bits)
}

// be16 is the 16-bit number at b[i], most significant byte first.
func be16(b []byte, i int) uint16 { return binary.BigEndian.Uint16(b[i:]) }
