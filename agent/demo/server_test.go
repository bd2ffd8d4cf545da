package demo

import (
	"context"
	"errors"
	"testing"
	"time"

	"github.com/simonvetter/modbus"
	"go.uber.org/goleak"
)

func TestMain(m *testing.M) {
	goleak.VerifyTestMain(m)
}

func started(t *testing.T) (*Store, *modbus.ModbusClient) {
	t.Helper()
	s, err := Start(context.Background(), 1)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	c, err := modbus.NewClient(&modbus.ClientConfiguration{URL: "tcp://" + s.Address(), Timeout: 5 * time.Second})
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Open(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	return s, c
}

// jump sets a started store's clock forward.
func (s *Store) jump(to time.Duration) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.live.elapsed = max(s.live.elapsed, to)
	s.advance(s.live.elapsed)
}

func TestServerAnswers(t *testing.T) {
	s, c := started(t)
	c.SetUnitId(unitNorth)
	if coils, err := c.ReadCoils(0, 5); err != nil || len(coils) != 5 || !coils[4] {
		t.Errorf("coils %v, %v", coils, err)
	}
	if words, err := c.ReadRegisters(100, 10, modbus.HOLDING_REGISTER); err != nil || len(words) != 10 || words[0] < 250 || words[0] > 1000 {
		t.Errorf("holding %v, %v", words, err)
	}
	if words, err := c.ReadRegisters(40, 30, modbus.INPUT_REGISTER); err != nil || len(words) != 30 || words[0] < 819 {
		t.Errorf("input %v, %v", words, err)
	}
	c.SetEncoding(modbus.BIG_ENDIAN, modbus.LOW_WORD_FIRST)
	if watts, err := c.ReadFloat32(60, modbus.INPUT_REGISTER); err != nil || watts < 174 || watts > 580 {
		t.Errorf("watts %v, %v", watts, err)
	}
	c.SetUnitId(unitSouth)
	if inputs, err := c.ReadDiscreteInputs(8, 4); err != nil || len(inputs) != 4 || inputs[0] {
		t.Errorf("discrete %v, %v", inputs, err)
	}
	if _, err := c.ReadRegisters(0, 1, modbus.HOLDING_REGISTER); !errors.Is(err, modbus.ErrIllegalDataAddress) {
		t.Errorf("a register that is not there: %v", err)
	}
	c.SetUnitId(200)
	if _, err := c.ReadRegisters(0, 1, modbus.HOLDING_REGISTER); !errors.Is(err, modbus.ErrGWTargetFailedToRespond) {
		t.Errorf("a unit that is not there: %v", err)
	}
	if n := s.Writes(); n != 0 {
		t.Errorf("%d writes counted", n)
	}
}

func TestWritesRefused(t *testing.T) {
	s, c := started(t)
	c.SetUnitId(unitNorth)
	before, err := c.ReadRegister(101, modbus.HOLDING_REGISTER)
	if err != nil {
		t.Fatal(err)
	}
	for i, write := range []func() error{
		func() error { return c.WriteCoil(0, false) },
		func() error { return c.WriteCoils(0, []bool{false, false}) },
		func() error { return c.WriteRegister(101, before/2) },
		func() error { return c.WriteRegisters(101, []uint16{0, 0}) },
	} {
		if err := write(); !errors.Is(err, modbus.ErrIllegalFunction) {
			t.Errorf("write %d: %v", i, err)
		}
		if s.Writes() != i+1 {
			t.Errorf("%d writes counted, want %d", s.Writes(), i+1)
		}
	}
	if coil, err := c.ReadCoil(0); err != nil || !coil {
		t.Errorf("coil %v, %v after a refused write", coil, err)
	}
}

func TestServerSilentUnit(t *testing.T) {
	s, c := started(t)
	s.jump(120 * time.Second)
	c.SetUnitId(unitGarden)
	if _, err := c.ReadRegister(0, modbus.HOLDING_REGISTER); !errors.Is(err, modbus.ErrGWTargetFailedToRespond) {
		t.Errorf("silent unit: %v", err)
	}
	c.SetUnitId(unitBack)
	if _, err := c.ReadRegister(1020, modbus.HOLDING_REGISTER); err != nil {
		t.Errorf("another unit on the same connection: %v", err)
	}
	s.jump(156 * time.Second)
	c.SetUnitId(unitGarden)
	if _, err := c.ReadRegister(0, modbus.HOLDING_REGISTER); err != nil {
		t.Errorf("the unit does not come back: %v", err)
	}
}

// TestClockRuns waits for the store to move on by itself, without a request.
func TestClockRuns(t *testing.T) {
	s, _ := started(t)
	s.jump(Story + 3900*time.Millisecond)
	for e := range s.Events() {
		if e.At > Story {
			return // the event at 4 s of the second story came by the clock alone
		}
	}
	t.Error("events ended")
}

// TestLongStop lets the clock find that much time has passed: the store does not run through it at once.
func TestLongStop(t *testing.T) {
	s, _ := started(t)
	s.mu.Lock()
	s.live.tick = s.live.tick.Add(-time.Hour)
	s.catchUp()
	now := s.now
	s.mu.Unlock()
	if now > time.Minute {
		t.Errorf("the store ran on to %v", now)
	}
}

func TestClose(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	s, err := Start(ctx, 1)
	if err != nil {
		t.Fatal(err)
	}
	cancel()
	for range s.Events() { // ends when the store is closed by its context
	}
	for range 2 {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	}
	c, err := modbus.NewClient(&modbus.ClientConfiguration{URL: "tcp://" + s.Address(), Timeout: time.Second})
	if err != nil {
		t.Fatal(err)
	}
	// The server closes just after the events end; it is given 5 s.
	for range 50 {
		if err = c.Open(); err != nil {
			return
		}
		c.Close()
		time.Sleep(100 * time.Millisecond)
	}
	t.Error("a closed store takes connections")
}
