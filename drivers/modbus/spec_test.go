package modbus

import (
	"bytes"
	"context"
	"encoding/hex"
	"math"
	"strings"
	"testing"
	"time"

	"dimwatch/drivers"

	"github.com/goburrow/modbus"
)

func unhex(s string) []byte {
	b, err := hex.DecodeString(strings.ReplaceAll(s, " ", ""))
	if err != nil {
		panic(err)
	}
	return b
}

// TestWorkedExamples holds the bytes on the wire against the worked examples of the Modbus Application Protocol
// Specification V1.1b3, sections 6.1 to 6.4 and 7, in the frame of the Modbus Messaging on TCP/IP Guide V1.0b, section 3.1.3
// (unit 1; the transaction is ours).
func TestWorkedExamples(t *testing.T) {
	for _, x := range []struct {
		section        string
		table          table
		address, count int
		request, reply string // behind the transaction
		data           string
		exception      byte
	}{
		{"6.1 coils 20 to 38", coil, 0x13, 0x13, "00 00 00 06 01 01 00 13 00 13", "00 00 00 06 01 01 03 CD 6B 05", "CD 6B 05", 0},
		{"6.2 discrete inputs 197 to 218", discrete, 0xC4, 0x16, "00 00 00 06 01 02 00 C4 00 16", "00 00 00 06 01 02 03 AC DB 35", "AC DB 35", 0},
		{"6.3 holding registers 108 to 110", holding, 0x6B, 3, "00 00 00 06 01 03 00 6B 00 03", "00 00 00 09 01 03 06 02 2B 00 00 00 64", "02 2B 00 00 00 64", 0},
		{"6.4 input register 9", input, 8, 1, "00 00 00 06 01 04 00 08 00 01", "00 00 00 05 01 04 02 00 0A", "00 0A", 0},
		{"7 exception to coil 1186", coil, 0x4A1, 1, "00 00 00 06 01 01 04 A1 00 01", "00 00 00 03 01 81 02", "", illegalAddress},
		{"7 exception to holding registers", holding, 0x4A1, 1, "00 00 00 06 01 03 04 A1 00 01", "00 00 00 03 01 83 02", "", illegalAddress},
	} {
		t.Run(x.section, func(t *testing.T) {
			s := startServer(t)
			s.does(func(e *exchange) {
				b := append([]byte{byte(e.id >> 8), byte(e.id)}, unhex(x.reply)...)
				e.send(b)
			})
			u := openOne(t, s.at, time.Second, "holding = 0").unit
			got := make([]byte, 250)
			n, _, err := u.link.read(context.Background(), u, x.table, x.address, x.count, got)
			if code := exceptionOf(err); code != x.exception || code == 0 && err != nil {
				t.Fatalf("error %v, want exception %d", err, x.exception)
			}
			if want := unhex(x.data); !bytes.Equal(got[:n], want) {
				t.Errorf("data % X, want % X", got[:n], want)
			}
			s.mu.Lock()
			defer s.mu.Unlock()
			if want := unhex(x.request); !bytes.Equal(s.raw[2:], want) {
				t.Errorf("request % X, want % X", s.raw[2:], want)
			}
		})
	}
}

// TestWorkedValues decodes the replies of the same examples: registers 555, 0, 100 and 10; coils 27 to 20 are 1100 1101
// and coils 38 to 36 are 101.
func TestWorkedValues(t *testing.T) {
	registers := unhex("02 2B 00 00 00 64")
	for i, want := range []float64{555, 0, 100} {
		p := place{table: holding, address: 107 + i}
		if got, q, _ := p.decode(registers, 107); got != want || q != drivers.Good {
			t.Errorf("register %d: %v %v, want %v", 108+i, got, q, want)
		}
	}
	coils := unhex("CD 6B 05")
	for number, want := range map[int]float64{20: 1, 21: 0, 22: 1, 23: 1, 24: 0, 25: 0, 26: 1, 27: 1, 36: 1, 37: 0, 38: 1} {
		p := place{table: coil, address: number - 1}
		if got, q, _ := p.decode(coils, 0x13); got != want || q != drivers.Good {
			t.Errorf("coil %d: %v %v, want %v", number, got, q, want)
		}
	}
}

