package demo

import "math"

// controller is the program of one zone: a setpoint from daylight, and a command that is trimmed until the feedback
// meets it. Levels are in percent.
type controller struct {
	slope float64 // percent of level that the setpoint falls from no daylight to 5000 lux
	least float64 // the lowest setpoint

	setpoint float64
	command  float64
	byHand   bool // somebody has taken the command in hand: it stays where it is
	started  bool
}

const (
	// integralGain is how fast the command moves a second for each percent of error. Chosen: 1/s; the loop settles in
	// some 3 s and is stable with twice the lags that it has.
	integralGain = 1.0

	// commandRate is the most that the command moves, percent a second. Chosen: 15; an end stop is reached from the
	// middle in some 4 s.
	commandRate = 15.0

	deadband      = 0.3 // percent of error that is left alone, so that noise does not wear the interface
	setpointDelay = 1.5 // s, time constant of the setpoint's filter
)

// step takes the controller dt seconds on, with what its inputs say now.
func (c *controller) step(dt, lux, feedback float64) {
	aim := math.Max(c.least, 100-c.slope*lux/sensorLux)
	if !c.started {
		c.setpoint, c.command, c.started = aim, aim, true
	}
	c.setpoint += (aim - c.setpoint) * dt / setpointDelay
	e := c.setpoint - feedback
	if c.byHand || math.Abs(e) < deadband {
		return
	}
	rate := math.Min(commandRate, math.Max(-commandRate, integralGain*e))
	c.command = math.Min(100, math.Max(0, c.command+rate*dt))
}
