package modbus

import (
	"bytes"
	"errors"
	"io"
	"testing"

	"dimwatch/drivers"

	"github.com/goburrow/modbus"
)

// chunks is a stream that gives a text in pieces of at most n bytes.
type chunks struct {
	b []byte
	n int
}

func (c *chunks) Read(p []byte) (int, error) {
	if len(c.b) == 0 {
		return 0, io.EOF
	}
	n := copy(p, c.b[:min(len(c.b), max(1, c.n))])
	c.b = c.b[n:]
	return n, nil
}

// framed is a framing that has asked for n registers from unit 7.
func framed(registers int) *mbap {
	m := &mbap{}
	m.reset()
	m.request(7, &modbus.ProtocolDataUnit{FunctionCode: 3, Data: []byte{0, 100, 0, byte(registers)}}, 2*registers)
	return m
}

// TestShapes: an answer of any other shape than the one asked for is none (AP 6.3, 7; MT 3.1.3).
func TestShapes(t *testing.T) {
	x := &exchange{}
	for _, n := range []int{1, 2, 60, 125} {
		for _, count := range []int{0, 1, 2*n - 2, 2*n - 1, 2 * n, 2*n + 1, 2*n + 2, 255} {
			for _, present := range []int{0, 1, 2*n - 2, 2*n - 1, 2 * n, 2*n + 1, 2*n + 2} {
				m := framed(n)
				b := x.frame(m.id, 7, append([]byte{3, byte(count)}, make([]byte, present)...)...)
				adu, err := m.reply(&chunks{b, 1 << 10})
				if right := count == 2*n && present == 2*n; (err == nil) != right || right != (adu != nil) {
					t.Errorf("asked %d registers, count %d, %d bytes: error %v", n, count, present, err)
				}
				if err != nil && !errors.Is(err, drivers.ErrReply) {
					t.Errorf("asked %d registers, count %d, %d bytes: %v is no ErrReply", n, count, present, err)
				}
			}
		}
	}
	for name, pdu := range map[string][]byte{
		"no function": {}, "function alone": {3}, "exception without code": {0x83}, "exception with four bytes": {0x83, 2, 0, 0, 0},
		"exception with two": {0x83, 2, 0}, "other function": {4, 2, 0, 1}, "exception of another function": {0x84, 2}, "request echoed": {3, 0, 100, 0, 1},
	} {
		m := framed(1)
		if _, err := m.reply(&chunks{x.frame(m.id, 7, pdu...), 3}); !errors.Is(err, drivers.ErrReply) || exceptionOf(err) != 0 {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// TestPastAnswers: those to the last eight requests that are over are thrown away, any other ends it.
func TestPastAnswers(t *testing.T) {
	x := &exchange{}
	m := framed(1)
	first := m.id
	for range rememberedIDs {
		m.over()
		m.request(7, &modbus.ProtocolDataUnit{FunctionCode: 3, Data: []byte{0, 100, 0, 1}}, 2)
	}
	var late []byte
	for i := range uint16(rememberedIDs) {
		late = append(late, x.frame(first+i, 7, 3, 2, 0xBE, 0xEF)...)
	}
	mine := x.frame(m.id, 7, 3, 2, 0x12, 0x34)
	for _, size := range []int{1, 7, 4096} {
		again := *m
		adu, err := again.reply(&chunks{append(bytes.Clone(late), mine...), size})
		if err != nil || !bytes.Equal(adu, mine) || again.stale != rememberedIDs {
			t.Errorf("in pieces of %d: % X, error %v, %d thrown away", size, adu, err, again.stale)
		}
	}
	for _, id := range []uint16{first - 1, m.id + 1} {
		again := *m
		if _, err := again.reply(&chunks{x.frame(id, 7, 3, 2, 0, 0), 9}); !errors.Is(err, drivers.ErrReply) {
			t.Errorf("transaction %d: %v", id, err)
		}
	}
}

// TestTransactionNumbersStartAtRandom: those of an old connection do not meet those of a new one.
func TestTransactionNumbersStartAtRandom(t *testing.T) {
	seen := map[uint16]bool{}
	var m mbap
	for range 64 {
		m.reset()
		seen[m.id] = true
	}
	if len(seen) < 48 {
		t.Errorf("64 connections began with %d different numbers", len(seen))
	}
}

// FuzzFrame: no bytes make the parser panic or spin, and what it accepts is an answer to the request.
func FuzzFrame(f *testing.F) {
	x := &exchange{}
	good := x.frame(0x1234, 7, 3, 4, 1, 2, 3, 4)
	f.Add(good, uint8(255), uint8(2))
	f.Add(append(x.frame(0x1233, 7, 3, 4, 9, 9, 9, 9), good...), uint8(1), uint8(2))
	f.Add(x.frame(0x1234, 7, 0x83, 2), uint8(3), uint8(2))
	f.Add([]byte{0x12, 0x34, 0, 0, 0, 0}, uint8(3), uint8(1))
	f.Add([]byte{0x12, 0x34, 0, 0, 0xFF, 0xFF, 7}, uint8(3), uint8(1))
	f.Fuzz(func(t *testing.T, stream []byte, size, registers uint8) {
		n := 1 + int(registers)%125
		m := framed(n)
		m.id = 0x1233
		m.over()
		m.id = 0x1234
		s := &chunks{bytes.Clone(stream), int(size)}
		for range 4 {
			adu, err := m.reply(s)
			if err != nil {
				if f, ok := faultOf(err); !ok && !errors.Is(err, io.EOF) || ok && f.kind != protocolFault {
					t.Fatalf("an error of no kind: %v", err)
				}
				return
			}
			if !bytes.Contains(stream, adu) {
				t.Fatalf("% X was never received", adu)
			}
			values := len(adu) == 9+2*n && adu[7] == 3 && int(adu[8]) == 2*n
			exception := len(adu) == 9 && adu[7] == 0x83
			if be16(adu, 0) != 0x1234 || be16(adu, 2) != 0 || int(be16(adu, 4)) != len(adu)-6 || adu[6] != 7 || !values && !exception {
				t.Fatalf("accepted % X for %d registers", adu, n)
			}
			m.id = 0x1234 // and once more, though it is among the past ones now
		}
	})
}
