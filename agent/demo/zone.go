package demo

import (
	"math"
	"math/rand/v2"
)

// zone is one dimmed zone: its chain of parts, and what its controller's inputs have taken in.
type zone struct {
	name   string
	unit   uint8
	sensor *sensor
	controller
	pair
	transmitter

	at    []float64 // volts at each group of gear
	light []float64 // percent, of each group: gear fades to what its pair asks for

	input       float64 // mA: the feedback as the analog input holds it
	inputFrozen bool    // the input no longer takes in new values
	fed         bool    // contact behind the breaker
	watts       float64 // as metered

	random *rand.Rand
}

const (
	fadeDelay  = 0.4   // s, time constant with which light follows the pair; 0.1..5 s is met (common practice, no source)
	meterNoise = 0.005 // of the reading, standard deviation; meters are 0.5..3 % off (common practice, no source)
	groundOhms = 0.2   // a conductor on a fixture's chassis
)

// step takes the zone dt seconds on.
func (z *zone) step(dt float64) {
	z.controller.step(dt, z.sensor.lux(), level(z.input))
	terminals := z.pair.volts(z.command, z.at)
	z.transmitter.step(dt, terminals)
	if !z.inputFrozen {
		z.input = z.milliamp
	}
	z.fed, z.watts = false, 0
	for i, g := range z.gear {
		aim := g.light(z.at[i])
		if aim == 0 {
			z.light[i] = 0
			continue
		}
		z.fed = true
		z.light[i] += (aim - z.light[i]) * math.Min(1, dt/fadeDelay)
		z.watts += float64(g.n) * g.watts * power(z.light[i])
	}
	z.watts *= 1 + meterNoise*z.random.NormFloat64()
}

// settle puts lags to their rest, so that a store starts as one that has been running.
func (z *zone) settle() {
	z.controller.step(0, z.sensor.lux(), 0)
	z.transmitter.volts = z.pair.volts(z.command, z.at)
	z.transmitter.step(0, 0)
	z.input = z.milliamp
	for i, g := range z.gear {
		z.light[i] = g.light(z.at[i])
	}
	z.step(0)
}

// befall lets a fault begin or end in the part where it acts.
func (z *zone) befall(f Fault, begins bool) {
	ohms := math.Inf(1)
	if begins {
		ohms = groundOhms
	}
	switch f {
	case VioletGround:
		z.violetGround = ohms
	case GrayGround:
		z.grayGround = ohms
	case PairOpen:
		z.beyond = 0
		if begins {
			z.beyond = len(z.gear)
		}
	case BreakerOff:
		for i := range z.gear {
			z.gear[i].dark = begins
		}
	case InterfaceStuck:
		z.sink.mode = regulates
		if begins {
			z.sink.held, z.sink.mode = z.sink.set(z.command), holdsVolts
		}
	case InterfaceDead:
		z.sink.mode = regulates
		if begins {
			z.sink.mode = dead
		}
	case CommandInputLost:
		z.sink.mode, z.sink.held = regulates, 0
		if begins {
			z.sink.mode = holdsVolts
		}
	case FeedbackFrozen:
		z.inputFrozen = begins
	case FeedbackLoopOpen:
		z.wireOpen = begins
	case CommandByHand:
		z.byHand = begins
	}
}
