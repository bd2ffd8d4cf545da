package demo

import (
	"math/rand/v2"
)

// The Modbus units of the store, all behind one address as behind a gateway.
const (
	unitNorth  = 11
	unitSouth  = 12
	unitBack   = 13
	unitGarden = 14
)

// room is one row of the store's zones.
type room struct {
	name string
	unit uint8
	gear gear

	slope, least float64 // of the setpoint, see controller
	limits       bool    // the feedback transmitter keeps to 3.8..20.5 mA
}

// rooms is the store: an invented one. Zones of a unit keep their order in its registers.
var rooms = []room{
	{"produce", unitNorth, gear{n: 10, openVolt: 12.0, milliamp: 0.5, watts: 58}, 65, 25, true},
	{"bakery", unitNorth, gear{n: 6, openVolt: 11.5, milliamp: 0.5, watts: 58}, 60, 25, true},
	{"dairy", unitNorth, gear{n: 8, openVolt: 12.0, milliamp: 0.3, watts: 42}, 55, 30, false},
	{"aisles-1-4", unitNorth, gear{n: 24, openVolt: 12.0, milliamp: 0.5, watts: 58}, 65, 25, true},
	{"aisles-5-8", unitNorth, gear{n: 24, openVolt: 12.0, milliamp: 0.5, watts: 58}, 70, 25, true},

	{"checkouts", unitSouth, gear{n: 14, openVolt: 10.8, milliamp: 0.25, watts: 36}, 70, 25, true},
	{"entrance", unitSouth, gear{n: 4, openVolt: 13.0, milliamp: 1.0, watts: 110}, 75, 20, false},
	{"stock-room", unitSouth, gear{n: 9, openVolt: 12.0, milliamp: 0.5, watts: 43}, 60, 30, true},
	{"pharmacy", unitSouth, gear{n: 7, openVolt: 11.0, milliamp: 0.15, watts: 32}, 55, 30, false},

	{"cold-aisle", unitBack, gear{n: 12, openVolt: 12.0, milliamp: 0.5, watts: 50}, 65, 25, true},
	{"wine", unitBack, gear{n: 5, openVolt: 11.0, milliamp: 0.2, watts: 28}, 75, 25, true},
	{"office", unitBack, gear{n: 8, openVolt: 10.5, milliamp: 0.1, watts: 34}, 65, 30, true},

	{"garden", unitGarden, gear{n: 16, openVolt: 14.0, milliamp: 0.8, watts: 80}, 75, 20, false},
	{"seasonal", unitGarden, gear{n: 10, openVolt: 12.0, milliamp: 0.5, watts: 58}, 65, 25, true},
}

const (
	sinkMilliamps   = 50.0 // of every interface; the largest zone here needs 13
	unlimitedLow    = 0.0
	unlimitedHigh   = 25.0
	limitedLow      = 3.8
	limitedHigh     = 20.5
	sensorBrightest = 5000.0 // lux at the sensors at the brightest
)

// build makes the zones and the sensor of each unit. Spread of parts is drawn from the seed: transmitters within 0.5 %
// of gain and 0.03 mA of offset (half of the 1 % of span that is common practice).
func build(seed uint64) (zones []*zone, sensors map[uint8]*sensor) {
	sensors = map[uint8]*sensor{}
	for i, r := range rooms {
		if sensors[r.unit] == nil {
			sensors[r.unit] = &sensor{
				most:   sensorBrightest * (0.96 + 0.01*float64(r.unit%4)),
				random: rand.New(rand.NewPCG(seed, 1000+uint64(r.unit))),
			}
		}
		random := rand.New(rand.NewPCG(seed, uint64(i)))
		z := &zone{
			name:        r.name,
			unit:        r.unit,
			sensor:      sensors[r.unit],
			controller:  controller{slope: r.slope, least: r.least},
			pair:        newPair(sink{floorVolts: 0.6 + 0.2*random.Float64(), milliamp: sinkMilliamps}, r.gear),
			transmitter: transmitter{low: unlimitedLow, high: unlimitedHigh, random: random},
			at:          make([]float64, 1),
			light:       make([]float64, 1),
			random:      random,
		}
		if r.limits {
			z.transmitter.low, z.transmitter.high = limitedLow, limitedHigh
		}
		z.transmitter.gain = 1 + 0.005*(2*random.Float64()-1)
		z.transmitter.offset = 0.03 * (2*random.Float64() - 1)
		zones = append(zones, z)
	}
	return zones, sensors
}
