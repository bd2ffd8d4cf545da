package loops

import (
	"math"
	"math/rand/v2"
	"os"
	"testing"
)

// How soon a fault is named, beside how soon it could be, and how often a sound zone is suspected. Both are figures of the
// simulator of these tests; run with -v to see the tables.

// atOnce are the faults that show in every sample from the first on: their delay is a matter of evidence alone. The others
// wait for something, such as a command that moves or a hand test that is over.
var atOnce = map[ID]bool{
	PairShort: true, PairOpen: true, CircuitOff: true, StuckDim: true, StuckMid: true, NotDimming: true,
	FeedbackLoopLow: true, FeedbackLoopHigh: true,
}

// suspicion is what a fault made of the zones that had it.
type suspicion struct {
	delay, visible simulated // seconds from the fault to the finding, and to the onset that it gives
	information    simulated // nats a correlation time for the finding, once things have settled
	threshold      float64   // nats, what its explanation owes included
	missed, other  int       // not found in four hours; named otherwise
}

// suspect lets zones live with a fault. The information is taken for an hour from the raise on, with the sums held below
// their ceiling.
func suspect(id ID, noise float64, zones uint64) (s suspicion) {
	const cycle = 15.0
	for seed := range zones {
		z := newSim(3000+seed, cycle, allPoints)
		z.noise = noise
		l := newLesson(z, nil)
		l.live(5, nil)
		began := z.at
		z.fault = simFaults[id]
		for z.at < began+4*3600 && len(l.said) == 0 {
			l.live(cycle/3600, nil)
		}
		if len(l.said) == 0 {
			s.missed++
			continue
		}
		f := l.said[0]
		if f.ID != id {
			s.other++
		}
		s.delay.add(float64(f.Raised)/1e9 - began)
		s.visible.add(float64(f.Onset)/1e9 - began)
		k := explanationOf(f.ID)
		if k < 0 {
			continue // not a finding of a sum
		}
		judged := &l.j.zones[0]
		s.threshold = judged.h - explanations[k].prior
		for range int(3600 / cycle) {
			lower(judged, topNats/2)
			before := judged.sums.total[k]
			l.live(cycle/3600, nil)
			s.information.add((judged.sums.total[k] - before) * judged.memory.tau / cycle)
		}
	}
	return s
}

// lower takes from all sums of a zone what the largest has beyond most.
func lower(z *zone, most float64) {
	top := 0.0
	for _, v := range z.sums.total {
		top = max(top, v)
	}
	for i := range z.sums.total {
		z.sums.total[i] = max(0, z.sums.total[i]-max(0, top-most))
	}
}

// The delay of every fault stands beside the yardstick of a CUSUM with the same threshold and the same information, which
// is as fast as any test can be that is so seldom wrong. Source: (ln(gamma·I) - 1)/I, the finite form of Lorden's bound
// (Lorden 1971, Moustakides 1986, Siegmund 1985), gamma being exp(threshold) correlation times. With DIMWATCH_LONG set
// there are ten times as many zones and more noise.
func TestDelayBesideTheYardstick(t *testing.T) {
	zones, noises := uint64(10), []float64{0.2, 1, 2}
	if os.Getenv("DIMWATCH_LONG") != "" {
		zones, noises = 100, []float64{0.2, 0.5, 1, 2, 3, 4}
	}
	t.Log("fault                noise  zones  missed  otherwise  delay        onset    information  yardstick")
	t.Log("                         %                                  s           s   nats per tau          s")
	for id := None + 1; id < IDs; id++ {
		if ok, _ := Support(id, allPoints); simFaults[id] == nil || !ok {
			continue
		}
		for _, noise := range noises {
			s := suspect(id, noise, zones)
			if s.missed == int(zones) {
				t.Logf("%-20s %5.1f %6d %7d", id, noise, zones, s.missed)
				if atOnce[id] {
					t.Errorf("%s at %g %% of noise: never found", id, noise)
				}
				continue
			}
			information := s.information.mean()
			yardstick := mostCorrelationSeconds * delayOf(math.Exp(s.threshold), information)
			t.Logf("%-20s %5.1f %6d %7d %10d %6.0f ± %-4.0f %6.0f %14.2f %10.0f", id, noise, zones, s.missed, s.other,
				s.delay.mean(), s.delay.deviation(), s.visible.mean(), information, yardstick)
			if !atOnce[id] {
				if s.delay.mean() < yardstick/2 {
					t.Errorf("%s at %g %% of noise: raised after %.0f s, which the evidence does not allow: %.0f s", id, noise, s.delay.mean(), yardstick)
				}
				continue
			}
			// Twice as fast as the yardstick: evidence is counted twice. Twice as slow, beside two samples: it is wasted.
			if mean := s.delay.mean(); s.missed > 0 || mean < yardstick/2 || mean > 2*yardstick+30 {
				t.Errorf("%s at %g %% of noise: %d missed, raised after %.0f s, the yardstick is %.0f s", id, noise, s.missed, mean, yardstick)
			}
		}
	}
}

