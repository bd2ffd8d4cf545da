package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"dimwatch/agent/config"
	"dimwatch/agent/energy"
	"dimwatch/agent/judge"
	"dimwatch/loops"

	"github.com/google/go-cmp/cmp"
)

// golden compares with a file, or rewrites it.
func golden(t *testing.T, name, got string) {
	t.Helper()
	file := filepath.Join("testdata", "report", name+".golden")
	if *update {
		write(t, file, got)
		return
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), got); diff != "" {
		t.Errorf("%s is not what is printed; see if that is better, then go test ./agent -run Golden -update:\n%s", file, diff)
	}
}

const (
	longCheck = "Still unplugged, gear side, each conductor to the chassis: violet 0 V and gray about -12 V is a grounded violet, and a few volts of opposite signs are a pair that floats."
	lineWarns = "Line voltage is beside the control pair in every luminaire."
	tellStore = "A zone that stays dim where people are is a hazard before it is a repair: tell the store first."
)

// fortnight is a store as a technician meets it: what stands and what has ended, renamed, repeated, shared by zones; zones
// that are sound, that nothing put to the test, and that could not be judged. The words of its findings are short on purpose.
func fortnight(t *testing.T) (*recording, judge.Snapshot) {
	place, err := time.LoadLocation("America/Chicago")
	if err != nil {
		t.Fatal(err)
	}
	site := &config.Site{Name: "orchard-lane-3", Title: "Orchard Lane Foods 3", Location: place, Devices: []config.Device{{Name: "north"}, {Name: "south"}}}
	for _, name := range []string{"aisles-1-4", "bakery", "books", "cafe", "dairy", "produce", "stock-room", "toys"} {
		site.Zones = append(site.Zones, config.Zone{Name: name})
	}
	start := time.Date(2026, 3, 9, 6, 0, 0, 0, place)
	at := func(day int, clock string) int64 {
		c, err := time.Parse("15:04", clock)
		if err != nil {
			t.Fatal(err)
		}
		return time.Date(2026, 3, 9+day, c.Hour(), c.Minute(), 0, 0, place).UnixNano()
	}
	r := &recording{site: site}
	add := func(f loops.Finding) {
		f.Seq = len(r.findings) + 1
		if f.ID != loops.DeviceLost {
			f.Device = -1
		}
		r.findings = append(r.findings, f)
	}
	add(loops.Finding{ID: loops.FeedbackLoopLow, Cause: "zone/produce/1", Zones: []int{5}, Onset: at(0, "07:10"), Raised: at(0, "07:12"), Cleared: at(0, "12:40"),
		Confidence: 0.93, Also: []loops.Alternative{{ID: loops.PairShort, Fits: 0.02}}, Summary: "The feedback's current is 0.1 mA.",
		Checks: []string{"Not printed: it has ended."}, Cautions: []string{"Not printed either."}})
	add(loops.Finding{ID: loops.CommandHeld, Cause: "zone/toys/1", Zones: []int{7}, Onset: at(1, "09:00"), Raised: at(1, "09:20"), Cleared: at(1, "11:00"), Confidence: 0.9})
	add(loops.Finding{ID: loops.CommandHeld, Cause: "zone/toys/2", Zones: []int{7}, Onset: at(2, "09:00"), Raised: at(2, "09:20"), Cleared: at(2, "19:30"), Confidence: 0.9})
	add(loops.Finding{ID: loops.StuckMid, Cause: "zone/books/1", Zones: []int{2}, Onset: at(3, "08:31"), Raised: at(3, "08:35"), Cleared: at(3, "12:23"), Revised: true, Confidence: 0.62})
	add(loops.Finding{ID: loops.CeilingLow, Cause: "zone/books/1", Zones: []int{2}, Onset: at(3, "08:40"), Raised: at(3, "12:23"), Cleared: at(8, "10:12"), Confidence: 0.99,
		Summary: "The pair follows its command up to 7.7 V and stops there: something takes the gear's current before the top.",
		Proof:   loops.Proof{Seconds: 4500, From: 41.2, To: 97.8}})
	add(loops.Finding{ID: loops.NotDimming, Cause: "zone/bakery/1", Zones: []int{1}, Onset: at(5, "13:26"), Raised: at(5, "13:29"), Cleared: at(5, "13:40"), Revised: true, Confidence: 0.8})
	add(loops.Finding{ID: loops.StuckDim, Cause: "zone/cafe/1", Zones: []int{3}, Onset: at(5, "13:26"), Raised: at(5, "13:30"), Cleared: at(5, "13:40"), Revised: true, Confidence: 0.7})
	add(loops.Finding{ID: loops.ZonesCrossed, Cause: "zone/bakery/1", Zones: []int{1, 3}, Onset: at(5, "13:26"), Raised: at(5, "13:40"), Confidence: 0.97,
		Summary: "Of bakery and cafe each zone's feedback follows the command of the other.",
		Checks:  []string{"Follow the wires of both zones; what was worked on last is the first place to look."}, Cautions: []string{lineWarns}})
	add(loops.Finding{ID: loops.DeviceLost, Cause: "device/south/1", Device: 1, Zones: []int{2, 4, 5}, Onset: at(9, "02:00"), Raised: at(9, "02:04"), Cleared: at(9, "05:30"), Confidence: 0.99,
		Summary: "Device south does not answer; its zones cannot be judged: books, dairy, produce."})
	add(loops.Finding{ID: loops.DeviceLost, Cause: "device/north/1", Device: 0, Zones: []int{0}, Onset: at(9, "02:00"), Raised: at(9, "02:04"), Cleared: at(9, "05:30"), Confidence: 0.99,
		Summary: "Device north does not answer; its zones cannot be judged: aisles-1-4."})
	add(loops.Finding{ID: loops.CommandHeld, Cause: "zone/toys/3", Zones: []int{7}, Onset: at(10, "09:00"), Raised: at(10, "09:20"), Confidence: 1,
		Summary: "The command stands at 50 % although the setpoint asks for 22 %.", Checks: []string{"At the controller: an override or hand position of this output."}})
	add(loops.Finding{ID: loops.PairShort, Cause: "zone/aisles-1-4/1", Zones: []int{0}, Onset: at(12, "18:03"), Raised: at(12, "18:05"), Confidence: 0.59,
		Also:    []loops.Alternative{{ID: loops.PairOpen, Fits: 0.9}, {ID: loops.PairIntermittent, Fits: 0.1}, {ID: loops.StuckDim, Fits: 0.05}},
		Summary: "The pair reads 0.1 V with the zone lit and the command at 100 %: violet and gray are joined, directly or through earth, and the lights should be at minimum.",
		Checks:  []string{"Look at the lights or ask the store.", longCheck}, Cautions: []string{tellStore, lineWarns, "Unplugging the pair gives full light: warn the people below."}})
	add(loops.Finding{ID: loops.StuckDim, Cause: "zone/dairy/1", Zones: []int{4}, Onset: at(12, "18:03"), Raised: at(12, "18:09"), Confidence: 0.86,
		Summary: "The pair rests at 0.6 V whatever the command does.", Checks: []string{longCheck, "Measure the command at the interface's input: expect 9.3 V DC."},
		Cautions: []string{tellStore, lineWarns, "Ladders and lifts only by trained people."}})

	snap := judge.Snapshot{Site: site, From: start, To: time.Date(2026, 3, 22, 23, 59, 0, 0, place)}
	for i := range site.Zones {
		st := loops.ZoneState{JudgedSeconds: 9.5 * 86400, CalledSeconds: 9.5 * 86400}
		if i == 4 || i == 5 {
			st.JudgedSeconds -= 12600
		}
		for id := loops.None + 1; id < loops.IDs; id++ {
			st.Supported[id] = id == loops.DeviceLost || loops.Catalogue[id].Needs.Has(loops.Setpoint|loops.Command|loops.Feedback) && !loops.Catalogue[id].Needs.Has(loops.Power)
			st.Tested[id] = at(13, "22:10")
		}
		snap.Zones = append(snap.Zones, judge.Zone{Config: &site.Zones[i], State: st})
	}
	for _, i := range []int{2, 7} {
		snap.Zones[i].State.Tested[loops.FloorHigh], snap.Zones[i].State.Tested[loops.Hunting] = 0, at(2, "12:00")
	}
	full := &snap.Zones[5].State // it stands at full all week
	for id := loops.StuckDim; id < loops.Sluggish; id++ {
		full.Tested[id] = 0
	}
	snap.Zones[6].State = loops.ZoneState{Reason: "switched off: says nothing"}
	for i := range 3 {
		snap.Zones[i].Energy = judge.Energy{UsedJoules: 3.6e8 * float64(i+1), UsedKnown: true, AvoidedJoules: 1.2e8, ExcessJoules: 4e5, LevelsKnown: i < 2, LightOwed: 212, LightKnown: i < 2}
	}
	snap.Zones[0].Energy.MissedJoules, snap.Zones[0].Energy.MissedLow, snap.Zones[0].Energy.MissedHigh, snap.Zones[0].Energy.MissedKnown = 9e7, 5e7, 1.3e8, true
	dairy := r.findings[len(r.findings)-1]
	dairy.Proof = loops.Proof{Seconds: 2820, From: 30.4, To: 64.4}
	snap.Findings = []loops.Finding{dairy}

	r.costs = map[int]energy.Cost{} // of the others nothing is known
	for _, f := range r.findings {
		r.costs[f.Seq] = energy.Cost{}
	}
	r.costs[5] = energy.Cost{LightOwed: 305, LightKnown: true}
	r.costs[8] = energy.Cost{ExcessJoules: 4.1e8, ExcessKnown: true, LightOwed: 1210, LightKnown: true}
	return r, snap
}

