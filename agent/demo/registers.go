package demo

import (
	"errors"
	"fmt"
	"math"
)

// Kind is one of the four tables of a Modbus unit.
type Kind uint8

// The tables, named as the locations of a point in a configuration.
const (
	Coil Kind = iota
	Discrete
	Input
	Holding
)

// String gives the name of the table.
func (k Kind) String() string { return [...]string{"coil", "discrete", "input", "holding"}[k] }

// What Register can fail with.
var (
	ErrSilent     = errors.New("the unit does not answer")
	ErrNoRegister = errors.New("no such register")
)

// cell is a register or bit that the store serves: which, and how its 16 bits are made from the zone as it is.
type cell struct {
	unit uint8
	kind Kind
	addr uint16
}

// layout is how one unit's program puts its zones into its tables. Every unit was programmed by somebody else.
type layout struct {
	unit uint8
	lay  func(t table, i int, z *zone) // writes zone i of the unit
	eye  func(t table, s *sensor)      // writes the sensor
}

var layouts = []layout{
	// Per mille in holding registers, feedback as 12-bit counts of 0..20 mA (which cannot show more than 20 mA), power
	// as a float with its words swapped, the order to switch on as a coil.
	{unitNorth, func(t table, i int, z *zone) {
		t.put(Holding, 100+2*i, scaled(z.setpoint, 0, 100, 0, 1000))
		t.put(Holding, 101+2*i, scaled(z.command, 0, 100, 0, 1000))
		t.put(Input, 40+i, counts(z.input, 20, 4095))
		t.put(Input, 60+2*i, swapped(z.watts)...)
		t.put(Coil, i, 1)
	}, func(t table, s *sensor) { t.put(Input, 50, counts(s.milliamp, 20, 4095)) }},

	// Millivolts, hundredths of a milliampere, power in tenths of a watt as 32 bits, and a contact behind the breaker that
	// is closed when the gear is off.
	{unitSouth, func(t table, i int, z *zone) {
		t.put(Input, 300+10*i, scaled(z.setpoint, 0, 100, 0, 10000))
		t.put(Input, 301+10*i, scaled(z.command, 0, 100, 0, 10000))
		t.put(Input, 302+10*i, counts(z.input, 25, 2500))
		t.put(Input, 304+10*i, uint16(uint32(math.Round(10*z.watts))>>16), uint16(uint32(math.Round(10*z.watts))))
		t.put(Discrete, 8+i, bit(!z.fed))
	}, func(t table, s *sensor) { t.put(Input, 290, counts(s.milliamp, 25, 2500)) }},

	// Setpoint as a float in percent, the command as a pulse width of 0..255, feedback with 4..20 mA as 0..27648 and
	// negative numbers below, power as a little-endian float in kilowatts, all orders in one status word.
	{unitBack, func(t table, i int, z *zone) {
		high := math.Float32bits(float32(z.setpoint))
		t.put(Holding, 1000+2*i, uint16(high>>16), uint16(high))
		t.put(Holding, 1020+i, scaled(z.command, 0, 100, 0, 255))
		t.put(Input, 200+i, uint16(int16(math.Round(27648*(z.input-4)/16))))
		watts := math.Float32bits(float32(z.watts / 1000))
		t.put(Input, 220+2*i, turned(uint16(watts)), turned(uint16(watts>>16)))
		t.set(Holding, 1030, 1<<i)
	}, func(t table, s *sensor) { t.put(Input, 210, uint16(int16(math.Round(27648*(s.milliamp-4)/16)))) }},

	// Steps of 0..255 for levels, 10-bit counts of 0..25 mA, whole watts.
	{unitGarden, func(t table, i int, z *zone) {
		t.put(Holding, 4*i, scaled(z.setpoint, 0, 100, 0, 255))
		t.put(Holding, 1+4*i, scaled(z.command, 0, 100, 0, 255))
		t.put(Input, i, counts(z.input, 25, 1023))
		t.put(Input, 4+i, scaled(z.watts, 0, 10000, 0, 10000))
		t.put(Coil, 16+i, 1)
	}, func(t table, s *sensor) { t.put(Input, 2, counts(s.milliamp, 25, 1023)) }},
}