// alarms counts the findings of sound zones in so many days of each, at a threshold that is stated as so many days between
// false findings. Their points are as bad as wild gives it: the share of readings of each of feedback, command and power
// that are nonsense. One sample a correlation time, so that samples are as independent as they are taken for.
func alarms(stated, wild float64, zones int, days float64) (n int, threshold float64) {
	for seed := range uint64(zones) {
		z := newSim(9000+seed, mostCorrelationSeconds, allPoints)
		r := rand.New(rand.NewPCG(seed, 4))
		l := newLesson(z, func(s *ZoneSettings) { s.FalseFindings = 365.25 / stated })
		threshold = l.j.zones[0].h
		l.live(24*days, func(s *Sample) {
			if r.Float64() < wild {
				s.Feedback = math.Round(1000*r.Float64()) / 10
				s.FeedbackMilliamps = 4 + 0.16*s.Feedback
			}
			if r.Float64() < wild {
				s.Command = math.Round(1000*r.Float64()) / 10
			}
			if r.Float64() < wild {
				s.Power *= 2 * r.Float64()
			}
		})
		for _, f := range l.said {
			if f.Cleared == 0 {
				n++
			}
		}
	}
	return n, threshold
}

// The time between false findings grows log-linearly with the threshold: its logarithm is a straight line. Measured with
// thresholds stated as 1, 10 and 100 days, in sound zones whose readings are wild ten times and more as often as recordings
// show it, since in others nothing is raised in any time that can be simulated. The default, one in a thousand years, is
// the extrapolation of such a line, and no more than that: the test prints where it leads.
func TestFalseFindingsGrowLogLinearly(t *testing.T) {
	zones, days := 20, 20.0
	shares := []float64{0.015, 0.02, 0.03, 0.05}
	long := os.Getenv("DIMWATCH_LONG") != ""
	if long {
		zones, days = 100, 60
		shares = []float64{0.005, 0.01, 0.015}
	}
	shown := false
	for _, wild := range shares {
		if shown && !long {
			break
		}
		var count [3]int
		var line [3]float64 // logarithm of the interval in days
		var level [3]float64
		for i, stated := range []float64{1, 10, 100} {
			n, h := alarms(stated, wild, zones, days)
			count[i], level[i], line[i] = n, h, math.Log(float64(zones)*days/float64(n))
			t.Logf("%.1f %% of readings wild, stated %3g days (%.1f nats): %d findings in %g zone-days, one in %.3g days", 100*wild, stated, h, n, float64(zones)*days, math.Exp(line[i]))
		}
		if count[2] == 0 {
			continue
		}
		slope := (line[2] - line[0]) / (level[2] - level[0])
		usual := threshold(0.001, mostCorrelationSeconds)
		years := math.Exp(line[1]+slope*(usual-level[1])) / 365.25
		t.Logf("the interval grows as exp(%.2f·threshold); the default of 1000 years at %.1f nats is extrapolated to %.2g years in such zones", slope, usual, years)
		if count[0] < 30 || count[2] < 5 {
			continue // too few to hold anything against: worse readings, then
		}
		shown = true
		if slope < 0.2 || slope > 1.5 {
			t.Errorf("the interval grows as exp(%.2f·threshold), want between exp(0.2·threshold) and exp(1.5·threshold)", slope)
		}
		bend := line[1] - (line[0]+line[2])/2
		chance := math.Sqrt(1/float64(count[1]) + 1/float64(4*count[0]) + 1/float64(4*count[2]))
		if math.Abs(bend) > 0.2+3*chance {
			t.Errorf("the logarithm of the interval is off a straight line by %.2f ± %.2f", bend, chance)
		}
		if wild <= 0.01 {
			for i, stated := range []float64{1, 10, 100} {
				if math.Exp(line[i]) < stated*(1-3/math.Sqrt(float64(count[i]))) {
					t.Errorf("stated %g days, measured %.3g", stated, math.Exp(line[i]))
				}
			}
		}
	}
	if !shown {
		t.Error("no zone was bad enough to measure an interval: the test shows nothing")
	}
}

// In zones of whose readings one in a hundred is wild, the time between false findings is not below the one stated, as far as
// that can be measured in some hundred zone-days.
func TestFalseFindingsAreNotMoreThanStated(t *testing.T) {
	const zones, days = 20, 20.0
	for _, stated := range []float64{1, 10} {
		n, _ := alarms(stated, 0.01, zones, days)
		most := zones * days / stated
		t.Logf("stated %g days: %d findings in %g zone-days, at most %g were stated", stated, n, zones*days, most)
		if float64(n) > most {
			t.Errorf("stated %g days: %d findings in %g zone-days", stated, n, zones*days)
		}
	}
}
