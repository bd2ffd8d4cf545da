package loops

import (
	"fmt"
	"os"
	"slices"
	"testing"
)

// points that zones are met with, and the findings that those points can not tell apart.
var pointSets = []struct {
	name string
	has  Channels
}{
	{"all", allPoints},
	{"no power", loopPoints | FeedbackLoop | Order},
	{"hours only", loopPoints | FeedbackLoop | Hours},
	{"level and power", loopPoints | Power | Hours},
	{"contact", loopPoints | Contact | FeedbackLoop | Hours},
}

// alike says whether two findings are one picture to a zone with these points: without power a short, an open pair and a
// lost supply are, and so are a pair above 10.6 V and a failed loop; a pair that rests may be an interface or a limit.
func alike(a, b ID, has Channels) bool {
	sets := [][]ID{{StuckMid, CeilingLow, FloorHigh}}
	if !has.Has(Power) {
		sets = append(sets, []ID{PairShort, PairOpen, CircuitOff}, []ID{NotDimming, FeedbackLoopHigh},
			[]ID{NotDimming, FeedbackFrozen}) // at the end of a converter's range all stands still
	}
	for _, s := range sets {
		if slices.Contains(s, a) && slices.Contains(s, b) {
			return true
		}
	}
	return a == b
}

// Many zones of many kinds, each with one fault: nearly all are named right, and nothing is said before the fault, nor of
// zones without one. With DIMWATCH_LONG set there are ten times as many.
func TestManyZones(t *testing.T) {
	seeds := uint64(3)
	if os.Getenv("DIMWATCH_LONG") != "" {
		seeds = 30
	}
	var n, missed, wrong, early int
	worstOnes := map[string]int{}
	for _, points := range pointSets {
		for id, fault := range simFaults {
			if (id == FeedbackLoopLow || id == FeedbackLoopHigh) && !points.has.Has(FeedbackLoop) {
				continue
			}
			if id == CommandHeld {
				continue // its setpoint may stay near the held command for hours; TestFaultsAreNamed has it
			}
			for _, cycle := range []float64{5, 15, 60, 300} {
				for seed := range seeds {
					const healthy = 5.0
					got := run(newSim(1000+seed, cycle, points.has), healthy, 4, fault)
					n++
					switch {
					case len(got) == 0:
						missed++
						worstOnes[fmt.Sprintf("%s, %s: missed", points.name, id)]++
					case float64(got[0].Raised)/1e9 < healthy*3600:
						early++
					case !alike(id, got[0].ID, points.has):
						wrong++
						worstOnes[fmt.Sprintf("%s, %s: named %s", points.name, id, got[0].ID)]++
					}
				}
			}
		}
	}
	t.Logf("%d faults: %d missed, %d named wrong, %d early; %v", n, missed, wrong, early, worstOnes)
	if early > 0 || missed*50 > n || wrong*20 > n {
		t.Errorf("of %d faults %d were missed (at most 2 %%), %d named wrong (at most 5 %%), and %d findings came before them (none)", n, missed, wrong, early)
	}
	false0 := 0
	for seed := range 20 * seeds {
		for _, points := range pointSets {
			if got := run(newSim(5000+seed, []float64{15, 60, 300}[seed%3], points.has), 24, 0, nil); len(got) > 0 {
				false0++
				t.Logf("%s, seed %d: %s", points.name, seed, got[0].Summary)
			}
		}
	}
	if false0 > 0 {
		t.Errorf("%d findings in %d healthy zone-days", false0, 100*seeds)
	}
}
