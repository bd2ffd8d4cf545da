package modbus

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"time"

	"dimwatch/drivers"

	"github.com/goburrow/modbus"
)

// unit is one device behind a link. It frames requests for the protocol library and guards what may be asked.
type unit struct {
	link    *link
	id      byte
	timeout time.Duration
	client  modbus.Client
	reply   modbus.ProtocolDataUnit
	counts  drivers.Counts
	reading uint64 // counts the calls of watch, see link.interrupt
}

// errNotARead is what Encode answers to everything that is not a read. No byte of such a request is written.
var errNotARead = errors.New("only requests that read are sent: functions 1 to 4, 1 to 2000 bits or 125 registers, up to address 65535")

// Encode frames a request. It is called by the protocol library. It is the one gate to the wire, and lets pass reads of
// coils, discrete inputs, holding and input registers only.
func (u *unit) Encode(pdu *modbus.ProtocolDataUnit) ([]byte, error) {
	if len(pdu.Data) != 4 {
		return nil, errNotARead
	}
	address, count := int(binary.BigEndian.Uint16(pdu.Data)), int(binary.BigEndian.Uint16(pdu.Data[2:]))
	var most, size int
	switch pdu.FunctionCode {
	case modbus.FuncCodeReadCoils, modbus.FuncCodeReadDiscreteInputs:
		most, size = coil.most(), (count+7)/8
	case modbus.FuncCodeReadHoldingRegisters, modbus.FuncCodeReadInputRegisters:
		most, size = holding.most(), 2*count
	}
	if count < 1 || count > most || address+count > 65536 {
		return nil, errNotARead
	}
	return u.link.framing.request(u.id, pdu, size), nil
}

// Verify looks whether the answer is of the request. It is called by the protocol library; the framing has looked already.
func (u *unit) Verify(request, reply []byte) error { return u.link.framing.verify(request, reply) }

// Decode takes the answer out of its frame. It is called by the protocol library.
func (u *unit) Decode(adu []byte) (*modbus.ProtocolDataUnit, error) {
	u.reply.FunctionCode, u.reply.Data = u.link.framing.payload(adu)
	return &u.reply, nil
}

// call does the one library call for a table. The client never leaves this file.
func (u *unit) call(t table, address, count uint16) ([]byte, error) {
	switch t {
	case coil:
		return u.client.ReadCoils(address, count)
	case discrete:
		return u.client.ReadDiscreteInputs(address, count)
	case input:
		return u.client.ReadInputRegisters(address, count)
	}
	return u.client.ReadHoldingRegisters(address, count)
}

// watch lets the end of a context interrupt the transactions that follow, until the func that it gives back is called.
func (u *unit) watch(ctx context.Context) (unwatch func() bool) {
	u.link.mu.Lock()
	u.reading++
	reading := u.reading
	u.link.mu.Unlock()
	if ctx.Done() == nil {
		return func() bool { return true }
	}
	return context.AfterFunc(ctx, func() { u.link.interrupt(u, reading) })
}

// count counts a request that was sent by its result. One that the caller gave up for another reason than time has none.
func (u *unit) count(err error) {
	f, ok := faultOf(err)
	switch {
	case err == nil:
		u.counts.OK++
	case !ok:
		u.counts.Exception++
	case f.kind == timeoutFault, f.kind == partialFault, f.kind == cancelledFault && errors.Is(err, context.DeadlineExceeded):
		u.counts.Timeout++
	case f.kind == protocolFault:
		u.counts.Protocol++
	case f.kind == closedFault:
		u.counts.Closed++
	}
}

// String names the unit for people.
func (u *unit) String() string { return fmt.Sprintf("modbus %s unit %d", u.link.address, u.id) }
