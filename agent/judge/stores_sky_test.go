package judge_test

import (
	"math"
	"math/rand/v2"

	"dimwatch/loops"
)

// skyStep is the time from one value of the sky to the next, in seconds; a cloud's edge takes several.
const skyStep = 5

// sky is the daylight of one store: what falls on a level roof, and through windows to four sides, in lux.
type sky struct {
	roof []float32
	side [4][]float32
}

// weather is one kind of sky: how long it lasts, how much of the clear sky's light passes, and how it moves.
type weather struct {
	name           string
	hours          float64 // mean, exponential
	least, most    float64 // share of the clear sky's light
	spell, edge    float64 // seconds: mean from one cloud to the next, and how long an edge takes
	direct         float64 // how much of it is sun and not sky
	next           [4]float64
	flicker, drift float64 // fast and slow wander of the share
}

var weathers = [4]weather{
	{"clear", 9, 0.93, 1.05, 3600, 300, 0.8, [4]float64{0, 0.6, 0.3, 0.1}, 0.002, 0.01},
	{"broken", 3, 0.22, 1.15, 240, 12, 0.6, [4]float64{0.4, 0, 0.4, 0.2}, 0.01, 0.05},
	{"overcast", 14, 0.12, 0.4, 2400, 500, 0.02, [4]float64{0.2, 0.4, 0, 0.4}, 0.004, 0.03},
	{"showers", 2, 0.04, 0.6, 700, 60, 0.1, [4]float64{0.1, 0.5, 0.4, 0}, 0.01, 0.06},
}

// newSky draws the weather over some days from a time (seconds since 1970) on.
func newSky(r *rand.Rand, from int64, days, lat, lon float64) *sky {
	n := int(days*86400/skyStep) + 200
	s := &sky{roof: make([]float32, n)}
	for i := range s.side {
		s.side[i] = make([]float32, n)
	}
	at := r.IntN(4)
	left, spell := 0.0, 0.0
	level, target, slow := 0.5, 0.5, 0.0
	var el, az, el2, az2 float64
	const sunStep = 60
	for i := range n {
		w := &weathers[at]
		if left -= skyStep; left < 0 {
			x := r.Float64()
			for k, p := range w.next {
				if x -= p; x < 0 {
					at = k
					break
				}
			}
			w = &weathers[at]
			left, spell = 3600*w.hours*r.ExpFloat64(), 0
		}
		if spell -= skyStep; spell < 0 {
			spell = w.spell * r.ExpFloat64()
			target = w.least + (w.most-w.least)*r.Float64()
			if w.name == "broken" { // cloud or gap, little between; a gap's rim is brighter than the clear sky
				target = w.least + 0.15*r.Float64()
				if r.Float64() < 0.55 {
					target = 0.95 + 0.2*r.Float64()
				}
			}
		}
		level += (target - level) * min(1, skyStep/w.edge)
		slow += -slow*skyStep/1800 + w.drift*math.Sqrt(2.0*skyStep/1800)*r.NormFloat64()
		share := max(0.02, level*(1+slow)*(1+w.flicker*r.NormFloat64()))

		if i%sunStep == 0 {
			t := from + int64(i)*skyStep
			el, az = loops.SunPosition(t*1e9, lat, lon)
			el2, az2 = loops.SunPosition((t+sunStep*skyStep)*1e9, lat, lon)
			if az2-az > 180 {
				az2 -= 360
			} else if az2-az < -180 {
				az2 += 360
			}
		}
		f := float64(i%sunStep) / sunStep
		e, a := el+(el2-el)*f, (az+(az2-az)*f)*math.Pi/180
		sin := math.Sin(e * math.Pi / 180)
		var direct, diffuse float64
		switch {
		case e > 0:
			direct, diffuse = 105000*math.Pow(sin, 1.15)*share, 800+15000*math.Sqrt(sin)*math.Sqrt(share)
		default:
			diffuse = 800 * math.Exp(e/1.8) // twilight
		}
		s.roof[i] = float32(direct + diffuse)
		cos := math.Cos(e * math.Pi / 180)
		for k := range s.side {
			facing := math.Cos(a-float64(k)*math.Pi/2) * cos
			v := 0.45 * diffuse
			if e > 0 && facing > 0 {
				v += direct / max(sin, 0.08) * facing * w.direct * 0.6
			}
			v += 0.12 * direct
			s.side[k][i] = float32(v)
		}
	}
	return s
}

// at gives the light of an exposure (0 the roof, 1..4 windows to north, east, south and west) some seconds after the start.
func (s *sky) at(exposure int, t float64) float64 {
	series := s.roof
	if exposure > 0 {
		series = s.side[exposure-1]
	}
	x := t / skyStep
	i := int(x)
	if i+1 >= len(series) {
		return float64(series[len(series)-1])
	}
	f := x - float64(i)
	return float64(series[i])*(1-f) + float64(series[i+1])*f
}