func TestReportGolden(t *testing.T) {
	r, snap := fortnight(t)
	var b strings.Builder
	newReport(r, snap).print(&b)
	golden(t, "fortnight", b.String())
	for _, line := range strings.Split(b.String(), "\n") {
		if n := len([]rune(line)); n > 120 {
			t.Errorf("%d columns: %s", n, line)
		}
	}

	b.Reset()
	r.zone = "dairy"
	newReport(r, snap).print(&b)
	golden(t, "one-zone", b.String())

	b.Reset()
	r.zone, r.findings, snap.Findings = "", nil, nil
	newReport(r, snap).print(&b)
	golden(t, "nothing", b.String())
}

// What is printed above is named by zone and finding, and never in part; in the report of one zone all of it is there.
func TestReportNamesChecksAbove(t *testing.T) {
	r, snap := fortnight(t)
	var b strings.Builder
	newReport(r, snap).print(&b)
	if want := "  1. The same as check 2 of aisles-1-4 (pair-short), above.\n"; !strings.Contains(b.String(), want) || strings.Contains(b.String(), " ...") {
		t.Errorf("the report lacks %q:\n%s", want, &b)
	}
	r.zone = "dairy"
	b.Reset()
	newReport(r, snap).print(&b)
	if strings.Contains(b.String(), "The same as") {
		t.Errorf("the report of one zone leaves out a check:\n%s", &b)
	}
}

