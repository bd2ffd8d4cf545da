package loops

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"reflect"
	"unsafe"
)

// How the state of a judge becomes bytes. Every value carries its kind, and every field its name, so that a program reads
// what an older or a newer one wrote: what it does not know it leaves, and what is missing stays as New made it.
//
// A value is one byte that says its kind, and then
//
//	z      nothing: 0, false, "" or +0.0
//	t      nothing: true
//	i, u   a varint, signed or not (encoding/binary)
//	w      a signed varint: a float that is a whole number
//	e      four bytes, little end first: a float that is the same in single precision
//	f      eight bytes: any other float, to the bit
//	s      a length and so many bytes of text
//	l      a length and so many values: an array or a slice
//	r      a length and so many pairs of name and value: a struct, or an array by finding
//
// A name is a number: one more than those met so far means that its text follows, a smaller one means the text met then.

// byExplanation, byFinding and bySensorFinding are arrays with one place an explanation, a finding, or a finding of a sensor.
// They are kept by the finding's name, so that one that is added to the catalogue does not shift the others.
type (
	byExplanation[T any]   [len(explanations)]T
	byFinding[T any]       [IDs]T
	bySensorFinding[T any] [sensorFindings]T
)

func (byExplanation[T]) key(i int) string   { return explanations[i].name() }
func (byFinding[T]) key(i int) string       { return Catalogue[i].Name }
func (bySensorFinding[T]) key(i int) string { return Catalogue[sensorIDs[i]].Name }

// keyed is an array that is kept by name.
type keyed interface{ key(i int) string }

var (
	keyedType = reflect.TypeFor[keyed]()
	idType    = reflect.TypeFor[ID]()
)

// untouched marks a field that is not part of the state, since it follows from the settings.
func untouched(f reflect.StructField) bool { return f.Tag.Get("state") == "-" }

// encoder writes values.
type encoder struct {
	out   []byte
	names map[string]uint64
}

func (e *encoder) size(kind byte, n int) {
	e.out = binary.AppendUvarint(append(e.out, kind), uint64(n))
}

func (e *encoder) name(s string) {
	at, ok := e.names[s]
	if !ok {
		at = uint64(len(e.names))
		e.names[s] = at
	}
	e.out = binary.AppendUvarint(e.out, at)
	if !ok {
		e.out = binary.AppendUvarint(e.out, uint64(len(s)))
		e.out = append(e.out, s...)
	}
}

func (e *encoder) value(v reflect.Value) {
	t := v.Type()
	if t == idType {
		e.text(ID(v.Uint()).String())
		return
	}
	switch t.Kind() {
	case reflect.Struct:
		e.record(v)
	case reflect.Array, reflect.Slice:
		if t.Implements(keyedType) {
			e.size('r', v.Len())
			names := reflect.Zero(t).Interface().(keyed)
			for i := range v.Len() {
				e.name(names.key(i))
				e.value(v.Index(i))
			}
			return
		}
		e.size('l', v.Len())
		for i := range v.Len() {
			e.value(v.Index(i))
		}
	case reflect.Float64, reflect.Float32:
		e.float(v.Float())
	case reflect.String:
		e.text(v.String())
	case reflect.Bool:
		e.out = append(e.out, map[bool]byte{false: 'z', true: 't'}[v.Bool()])
	case reflect.Int, reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64:
		if v.Int() == 0 {
			e.out = append(e.out, 'z')
			return
		}
		e.out = binary.AppendVarint(append(e.out, 'i'), v.Int())
	case reflect.Uint, reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint64:
		if v.Uint() == 0 {
			e.out = append(e.out, 'z')
			return
		}
		e.out = binary.AppendUvarint(append(e.out, 'u'), v.Uint())
	default:
		panic("loops: the state can not hold a " + t.String()) // TestStateHoldsAll finds it first
	}
}

func (e *encoder) record(v reflect.Value) {
	t := v.Type()
	n := 0
	for i := range t.NumField() {
		if !untouched(t.Field(i)) {
			n++
		}
	}
	e.size('r', n)
	for i := range t.NumField() {
		if f := t.Field(i); !untouched(f) {
			e.name(f.Name)
			e.value(v.Field(i))
		}
	}
}

func (e *encoder) text(s string) {
	if s == "" {
		e.out = append(e.out, 'z')
		return
	}
	e.size('s', len(s))
	e.out = append(e.out, s...)
}

// float writes a float. Many are counts, and take a byte or two as whole numbers instead of eight; single precision is
// what much is kept in that is learned.
func (e *encoder) float(x float64) {
	const exact = 1 << 53
	bits := math.Float64bits(x)
	switch {
	case bits == 0:
		e.out = append(e.out, 'z')
	case math.Abs(x) < exact && x == math.Trunc(x) && x != 0: // -0 goes below
		e.out = binary.AppendVarint(append(e.out, 'w'), int64(x))
	case float64(float32(x)) == x:
		e.out = binary.LittleEndian.AppendUint32(append(e.out, 'e'), math.Float32bits(float32(x)))
	default:
		e.out = binary.LittleEndian.AppendUint64(append(e.out, 'f'), bits)
	}
}

// datum is one value as it was read, whatever it is meant for.
type datum struct {
	kind  byte
	bits  uint64 // i and w: as an int64; e and f: as a float64
	text  string
	names []string // of r, as long as list
	list  []datum
}

// of gives the value of a record that has a name, nil where there is none.
func (n *datum) of(name string) *datum {
	for i := range n.names {
		if n.names[i] == name {
			return &n.list[i]
		}
	}
	return nil
}

