package demo

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log"
	"net"
	"time"

	"github.com/simonvetter/modbus"
)

// live is what a started store has besides: its server and its clock.
type live struct {
	address string
	server  *modbus.ModbusServer
	tick    time.Time     // when the clock was last read
	elapsed time.Duration // the store's time then
	done    chan struct{} // closed by Close
	ended   chan struct{} // closed when the clock's goroutine has ended
	release func() bool   // lets go of the context
}

const (
	// clients is how many connections the server takes; more are closed at once.
	clients = 16

	// ports is how many free ports are tried: another program may take one between its choice and its use.
	ports = 10

	// longestTick is the most time that passes in the store in one go. A machine that was busy or asleep for longer finds
	// the store where it left it, and not a minute's faults at once.
	longestTick = 5 * time.Second
)

// Start makes a store and serves it on a free port of 127.0.0.1 until ctx is done or Close is called; its time is that of
// the clock.
func Start(ctx context.Context, seed uint64) (*Store, error) {
	s := New(seed)
	l := &live{done: make(chan struct{}), ended: make(chan struct{})}
	var err error
	for range ports {
		if l.address, err = freeAddress(); err != nil {
			break
		}
		l.server, err = modbus.NewServer(&modbus.ServerConfiguration{
			URL:        "tcp://" + l.address,
			MaxClients: clients,
			Logger:     log.New(io.Discard, "", 0),
		}, handler{s})
		if err != nil {
			break
		}
		if err = l.server.Start(); err == nil {
			break
		}
	}
	if err != nil {
		return nil, fmt.Errorf("the simulated store cannot listen on 127.0.0.1: %w", err)
	}
	s.mu.Lock()
	l.tick = time.Now()
	s.live = l
	s.mu.Unlock()
	go s.run()
	release := context.AfterFunc(ctx, func() { s.Close() })
	s.mu.Lock()
	l.release = release
	s.mu.Unlock()
	return s, nil
}

// freeAddress gives an address of loopback at which nobody listens. The server library does not tell which port it was
// given, so the port is chosen before.
func freeAddress() (string, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return "", err
	}
	defer l.Close()
	return l.Addr().String(), nil
}

// Address is where a started store is served, as host:port.
func (s *Store) Address() string { return s.live.address }

// run keeps the story going while nobody asks for registers.
func (s *Store) run() {
	defer close(s.live.ended)
	ticker := time.NewTicker(step)
	defer ticker.Stop()
	for {
		select {
		case <-s.live.done:
			return
		case <-ticker.C:
			s.mu.Lock()
			s.catchUp()
			s.mu.Unlock()
		}
	}
}

// catchUp takes the store to the time of the clock.
func (s *Store) catchUp() {
	now := time.Now()
	s.live.elapsed += min(now.Sub(s.live.tick), longestTick)
	s.live.tick = now
	s.advance(s.live.elapsed)
}

// Close ends the server and its connections, and closes Events. Closing twice is allowed.
func (s *Store) Close() error {
	s.mu.Lock()
	first := !s.closed
	s.closed = true
	if first {
		close(s.events)
	}
	l := s.live
	s.mu.Unlock()
	if l == nil {
		return nil
	}
	if first {
		if l.release != nil {
			l.release()
		}
		close(l.done)
	}
	<-l.ended
	if !first {
		return nil
	}
	return l.server.Stop()
}

// handler answers requests from the store as it is when they come.
type handler struct{ s *Store }

// answer gives registers as they are now, or the error that the library sends as an exception.
func (h handler) answer(unit uint8, kind Kind, addr, quantity uint16, write bool) ([]uint16, error) {
	s := h.s
	s.mu.Lock()
	defer s.mu.Unlock()
	if write {
		s.writes++
		return nil, modbus.ErrIllegalFunction
	}
	if s.live != nil && !s.closed {
		s.catchUp()
	}
	words, err := s.read(unit, kind, addr, quantity)
	switch {
	case errors.Is(err, ErrSilent):
		return nil, modbus.ErrGWTargetFailedToRespond
	case errors.Is(err, ErrNoRegister):
		return nil, modbus.ErrIllegalDataAddress
	}
	return words, err
}

func (h handler) bits(unit uint8, kind Kind, addr, quantity uint16, write bool) ([]bool, error) {
	words, err := h.answer(unit, kind, addr, quantity, write)
	if err != nil {
		return nil, err
	}
	bits := make([]bool, len(words))
	for i, w := range words {
		bits[i] = w != 0
	}
	return bits, nil
}

// HandleCoils answers function 1 and refuses 5 and 15.
func (h handler) HandleCoils(r *modbus.CoilsRequest) ([]bool, error) {
	return h.bits(r.UnitId, Coil, r.Addr, r.Quantity, r.IsWrite)
}

// HandleDiscreteInputs answers function 2.
func (h handler) HandleDiscreteInputs(r *modbus.DiscreteInputsRequest) ([]bool, error) {
	return h.bits(r.UnitId, Discrete, r.Addr, r.Quantity, false)
}

// HandleHoldingRegisters answers function 3 and refuses 6 and 16.
func (h handler) HandleHoldingRegisters(r *modbus.HoldingRegistersRequest) ([]uint16, error) {
	return h.answer(r.UnitId, Holding, r.Addr, r.Quantity, r.IsWrite)
}

// HandleInputRegisters answers function 4.
func (h handler) HandleInputRegisters(r *modbus.InputRegistersRequest) ([]uint16, error) {
	return h.answer(r.UnitId, Input, r.Addr, r.Quantity, false)
}
