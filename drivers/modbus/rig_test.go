package modbus

import (
	"fmt"
	"testing"
	"time"

	"dimwatch/drivers/drivertest"
)

// TestContract runs the contract of the drivers over a device on loopback.
func TestContract(t *testing.T) {
	drivertest.Run(t, drivertest.Rig{
		Kind:  TCP,
		New:   newWorld,
		Lacks: map[drivertest.Ability]string{drivertest.End: "a live device has no end"},
	})
}

func newWorld(t *testing.T) *drivertest.World {
	s := startServer(t)
	w := &drivertest.World{
		Body:    fmt.Sprintf("address = %q\nunit = 7", s.at),
		Timeout: 100 * time.Millisecond,
		Cycle:   10 * time.Millisecond,
		Points: []drivertest.Point{
			{Keys: "holding = 100", Want: float64(law(7, 3, 100))},
			{Keys: `holding = 101, type = "int16"`, Want: float64(int16(law(7, 3, 101)))},
			{Keys: "holding = 120, bit = 15", Want: 1},
			{Keys: `holding = 150, type = "uint32"`, Want: float64(law(7, 3, 150))*65536 + float64(law(7, 3, 151))},
			{Keys: "input = 4", Want: float64(law(7, 4, 4))},
			{Keys: "coil = 3", Want: float64(law(7, 1, 3) & 1)},
		},
	}
	w.Refuse = func(i int) {
		at := []int{100, 101, 120, 150}[i]
		s.does(func(x *exchange) {
			if x.function == 3 && x.address <= at && at < x.address+x.count {
				x.exception(illegalAddress)
				return
			}
			x.answer()
		})
	}
	w.Cut = s.stop
	w.Restore = func() { s.listen(s.at) }
	w.Delay = func(d time.Duration) {
		if d == 0 {
			s.does(nil)
			return
		}
		s.does(func(x *exchange) {
			if d < time.Minute {
				x.sleep(d)
				x.answer()
			}
		})
	}
	w.Garble = func(on bool) {
		if !on {
			s.does(nil)
			return
		}
		s.does(func(x *exchange) {
			b := x.good()
			b[2] ^= 0x40 // the protocol
			x.send(b)
		})
	}
	return w
}