// decoder reads values.
type decoder struct {
	in    []byte
	names []string
}

// mostDepth is how deep values may lie in one another; those of a judge are a third as deep.
const mostDepth = 24

var errState = errors.New("the bytes are not a whole state")

func (d *decoder) uvarint() uint64 {
	x, n := binary.Uvarint(d.in)
	if n <= 0 {
		panic(errState)
	}
	d.in = d.in[n:]
	return x
}

func (d *decoder) varint() int64 {
	x, n := binary.Varint(d.in)
	if n <= 0 {
		panic(errState)
	}
	d.in = d.in[n:]
	return x
}

func (d *decoder) bytes(n uint64) []byte {
	if n > uint64(len(d.in)) {
		panic(errState)
	}
	b := d.in[:n]
	d.in = d.in[n:]
	return b
}

// length reads how many values or bytes follow; each takes a byte at least.
func (d *decoder) length() uint64 {
	n := d.uvarint()
	if n > uint64(len(d.in)) {
		panic(errState)
	}
	return n
}

func (d *decoder) name() string {
	at := d.uvarint()
	if at > uint64(len(d.names)) {
		panic(errState)
	}
	if at == uint64(len(d.names)) {
		d.names = append(d.names, string(d.bytes(d.uvarint())))
	}
	return d.names[at]
}

// value reads one value. It panics with errState where the bytes are none; read turns that into an error.
func (d *decoder) value(depth int) (n datum) {
	if depth > mostDepth {
		panic(errState)
	}
	n.kind = d.bytes(1)[0]
	switch n.kind {
	case 'z', 't':
	case 'i', 'w':
		n.bits = uint64(d.varint())
	case 'u':
		n.bits = d.uvarint()
	case 'e':
		n.bits = math.Float64bits(float64(math.Float32frombits(binary.LittleEndian.Uint32(d.bytes(4)))))
	case 'f':
		n.bits = binary.LittleEndian.Uint64(d.bytes(8))
	case 's':
		n.text = string(d.bytes(d.uvarint()))
	case 'l':
		for range d.length() {
			n.list = append(n.list, d.value(depth+1))
		}
	case 'r':
		for range d.length() {
			n.names = append(n.names, d.name())
			n.list = append(n.list, d.value(depth+1))
		}
	default:
		panic(errState)
	}
	return n
}

// read reads bytes that hold one value and nothing else.
func read(in []byte) (n datum, err error) {
	defer func() {
		switch r := recover(); r {
		case nil:
		case errState:
			err = errState
		default:
			panic(r)
		}
	}()
	d := decoder{in: in}
	n = d.value(0)
	if len(d.in) > 0 {
		return n, fmt.Errorf("%w: %d bytes too many", errState, len(d.in))
	}
	return n, nil
}

// fill puts a value that was read in its place. What has become of another kind, or is out of range, stays as it is. An
// array takes as many values as it has places, a slice all of them; one that has the right length keeps its elements, so
// that fields of theirs that were not there at the time stay as they are.
func fill(v reflect.Value, n *datum) {
	t := v.Type()
	if t == idType {
		id, _ := Parse(n.text)
		v.SetUint(uint64(id))
		return
	}
	switch t.Kind() {
	case reflect.Struct:
		for i := range t.NumField() {
			if f := t.Field(i); !untouched(f) {
				if x := n.of(f.Name); x != nil {
					fill(settable(v.Field(i)), x)
				}
			}
		}
	case reflect.Array, reflect.Slice:
		if t.Implements(keyedType) {
			names := reflect.Zero(t).Interface().(keyed)
			for i := range v.Len() {
				if x := n.of(names.key(i)); x != nil {
					fill(v.Index(i), x)
				}
			}
			return
		}
		if n.kind != 'l' {
			return
		}
		if t.Kind() == reflect.Slice && len(n.list) != v.Len() {
			v.Set(reflect.MakeSlice(t, len(n.list), len(n.list)))
		}
		for i := range min(v.Len(), len(n.list)) {
			fill(v.Index(i), &n.list[i])
		}
	default:
		fillOne(v, n)
	}
}

// fillOne puts a number, a text or a state in its place.
func fillOne(v reflect.Value, n *datum) {
	if n.kind == 'z' {
		v.SetZero()
		return
	}
	switch v.Kind() {
	case reflect.Bool:
		if n.kind == 't' {
			v.SetBool(true)
		}
	case reflect.String:
		if n.kind == 's' {
			v.SetString(n.text)
		}
	case reflect.Float64, reflect.Float32:
		switch n.kind {
		case 'e', 'f':
			v.SetFloat(math.Float64frombits(n.bits))
		case 'w', 'i':
			v.SetFloat(float64(int64(n.bits)))
		}
	case reflect.Int, reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64:
		if (n.kind == 'i' || n.kind == 'w') && !v.OverflowInt(int64(n.bits)) {
			v.SetInt(int64(n.bits))
		}
	case reflect.Uint, reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint64:
		if n.kind == 'u' && !v.OverflowUint(n.bits) {
			v.SetUint(n.bits)
		}
	}
}

// settable gives a field that is not exported as one that can be set. This is the one place that goes around the language:
// reflect reads such fields but refuses to set them, and what a zone remembers is nobody else's to see. The field lies in
// a struct that fill was given to set, so its memory is there and ours.
func settable(field reflect.Value) reflect.Value {
	return reflect.NewAt(field.Type(), unsafe.Pointer(field.UnsafeAddr())).Elem()
}