// TestOrders decodes 123.456 and -1234567 in the four orders. Big endian within a register is AP 4.2; the order of
// registers is common practice without a source. The bytes are IEEE 754 and two's complement, computed by script.
func TestOrders(t *testing.T) {
	for _, x := range []struct {
		kind  kind
		order order
		wire  string
		want  float64
	}{
		{float32Kind, bigEndian, "42 F6 E9 79", float64(float32(123.456))},
		{float32Kind, wordSwap, "E9 79 42 F6", float64(float32(123.456))},
		{float32Kind, byteSwap, "F6 42 79 E9", float64(float32(123.456))},
		{float32Kind, littleEndian, "79 E9 F6 42", float64(float32(123.456))},
		{int32Kind, bigEndian, "FF ED 29 79", -1234567},
		{int32Kind, wordSwap, "29 79 FF ED", -1234567},
		{int32Kind, byteSwap, "ED FF 79 29", -1234567},
		{int32Kind, littleEndian, "79 29 ED FF", -1234567},
		{uint32Kind, bigEndian, "FF ED 29 79", 4293732729},
		{float64Kind, bigEndian, "40 5E DD 2F 1A 9F BE 77", 123.456},
		{float64Kind, wordSwap, "BE 77 1A 9F DD 2F 40 5E", 123.456},
		{float64Kind, byteSwap, "5E 40 2F DD 9F 1A 77 BE", 123.456},
		{float64Kind, littleEndian, "77 BE 9F 1A 2F DD 5E 40", 123.456},
		{int64Kind, bigEndian, "FF FF FF FF FF ED 29 79", -1234567},
		{int64Kind, wordSwap, "29 79 FF ED FF FF FF FF", -1234567},
		{uint64Kind, littleEndian, "87 D6 12 00 00 00 00 00", 1234567},
		{uint64Kind, byteSwap, "00 00 00 00 12 00 87 D6", 0x0012<<16 | 0xD687},
		{uint16Kind, bigEndian, "12 34", 0x1234},
		{uint16Kind, wordSwap, "12 34", 0x1234},
		{uint16Kind, byteSwap, "12 34", 0x3412},
		{uint16Kind, littleEndian, "12 34", 0x3412},
		{int16Kind, bigEndian, "80 00", -32768},
		{int16Kind, littleEndian, "FE FF", -2},
	} {
		p := place{table: input, address: 7, kind: x.kind, order: x.order}
		data := append(unhex("AA AA"), unhex(x.wire)...)
		if got, q, reason := p.decode(data, 6); got != x.want || q != drivers.Good || reason != "" {
			t.Errorf("%s %s of %s: %v %v %s, want %v", kinds[x.kind].name, orderNames[x.order], x.wire, got, q, reason, x.want)
		}
	}
}

// TestNoNumbers: what IEEE 754 calls no number or infinite is never a value.
func TestNoNumbers(t *testing.T) {
	for wire, k := range map[string]kind{
		"7F C0 00 00": float32Kind, "7F FF FF FF": float32Kind, "FF FF FF FF": float32Kind, "FF C0 00 00": float32Kind,
		"7F 80 00 00": float32Kind, "FF 80 00 00": float32Kind, "7F 80 00 01": float32Kind,
		"7F F8 00 00 00 00 00 00": float64Kind, "7F F0 00 00 00 00 00 00": float64Kind, "FF F0 00 00 00 00 00 00": float64Kind,
	} {
		for o := range orderNames {
			p := place{table: holding, kind: k, order: order(o)}
			// The same bytes in the order of the point.
			data := make([]byte, 0, 8)
			bits := unhex(wire)
			for i := range bits {
				data = append(data, bits[wirePositions[order(o)][len(bits)][i]])
			}
			if got, q, reason := p.decode(data, 0); q != drivers.Bad || reason == "" || math.IsNaN(got) {
				t.Errorf("%s as %s: %v is %v, reason %q", wire, orderNames[o], got, q, reason)
			}
		}
	}
}

// wirePositions says, for each order and size, which byte (0 the most significant) stands where on the wire: ABCD, CDAB,
// BADC, DCBA and the same of eight.
var wirePositions = map[order]map[int][]int{
	bigEndian:    {2: {0, 1}, 4: {0, 1, 2, 3}, 8: {0, 1, 2, 3, 4, 5, 6, 7}},
	wordSwap:     {2: {0, 1}, 4: {2, 3, 0, 1}, 8: {6, 7, 4, 5, 2, 3, 0, 1}},
	byteSwap:     {2: {1, 0}, 4: {1, 0, 3, 2}, 8: {1, 0, 3, 2, 5, 4, 7, 6}},
	littleEndian: {2: {1, 0}, 4: {3, 2, 1, 0}, 8: {7, 6, 5, 4, 3, 2, 1, 0}},
}

// TestBits: every bit of a register, in both byte orders.
func TestBits(t *testing.T) {
	for bit := range byte(16) {
		for _, o := range []order{bigEndian, littleEndian} {
			var data [2]byte
			v := uint16(1) << bit
			data[0], data[1] = byte(v>>8), byte(v)
			if o == littleEndian {
				data[0], data[1] = data[1], data[0]
			}
			for other := range byte(16) {
				p := place{table: holding, order: o, hasBit: true, bit: other}
				want := 0.0
				if other == bit {
					want = 1
				}
				if got, _, _ := p.decode(data[:], 0); got != want {
					t.Errorf("bit %d of %04x in order %s: %v", other, v, orderNames[o], got)
				}
			}
		}
	}
}

