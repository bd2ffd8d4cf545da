package demo

import (
	"math"
	"math/rand/v2"
	"time"
)

// day is how long a day takes in the simulated store: its weather is faster than life, its controllers are not. Story is
// a whole number of days.
const day = 90 * time.Second

// weather is the daylight over the store by part of the day, as a share of the brightest; each row is a sixth of a day:
// morning, late morning, a cloud, noon, afternoon, evening. It rests, then moves to the next. The evening is not so dark
// that a zone goes to full light, where many faults cannot be seen.
var weather = [...]float64{0.55, 0.80, 0.60, 0.90, 0.45, 0.15}

const restShare = 7.0 / 15 // of a part of the day that the daylight rests

// daylight is the share 0..1 of the brightest daylight at a time since the start.
func daylight(t time.Duration) float64 {
	x := float64(t%day) / float64(day) * float64(len(weather))
	i := int(x)
	from, to := weather[i%len(weather)], weather[(i+1)%len(weather)]
	p := math.Max(0, (x-float64(i)-restShare)/(1-restShare))
	return from + (to-from)*p*p*(3-2*p)
}

// sensor is a daylight sensor with a 4..20 mA output of 0..5000 lux, one for each Modbus unit.
type sensor struct {
	most     float64 // lux at the brightest, at its place
	milliamp float64 // its output now
	random   *rand.Rand
}

const (
	sensorLux   = 5000.0
	sensorNoise = 0.01 // mA, standard deviation. Chosen: 0.06 % of span, a good sensor in a still room
)

// step takes the sensor to a time.
func (s *sensor) step(t time.Duration) {
	s.milliamp = 4 + 16*s.most*daylight(t)/sensorLux + sensorNoise*s.random.NormFloat64()
}

// lux is what the controller reads from the sensor.
func (s *sensor) lux() float64 { return (s.milliamp - 4) / 16 * sensorLux }
