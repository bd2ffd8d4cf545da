package loops

import (
	"math"
	"math/rand/v2"
)

// sim is a zone as the tests imagine it: a setpoint that wanders with the day, a controller that trims its command until
// the feedback meets it and winds up otherwise, an interface that holds the pair, a transmitter with noise. It is plain on
// purpose; the recordings and the demo have models of their own.
type sim struct {
	rand  *rand.Rand
	cycle float64 // seconds from one sample to the next
	has   Channels
	gain  float64 // of the transmitter
	shift float64 // percent
	noise float64 // percent
	rate  float64 // percent of command per second and percent of error
	open  float64 // open-circuit voltage, percent
	rated float64 // watts

	at       float64
	setpoint func(at float64) float64
	command  float64
	still    float64 // frozen feedback
	frozen   bool
	fault    func(z *sim, s *simState)
}

// simState is what a fault may act on within one step.
type simState struct {
	setpoint  float64
	fed       bool    // the gear has its supply
	held      bool    // the command does not move
	pair      float64 // percent of 10 V at the interface
	light     float64 // percent, what the gear gives
	milliamps float64 // 0: as the pair says
	freeze    bool
}

func newSim(seed uint64, cycle float64, has Channels) *sim {
	r := rand.New(rand.NewPCG(seed, 99))
	z := &sim{
		rand: r, cycle: cycle, has: has,
		gain: 1 + 0.02*r.NormFloat64(), shift: 0.8 * r.NormFloat64(), noise: 0.15 + 0.3*r.Float64(),
		rate: 0.02 + 0.08*r.Float64(), open: 102 + 20*r.Float64(), rated: 800 + 1500*r.Float64(), command: 60,
	}
	phase, slow := r.Float64()*6, 1500+3000*r.Float64()
	z.setpoint = func(at float64) float64 {
		return math.Min(100, math.Max(15, 60+35*math.Sin(at/slow+phase)+12*math.Sin(at/311)))
	}
	return z
}

// next makes the next sample.
func (z *sim) next() Sample {
	st := simState{setpoint: z.setpoint(z.at), fed: true}
	c := math.Min(100, math.Max(0, z.command))
	st.pair = math.Max(5, c)
	st.light = math.Max(10, st.pair)
	if z.fault != nil {
		z.fault(z, &st)
	}
	f := z.gain*st.pair + z.shift + z.noise*z.rand.NormFloat64()
	if !st.fed {
		f, st.light = z.shift+z.noise*z.rand.NormFloat64(), 0
	}
	if st.milliamps != 0 {
		f = (st.milliamps - 4) / 0.16
	}
	f = math.Round(f*10) / 10
	if st.freeze {
		if !z.frozen {
			z.still, z.frozen = f, true
		}
		f = z.still
	} else {
		z.frozen = false
	}
	if !st.held {
		z.command = math.Min(100, math.Max(0, z.command+math.Min(1, z.rate*z.cycle)*(st.setpoint-f)))
	}
	s := Sample{
		At: int64(z.at * 1e9), Has: z.has, Setpoint: math.Round(st.setpoint*10) / 10, Command: math.Round(c*10) / 10,
		Feedback: f, FeedbackMilliamps: 4 + 0.16*f, Order: true, Contact: st.fed, Open: true,
	}
	if st.fed {
		s.Power = z.rated*powerCurve(st.light) + 3*z.rand.NormFloat64()
	}
	z.at += z.cycle
	return s
}

func (z *sim) settings() ZoneSettings {
	return ZoneSettings{
		Name: "aisles-1-4", Has: z.has, CycleSeconds: z.cycle, Tolerance: 10, SettleSeconds: 90, FalseFindings: 0.001,
		RatedPower: z.rated,
	}
}

// The faults, as the circuit has them.
var simFaults = map[ID]func(z *sim, s *simState){
	PairShort:  func(z *sim, s *simState) { s.pair, s.light = 0.5, 10 },
	PairOpen:   func(z *sim, s *simState) { s.pair, s.light = 0, 100 },
	CircuitOff: func(z *sim, s *simState) { s.fed = false },
	StuckDim:   func(z *sim, s *simState) { s.pair, s.light = 8, 10 },
	StuckMid: func(z *sim, s *simState) {
		s.pair, s.light = 45, 45
		s.setpoint = 30 + 40*math.Abs(math.Sin(z.at/700)) // both sides of where it stands
	},
	NotDimming:       func(z *sim, s *simState) { s.pair, s.light = z.open, 100 },
	FeedbackFrozen:   func(z *sim, s *simState) { s.freeze = true },
	FeedbackLoopLow:  func(z *sim, s *simState) { s.milliamps = 3.4 + 0.02*z.rand.NormFloat64() },
	FeedbackLoopHigh: func(z *sim, s *simState) { s.milliamps = 22 + 0.02*z.rand.NormFloat64() },
	CommandHeld:      func(z *sim, s *simState) { s.held = true },
}