func FuzzDecode(f *testing.F) {
	f.Add([]byte{0x42, 0xF6, 0xE9, 0x79, 0, 0, 0, 0}, uint8(6), uint8(1), uint8(16))
	f.Add([]byte{0x7F, 0xF0, 0, 0, 0, 0, 0, 0}, uint8(7), uint8(0), uint8(3))
	f.Fuzz(func(t *testing.T, data []byte, k, o, bit uint8) {
		if len(data) < 8 {
			return
		}
		p := place{table: holding, address: 1000, kind: kind(k % 8), order: order(o % 4)}
		if bit < 16 && p.width() == 1 {
			p.hasBit, p.bit = true, bit
		}
		value, q, reason := p.decode(data, 1000)
		if math.IsNaN(value) || math.IsInf(value, 0) || (q == drivers.Good) != (reason == "") {
			t.Fatalf("%+v: %v %v %q", p, value, q, reason)
		}
		// The same number from the bytes put in order one by one.
		n := 2 * p.width()
		var bits uint64
		for want := range n {
			for at, is := range wirePositions[p.order][n] {
				if is == want {
					bits = bits<<8 | uint64(data[at])
				}
			}
		}
		var want float64
		switch {
		case p.hasBit:
			want = float64(bits >> p.bit & 1)
		case p.kind == float32Kind:
			want = float64(math.Float32frombits(uint32(bits)))
		case p.kind == float64Kind:
			want = math.Float64frombits(bits)
		case p.kind == int16Kind || p.kind == int32Kind || p.kind == int64Kind:
			want = float64(int64(bits<<(64-8*n)) >> (64 - 8*n))
		default:
			want = float64(bits)
		}
		if q == drivers.Good && value != want || q != drivers.Good && !math.IsNaN(want) && !math.IsInf(want, 0) {
			t.Fatalf("%+v of % X: %v %v, want %v", p, data[:n], value, q, want)
		}
	})
}

// TestOnlyReadsLeave: whatever function a request has, by hand or by the library's own calls, only the four that read
// are written to the wire.
func TestOnlyReadsLeave(t *testing.T) {
	s := startServer(t)
	src := openOne(t, s.at, time.Second, "holding = 100")
	mustRead(t, src)
	asked := len(s.requests())
	u := src.unit

	for f := range 256 {
		for _, data := range [][]byte{{}, {0, 1}, {0, 1, 0, 1}, {0, 1, 0xFF, 0}, {0, 1, 0, 1, 2, 0, 1}, make([]byte, 252)} {
			adu, err := u.Encode(&modbus.ProtocolDataUnit{FunctionCode: byte(f), Data: data})
			reads := f >= 1 && f <= 4 && bytes.Equal(data, []byte{0, 1, 0, 1})
			if (err == nil) != reads || reads != (adu != nil) {
				t.Fatalf("function %d with %d bytes: % X, error %v", f, len(data), adu, err)
			}
		}
	}
	for what, call := range map[string]func() ([]byte, error){
		"WriteSingleCoil":            func() ([]byte, error) { return u.client.WriteSingleCoil(1, 0xFF00) },
		"WriteMultipleCoils":         func() ([]byte, error) { return u.client.WriteMultipleCoils(1, 1, []byte{1}) },
		"WriteSingleRegister":        func() ([]byte, error) { return u.client.WriteSingleRegister(1, 1) },
		"WriteMultipleRegisters":     func() ([]byte, error) { return u.client.WriteMultipleRegisters(1, 1, []byte{0, 1}) },
		"MaskWriteRegister":          func() ([]byte, error) { return u.client.MaskWriteRegister(1, 1, 1) },
		"ReadWriteMultipleRegisters": func() ([]byte, error) { return u.client.ReadWriteMultipleRegisters(1, 1, 1, 1, []byte{0, 1}) },
		"ReadFIFOQueue":              func() ([]byte, error) { return u.client.ReadFIFOQueue(1) },
	} {
		if _, err := call(); err == nil {
			t.Errorf("%s gave no error", what)
		}
	}
	// Reads that run past the last address or are too long are refused as well.
	for _, x := range [][2]uint16{{0xFFFF, 2}, {0xFF83, 126}, {0, 0}} {
		if _, err := u.client.ReadHoldingRegisters(x[0], x[1]); err == nil {
			t.Errorf("a read of %d from %d gave no error", x[1], x[0])
		}
	}
	mustRead(t, src)
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(s.raw) != 12*(asked+1) {
		t.Errorf("%d bytes were received, %d requests of 12 were made", len(s.raw), asked+1)
	}
}
