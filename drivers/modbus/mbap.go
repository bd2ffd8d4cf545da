package modbus

import (
	"encoding/binary"
	"fmt"
	"io"
	"math/rand/v2"

	"github.com/goburrow/modbus"
)

// The header of Modbus over TCP (MT 3.1.3): transaction, protocol, length of what follows, unit; all but the unit are
// 16-bit numbers, most significant byte first.
const (
	headerSize = 7
	maxADU     = 260 // header and a PDU of at most 253 bytes (AP 4.1)

	// rememberedIDs is how many transactions that are over are remembered, so that a late or doubled answer to one of
	// them is thrown away instead of ending the connection. Chosen: one transaction is out at a time and two silent ones
	// end the connection, so more than a few cannot be late; 65536 numbers are far more.
	rememberedIDs = 8
)

// mbap is the framing of Modbus over TCP. An answer belongs to the request when its transaction, unit, function and shape
// are those of the request; nothing else is let through, and where the framing is lost the connection has to be closed:
// there is no way to find the next frame in a stream of bytes.
type mbap struct {
	tx [headerSize + 5]byte // room for a read request and for nothing longer

	rx         [2 * maxADU]byte
	start, end int // bytes received and not yet used

	id   uint16 // of the request that is out or was the last
	past [rememberedIDs]uint16
	n    int // how many were ever put into past

	unit, function byte
	size           int // bytes of data that the answer must have

	stale uint64 // answers thrown away because their request was over
}

// reset forgets the connection before. The numbers begin at random, so that those of two connections do not meet.
func (m *mbap) reset() {
	m.start, m.end, m.n = 0, 0, 0
	m.id = uint16(rand.Uint32())
}

// request frames a read of count addresses; the result is valid until the next call.
func (m *mbap) request(unit byte, pdu *modbus.ProtocolDataUnit, size int) []byte {
	m.id++
	m.unit, m.function, m.size = unit, pdu.FunctionCode, size
	binary.BigEndian.PutUint16(m.tx[0:], m.id)
	binary.BigEndian.PutUint16(m.tx[2:], 0)
	binary.BigEndian.PutUint16(m.tx[4:], uint16(2+len(pdu.Data)))
	m.tx[6] = unit
	m.tx[7] = pdu.FunctionCode
	copy(m.tx[8:], pdu.Data)
	return m.tx[:8+len(pdu.Data)]
}

// reply reads until the answer to the last request is there. It throws away answers to requests that are over. The
// result is valid until the next call.
func (m *mbap) reply(s io.Reader) ([]byte, error) {
	for {
		adu, err := m.frame(s)
		if err != nil {
			return nil, err
		}
		if id := be16(adu, 0); id != m.id {
			if !m.isPast(id) {
				return nil, protocolError("the answer carries transaction %d, which was never sent (asked: %d)", id, m.id)
			}
			m.stale++
			continue
		}
		if err := m.check(adu); err != nil {
			return nil, err
		}
		m.over() // a second answer to it is thrown away
		return adu, nil
	}
}

// over notes that the last request is over: answered, or given up while nothing of its answer had come.
func (m *mbap) over() {
	m.past[m.n%rememberedIDs] = m.id
	m.n++
}

func (m *mbap) isPast(id uint16) bool {
	for i := range min(m.n, rememberedIDs) {
		if m.past[i] == id {
			return true
		}
	}
	return false
}

// partial says that a part of a frame has been received.
func (m *mbap) partial() bool { return m.end > m.start }

// frame reads the next whole frame, whatever it is about.
func (m *mbap) frame(s io.Reader) ([]byte, error) {
	if err := m.fill(s, headerSize-1); err != nil {
		return nil, err
	}
	if p := be16(m.rx[m.start:], 2); p != 0 {
		return nil, protocolError("the answer is of protocol %d, not of Modbus", p)
	}
	length := int(be16(m.rx[m.start:], 4))
	if length < 2 || length > maxADU-headerSize+1 {
		return nil, protocolError("the answer says that it is %d bytes long, which must be 2 to 254", length)
	}
	size := headerSize - 1 + length
	if err := m.fill(s, size); err != nil {
		return nil, err
	}
	adu := m.rx[m.start : m.start+size]
	m.start += size
	return adu, nil
}

// fill reads until at least n unused bytes are there.
func (m *mbap) fill(s io.Reader, n int) error {
	if m.end-m.start >= n {
		return nil
	}
	if m.start > 0 {
		m.end = copy(m.rx[:], m.rx[m.start:m.end])
		m.start = 0
	}
	for m.end < n {
		k, err := s.Read(m.rx[m.end:])
		m.end += k
		if err != nil && m.end < n {
			return err
		}
		if k == 0 && err == nil {
			return io.ErrNoProgress // a stream that gives nothing is gone; asking on would spin
		}
	}
	return nil
}

// check looks whether a frame of the right transaction is an answer to the request: values of the size asked for, or an
// exception of exactly one code (AP 7).
func (m *mbap) check(adu []byte) error {
	function := adu[headerSize]
	switch {
	case adu[6] != m.unit:
		return protocolError("the answer is of unit %d", adu[6])
	case function == m.function|0x80:
		if len(adu) != headerSize+2 {
			return protocolError("the exception has %d bytes instead of one code", len(adu)-headerSize-1)
		}
		return nil
	case function != m.function:
		return protocolError("the answer is of function %d, asked was %d", function, m.function)
	case len(adu) < headerSize+2 || int(adu[headerSize+1]) != m.size || len(adu) != headerSize+2+m.size:
		return protocolError("the answer has %d bytes of data, asked were %d", len(adu)-headerSize-2, m.size)
	}
	return nil
}

// verify looks at the ends of a pair of frames once more, for the protocol library.
func (m *mbap) verify(request, reply []byte) error {
	if len(request) < headerSize || len(reply) < headerSize+2 || be16(request, 0) != be16(reply, 0) || request[6] != reply[6] {
		return protocolError("the answer is of another request")
	}
	return nil
}

// payload gives the function and data of a frame.
func (m *mbap) payload(adu []byte) (function byte, data []byte) {
	return adu[headerSize], adu[headerSize+1:]
}

func protocolError(format string, args ...any) error {
	return &fault{kind: protocolFault, text: fmt.Sprintf(format, args...)}
}