// The line above the table counts its rows.
func TestReportCountsItsRows(t *testing.T) {
	r, snap := fortnight(t)
	var b strings.Builder
	newReport(r, snap).print(&b)
	table, _, _ := strings.Cut(b.String(), "\nBefore anything")
	stand, ended := strings.Count(table, "\n  stands ")+strings.Count(table, "\n  repaired?")+strings.Count(table, "\n  quiet "), strings.Count(table, "\n  ended ")
	if want := fmt.Sprintf("\n%d findings, %d of which ended\n", stand+ended, ended); !strings.Contains(table, want) {
		t.Errorf("the table has %d rows, %d of them ended:\n%s", stand+ended, ended, table)
	}
}

// Cautions come once, before the first check; those of a finding keep their order among each other.
func TestReportCautionsFirst(t *testing.T) {
	r, snap := fortnight(t)
	var b strings.Builder
	newReport(r, snap).print(&b)
	text := b.String()
	last := -1
	for _, caution := range []string{tellStore, lineWarns, "Unplugging the pair gives full light: warn the people below."} {
		at := strings.Index(text, "  ! "+caution)
		if strings.Count(text, caution) != 1 || at < last || at > strings.Index(text, "  1. ") {
			t.Errorf("%q is there %d times, at %d", caution, strings.Count(text, caution), at)
		}
		last = at
	}
	if strings.Contains(text, "Not printed") {
		t.Error("checks or cautions of what has ended are printed")
	}
}
