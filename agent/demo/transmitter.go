package demo

import (
	"math"
	"math/rand/v2"
)

// transmitter turns the voltage at the interface's terminals into a current of 4..20 mA for 0..10 V.
type transmitter struct {
	gain     float64 // 1 where it is exact
	offset   float64 // mA
	low      float64 // mA: limits of its output. Some makes keep to 3.8..20.5 mA (NAMUR NE 43), some have no limits
	high     float64
	volts    float64 // what it has measured, behind its filter
	wireOpen bool    // its current loop is interrupted: 0 mA
	milliamp float64 // in the loop, now
	random   *rand.Rand
}

const (
	transmitterNoise = 0.012 // mA, standard deviation. Chosen: 0.08 % of span
	transmitterDelay = 0.2   // s, time constant; 0.05..0.5 s is met (common practice, no source)
)

// step takes the transmitter dt seconds on with volts at its terminals.
func (t *transmitter) step(dt, volts float64) {
	t.volts += (volts - t.volts) * math.Min(1, dt/transmitterDelay)
	noise := transmitterNoise * t.random.NormFloat64()
	t.milliamp = math.Min(t.high, math.Max(t.low, 4+1.6*t.gain*t.volts+t.offset+noise))
	if t.wireOpen {
		t.milliamp = 0
	}
}

// level is what a controller takes the current for, in percent.
func level(milliamp float64) float64 { return (milliamp - 4) / 16 * 100 }
