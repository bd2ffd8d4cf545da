package judge_test

import (
	"fmt"
	"math"
	"os"
	"strconv"
	"testing"
	"time"
)

// halfHour is for how long a healthy zone may be off its setpoint while lit.
const halfHour = 1800

// healthy records a store without a fault, with `settle` set for each zone to what it takes, and says which zones are not
// what a healthy zone is by definition.
func (s *storeModel) healthy() (rec *recording, rejected []string) {
	rec = s.record()
	rejected = make([]string, len(s.zones))
	for i := range s.zones {
		for _, o := range rec.off[i] {
			if o.to < 0 {
				o.to = 86400 * float64(s.days)
			}
			long := o.to - o.from
			s.points[i].settle = max(s.points[i].settle, 30*math.Ceil(long/30))
			switch {
			case long > halfHour:
				rejected[i] = fmt.Sprintf("off its setpoint for %.0f min (%s) at %.0f", long/60, o.why, o.from)
			case long > halfHour/2 && o.why == "" && s.zones[i].sp.kind != full:
				rec.off[i][0].why = "fast clouds or slow controller"
			}
		}
		rec.cfg.Zones[i].Judge.Settle = time.Duration(s.points[i].settle * float64(time.Second))
	}
	return rec, rejected
}

// Nothing is said of healthy zones, or hardly ever: in 5,000 zone-days at most two findings.
func TestHealthyStores(t *testing.T) {
	runs := []struct{ stores, zones, days int }{{4, 10, 1}, {5, 10, 3}, {1, 10, 12}}
	first := uint64(1)
	if long := os.Getenv("DIMWATCH_LONG"); long != "" { // 1, or the number of the first store
		runs = []struct{ stores, zones, days int }{{50, 12, 1}, {50, 12, 3}, {20, 12, 8}, {6, 12, 21}}
		first = 1000
		if n, err := strconv.ParseUint(long, 10, 64); err == nil && n > 1 {
			first = n
		}
	}
	if one := os.Getenv("STORE"); one != "" {
		var seed uint64
		var r struct{ stores, zones, days int }
		fmt.Sscan(one, &seed, &r.zones, &r.days)
		r.stores = 1
		first, runs = seed, runs[:0]
		runs = append(runs, r)
	}
	days, rejected, found := 0.0, 0, 0
	seed := first
	for _, run := range runs {
		for range run.stores {
			s := newStore(seed, run.zones, run.days)
			rec, bad := s.healthy()
			for i, why := range bad {
				if why != "" {
					rejected++
					t.Logf("seed %d %d zone %d is not healthy by definition: %s; %s", seed, run.days, i, why, rec.state(i, rec.worst[i].from+1500))
				} else {
					days += float64(run.days)
				}
			}
			for _, f := range rec.judged() {
				mine := len(f.Zones) == 0
				for _, z := range f.Zones {
					mine = mine || bad[z] == ""
				}
				if !mine {
					continue
				}
				found++
				at := rec.since(f.Raised)
				t.Logf("FALSE seed %d (STORE=\"%d %d %d\") %v %s raised %s day %.2f, onset %.0f min before, cleared %v, confidence %.2f: %s", seed, seed, run.zones, run.days, f.Zones, f.ID,
					time.Unix(0, f.Raised).In(s.loc).Format("Mon Jan 2 15:04"), at/86400, (at-rec.since(f.Onset))/60, f.Cleared != 0, f.Confidence, f.Summary)
				for _, z := range f.Zones {
					t.Logf("    %s: %s", s.zones[z].name, rec.state(z, at))
				}
			}
			seed++
		}
	}
	t.Logf("%d zone-days, %d zones rejected, %d findings", int(days), rejected, found)
	// Measured: none in the 310 zone-days of every run. The long run asks for what is promised and does not reach it yet: 14 in 5,816
	// zone-days from store 1000 on, 8 in 5,832 from store 7000 on, most of them where a point comes late.
	if allowed := max(1, days/2500); float64(found) > allowed {
		t.Errorf("%d findings in %.0f healthy zone-days", found, days)
	}
}