// table is where a layout writes one unit's registers.
type table struct {
	unit  uint8
	cells map[cell]uint16
}

// put writes registers, or one bit, from an address on.
func (t table) put(k Kind, addr int, words ...uint16) {
	for i, w := range words {
		t.cells[cell{t.unit, k, uint16(addr + i)}] = w
	}
}

// set sets bits of a register and leaves its others.
func (t table) set(k Kind, addr int, bits uint16) { t.cells[cell{t.unit, k, uint16(addr)}] |= bits }

// scaled maps x from its range to a whole number in that of a register, and stops at its ends.
func scaled(x, from, to, rawFrom, rawTo float64) uint16 {
	r := rawFrom + (x-from)*(rawTo-rawFrom)/(to-from)
	return uint16(math.Round(math.Min(rawTo, math.Max(rawFrom, r))))
}

// counts is what an analog input of 0..span milliamperes makes of a current.
func counts(milliamp, span, most float64) uint16 { return scaled(milliamp, 0, span, 0, most) }

// swapped is a float32 with its low word first.
func swapped(x float64) []uint16 {
	b := math.Float32bits(float32(x))
	return []uint16{uint16(b), uint16(b >> 16)}
}

// turned is a word with its bytes exchanged.
func turned(w uint16) uint16 { return w<<8 | w>>8 }

func bit(on bool) uint16 {
	if on {
		return 1
	}
	return 0
}

// publish writes all registers as the zones are now.
func (s *Store) publish() {
	for _, l := range layouts {
		t := table{l.unit, s.cells}
		i := 0
		for _, z := range s.zones {
			if z.unit == l.unit {
				l.lay(t, i, z)
				i++
			}
		}
		l.eye(t, s.sensors[l.unit])
	}
}

// Register gives one register, or a bit as 0 or 1, as it stands after the last Advance. It fails with ErrSilent or
// ErrNoRegister, wrapped with the place.
func (s *Store) Register(unit uint8, kind Kind, addr uint16) (uint16, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	words, err := s.read(unit, kind, addr, 1)
	if err != nil {
		return 0, err
	}
	return words[0], nil
}

// read gives registers in a row. Holes inside a unit's table read as 0, as in many controllers; beyond its first and
// last register there is nothing.
func (s *Store) read(unit uint8, kind Kind, addr, quantity uint16) ([]uint16, error) {
	if s.silent[unit] || s.sensors[unit] == nil {
		return nil, fmt.Errorf("unit %d: %w", unit, ErrSilent)
	}
	first, last := s.ends[tableID{unit, kind}].first, s.ends[tableID{unit, kind}].last
	end := int(addr) + int(quantity) - 1
	if _, any := s.ends[tableID{unit, kind}]; !any || addr < first || end > int(last) {
		return nil, fmt.Errorf("unit %d %s %d..%d: %w", unit, kind, addr, end, ErrNoRegister)
	}
	words := make([]uint16, quantity)
	for i := range words {
		words[i] = s.cells[cell{unit, kind, addr + uint16(i)}]
	}
	return words, nil
}

type tableID struct {
	unit uint8
	kind Kind
}

type tableEnds struct{ first, last uint16 }

// tables finds the first and last register of every table.
func tables(cells map[cell]uint16) map[tableID]tableEnds {
	ends := map[tableID]tableEnds{}
	for c := range cells {
		id := tableID{c.unit, c.kind}
		e, any := ends[id]
		if !any {
			e = tableEnds{c.addr, c.addr}
		}
		ends[id] = tableEnds{min(e.first, c.addr), max(e.last, c.addr)}
	}
	return ends
}
