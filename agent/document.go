package main

import (
	"encoding/json"
	"math"
	"slices"
	"strings"
	"time"

	"dimwatch/loops"
)

// document is the report of review as JSON. The keys are a contract: keys may be added, these stay.
type document struct {
	Format   int           `json:"format"`
	Site     string        `json:"site"`
	From     string        `json:"from"`
	To       string        `json:"to"`
	Zones    []zoneJSON    `json:"zones"`
	Findings []findingJSON `json:"findings"`
	Energy   []energyJSON  `json:"energy"`

	// Incomplete says that something of the recordings is not in this report; Problems are what is wrong with them, that first.
	Incomplete bool     `json:"incomplete"`
	Problems   []string `json:"problems"`
}

type zoneJSON struct {
	Zone          string            `json:"zone"`
	JudgedSeconds float64           `json:"judged_seconds"`
	Coverage      float64           `json:"coverage"`
	Reason        string            `json:"reason"`
	Tested        map[string]string `json:"tested"`
}

type findingJSON struct {
	ID           string            `json:"id"`
	Cause        string            `json:"cause"`
	Zones        []string          `json:"zones"`
	Device       string            `json:"device"`
	Part         string            `json:"part"`
	Severity     string            `json:"severity"`
	Onset        string            `json:"onset"`
	Raised       string            `json:"raised"`
	Cleared      *string           `json:"cleared"`
	Revised      bool              `json:"revised"`
	Confidence   float64           `json:"confidence"`
	AlsoPossible []alternativeJSON `json:"also_possible"`
	Summary      string            `json:"summary"`
	Cautions     []string          `json:"cautions"`
	Checks       []string          `json:"checks"`
	Evidence     measures          `json:"evidence"`
	Cost         costJSON          `json:"cost"`
	Proof        *proofJSON        `json:"proof"` // null where nothing of a repair was seen
}

// proofJSON is what a zone has shown since the last sample that spoke for its finding.
type proofJSON struct {
	Seconds float64  `json:"seconds"`
	From    float64  `json:"from_percent"`
	To      float64  `json:"to_percent"`
	NotYet  []string `json:"not_yet"` // "minimum", "full"
}

type alternativeJSON struct {
	ID         string  `json:"id"`
	Confidence float64 `json:"confidence"`
	Fits       float64 `json:"fits"` // how likely the samples are under it beside the finding's id: 1 is as likely
}

// measures is an object whose keys keep their order.
type measures []loops.Measure

// MarshalJSON writes the measures as an object.
func (m measures) MarshalJSON() ([]byte, error) {
	var b strings.Builder
	b.WriteByte('{')
	for i, x := range m {
		if i > 0 {
			b.WriteByte(',')
		}
		key, err := json.Marshal(x.Name)
		if err != nil {
			return nil, err
		}
		value, err := json.Marshal(x.Value)
		if err != nil {
			return nil, err
		}
		b.Write(key)
		b.WriteByte(':')
		b.Write(value)
	}
	b.WriteByte('}')
	return []byte(b.String()), nil
}

// document makes the JSON report.
func (r *recording) document() document {
	snap := r.judge.Snapshot()
	d := document{Format: 1, Site: r.site.Name, From: r.stamp(snap.From), To: r.stamp(snap.To),
		Zones: []zoneJSON{}, Findings: []findingJSON{}, Energy: []energyJSON{}}
	missing, others := r.problems()
	d.Incomplete, d.Problems = len(missing) > 0, append(append([]string{}, missing...), others...)
	for i, z := range snap.Zones {
		if r.leftOut(i) {
			continue
		}
		st := z.State
		zone := zoneJSON{Zone: z.Config.Name, JudgedSeconds: st.JudgedSeconds, Coverage: coverage(st), Tested: map[string]string{}}
		if st.JudgedSeconds == 0 {
			zone.Reason = reason(&st)
		}
		for id := loops.None + 1; id < loops.IDs; id++ {
			if st.Supported[id] && st.Tested[id] > 0 {
				zone.Tested[id.String()] = r.stamp(time.Unix(0, st.Tested[id]))
			}
		}
		d.Zones = append(d.Zones, zone)
		d.Energy = append(d.Energy, r.energyOf(z))
	}
	slices.SortFunc(d.Zones, func(a, b zoneJSON) int { return strings.Compare(a.Zone, b.Zone) })
	slices.SortFunc(d.Energy, func(a, b energyJSON) int { return strings.Compare(a.Zone, b.Zone) })
	for _, f := range r.ordered() {
		d.Findings = append(d.Findings, r.finding(f))
	}
	return d
}

func (r *recording) finding(f loops.Finding) findingJSON {
	row := &loops.Catalogue[f.ID]
	out := findingJSON{
		ID: row.Name, Cause: f.Cause, Zones: r.names(f), Part: row.Part, Severity: row.Severity,
		Onset: r.stamp(time.Unix(0, f.Onset)), Raised: r.stamp(time.Unix(0, f.Raised)), Revised: f.Revised,
		Confidence: math.Floor(f.Confidence*1e4) / 1e4, AlsoPossible: []alternativeJSON{},
		Summary: f.Summary, Checks: f.Checks, Cautions: f.Cautions, Evidence: f.Evidence,
		Cost: r.costOf(f),
	}
	if f.Device >= 0 {
		out.Device = r.site.Devices[f.Device].Name
	}
	if f.Cleared != 0 {
		cleared := r.stamp(time.Unix(0, f.Cleared))
		out.Cleared = &cleared
	}
	if p := f.Proof; p.Seconds > 0 {
		out.Proof = &proofJSON{math.Round(p.Seconds), math.Round(10*p.From) / 10, math.Round(10*p.To) / 10, append([]string{}, p.NotYet()...)}
	}
	for _, a := range f.Also {
		out.AlsoPossible = append(out.AlsoPossible, alternativeJSON{a.ID.String(), math.Floor(a.Confidence*1e4) / 1e4, math.Round(1e4*a.Fits) / 1e4})
	}
	return out
}

// coverage is the share of the time with light asked or on in which the zone was judged.
func coverage(st loops.ZoneState) float64 {
	if st.CalledSeconds <= 0 {
		return 0
	}
	return math.Round(1e4*min(1, st.JudgedSeconds/st.CalledSeconds)) / 1e4
}

// stamp writes a time in the site's zone, "" for none.
func (r *recording) stamp(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.In(r.site.Location).Format(time.RFC3339)
}
