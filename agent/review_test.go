package main

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"dimwatch/loops"

	"github.com/google/go-cmp/cmp"
)

// reviewed is the report of review as a reader outside of this program would declare it.
type reviewed struct {
	Format   int    `json:"format"`
	Site     string `json:"site"`
	From, To time.Time
	Zones    []struct {
		Zone          string               `json:"zone"`
		JudgedSeconds float64              `json:"judged_seconds"`
		Coverage      float64              `json:"coverage"`
		Reason        string               `json:"reason"`
		Tested        map[string]time.Time `json:"tested"`
	} `json:"zones"`
	Findings []struct {
		ID           string     `json:"id"`
		Cause        string     `json:"cause"`
		Zones        []string   `json:"zones"`
		Device       string     `json:"device"`
		Part         string     `json:"part"`
		Severity     string     `json:"severity"`
		Onset        time.Time  `json:"onset"`
		Raised       time.Time  `json:"raised"`
		Cleared      *time.Time `json:"cleared"`
		Revised      bool       `json:"revised"`
		Confidence   float64    `json:"confidence"`
		AlsoPossible []struct {
			ID         string  `json:"id"`
			Confidence float64 `json:"confidence"`
			Fits       float64 `json:"fits"`
		} `json:"also_possible"`
		Summary  string             `json:"summary"`
		Checks   []string           `json:"checks"`
		Cautions []string           `json:"cautions"`
		Evidence map[string]float64 `json:"evidence"`
		Cost     struct {
			Excess        *float64 `json:"excess_joules"`
			Missed        *float64 `json:"missed_joules"`
			MissedLow     *float64 `json:"missed_joules_low"`
			MissedHigh    *float64 `json:"missed_joules_high"`
			LightOwed     *float64 `json:"light_owed_percent_hours"`
			KilowattHours *float64 `json:"kilowatt_hours"`
			Money         *float64 `json:"money"`
		} `json:"cost"`
		Proof *struct {
			Seconds float64  `json:"seconds"`
			From    float64  `json:"from_percent"`
			To      float64  `json:"to_percent"`
			NotYet  []string `json:"not_yet"`
		} `json:"proof"`
	} `json:"findings"`
	Energy []struct {
		Zone       string   `json:"zone"`
		Used       float64  `json:"used_joules"`
		Excess     float64  `json:"excess_joules"`
		Avoided    float64  `json:"avoided_joules"`
		Missed     *float64 `json:"missed_joules"`
		MissedLow  *float64 `json:"missed_joules_low"`
		MissedHigh *float64 `json:"missed_joules_high"`
		LightOwed  float64  `json:"light_owed_percent_hours"`
		Money      *float64 `json:"money"`
		Baseline   *struct {
			Days       int      `json:"days"`
			CV         *float64 `json:"cv_rmse_percent"`
			NMBE       *float64 `json:"nmbe_percent"`
			Confidence float64  `json:"interval_confidence"`
		} `json:"baseline"`
	} `json:"energy"`
	Incomplete bool     `json:"incomplete"`
	Problems   []string `json:"problems"`
}

// reviewJSON reviews a configuration, and demands that the report has the keys of the contract and no null where a list
// belongs.
func reviewJSON(t *testing.T, file string) (r reviewed, text string) {
	t.Helper()
	var out, errs bytes.Buffer
	if code := run([]string{"review", "-config", file, "--json"}, &out, &errs); code != done {
		t.Fatalf("review: %d\n%s", code, &errs)
	}
	d := json.NewDecoder(bytes.NewReader(out.Bytes()))
	d.DisallowUnknownFields()
	if err := d.Decode(&r); err != nil {
		t.Fatalf("%v\n%s", err, &out)
	}
	if _, err := d.Token(); err != io.EOF {
		t.Errorf("something follows the document: %v", err)
	}
	for _, key := range []string{"zones", "findings", "energy", "also_possible", "checks", "cautions", "tested", "evidence", "problems"} {
		if strings.Contains(out.String(), `"`+key+`": null`) {
			t.Errorf("%s is null", key)
		}
	}
	return r, out.String()
}

// row is what a made recording says at one time of one zone.
type row struct{ setpoint, command, milliamps, power float64 }

// shop makes rows of zones as a controller would trim them; a zone whose pair is shorted from a row on is named.
type shop struct {
	command []float64
	shorted map[int]int // zone: from this row
	opened  bool        // the pair of those is open instead: full light
}

func (s *shop) row(k, zone int) row {
	for len(s.command) <= zone {
		s.command = append(s.command, 50)
	}
	setpoint := 55 + 25*math.Sin(float64(k)/90+float64(zone))
	pair, light := math.Max(5, s.command[zone]), math.Max(10, s.command[zone])
	if from, ok := s.shorted[zone]; ok && k >= from {
		pair, light = 0.4, 10
		if s.opened {
			light = 100
		}
	}
	command := s.command[zone]
	s.command[zone] = math.Min(100, math.Max(0, command+0.4*(setpoint-pair)))
	return row{setpoint, command, 4 + 0.16*(pair+0.3*math.Sin(7.3*float64(k))), 10 * (30 + 0.7*math.Max(0, light-20)/0.8)}
}

// csv writes a recording of zones, rows 15 s apart from noon.
func (s *shop) csv(w io.Writer, rows, zones int) {
	fmt.Fprint(w, "time")
	for z := range zones {
		fmt.Fprintf(w, ",set%d,cmd%d,ma%d,watts%d", z, z, z, z)
	}
	fmt.Fprintln(w)
	at := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	for k := range rows {
		fmt.Fprint(w, at.Add(time.Duration(k)*15*time.Second).Format(time.RFC3339))
		for z := range zones {
			r := s.row(k, z)
			fmt.Fprintf(w, ",%.1f,%.1f,%.2f,%.0f", r.setpoint, r.command, r.milliamps, r.power)
		}
		fmt.Fprintln(w)
	}
}

// shopText is the configuration of such a recording. Devices share the zones in turn.
func shopText(zones int, files ...string) string {
	text := `site "corner-market" {
  time_zone = "America/Chicago"
  hours     = "00:00-24:00"
}
`
	for i, f := range files {
		text += fmt.Sprintf("device \"log%d\" {\n  driver = \"trend\"\n  file = %q\n  cycle = \"15s\"\n}\n", i, f)
	}
	for z := range zones {
		text += fmt.Sprintf(`zone "zone-%c" {
  device      = "log%d"
  setpoint    = { column = "set%d", level = true }
  command     = { column = "cmd%d", level = true }
  feedback    = { column = "ma%d", raw = [4, 20], milliamps = [4, 20], volts = [0, 10] }
  power       = { column = "watts%d", watts = true }
  rated_power = 1000
}
`, 'z'-z, z%len(files), z, z, z, z)
	}
	return text
}

// put writes a configuration and a recording, and gives the path of the first.
func (s *shop) put(t testing.TB, rows, zones int, devices int) string {
	t.Helper()
	dir := t.TempDir()
	f, err := os.Create(filepath.Join(dir, "trend.csv"))
	if err != nil {
		t.Fatal(err)
	}
	s.csv(f, rows, zones)
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(dir, "site.hcl")
	if err := os.WriteFile(file, []byte(shopText(zones, slices.Repeat([]string{"trend.csv"}, devices)...)), 0o644); err != nil {
		t.Fatal(err)
	}
	return file
}

// The JSON report says of a recorded short what the contract asks for.
func TestReviewDocument(t *testing.T) {
	const rows, from = 1200, 600
	s := &shop{shorted: map[int]int{1: from}}
	r, text := reviewJSON(t, s.put(t, rows, 3, 2))
	start := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	if r.Format != 1 || r.Site != "corner-market" || !r.From.Equal(start) || !r.To.Equal(start.Add((rows-1)*15*time.Second)) {
		t.Errorf("format %d, site %q, %v to %v", r.Format, r.Site, r.From, r.To)
	}
	if !strings.Contains(text, `"from": "2026-03-02T06:00:00-06:00"`) {
		t.Error("times are not in the site's zone")
	}

	var names, energy []string
	for _, z := range r.Zones {
		names = append(names, z.Zone)
		if want := float64((rows - 1) * 15); z.JudgedSeconds < 0.9*want || z.JudgedSeconds > want || z.Coverage < 0.9 || z.Coverage > 1 || z.Reason != "" {
			t.Errorf("zone %+v, want near %g s judged", z, want)
		}
		if _, ok := z.Tested["pair-short"]; !ok {
			t.Errorf("zone %s was not tested for a short: %v", z.Zone, z.Tested)
		}
		for id := range z.Tested {
			if _, ok := loops.Parse(id); !ok {
				t.Errorf("zone %s: there is no finding %q", z.Zone, id)
			}
		}
	}
	for _, e := range r.Energy {
		energy = append(energy, e.Zone)
		if e.Used <= 0 {
			t.Errorf("zone %s has used %g J", e.Zone, e.Used)
		}
	}
	if want := []string{"zone-x", "zone-y", "zone-z"}; !slices.Equal(names, want) || !slices.Equal(energy, want) {
		t.Errorf("zones %v, energy %v, want both sorted: %v", names, energy, want)
	}

	if len(r.Findings) != 1 {
		t.Fatalf("%d findings, want the short alone:\n%s", len(r.Findings), text)
	}
	f := r.Findings[0]
	fault := start.Add(from * 15 * time.Second)
	if f.ID != "pair-short" || f.Part != "pair" || f.Severity != "urgent" || f.Cause == "" || f.Device != "" || f.Cleared != nil || f.Revised ||
		!slices.Equal(f.Zones, []string{"zone-y"}) {
		t.Errorf("finding %+v", f)
	}
	if f.Onset.Before(fault.Add(-time.Minute)) || f.Onset.After(fault.Add(2*time.Minute)) || f.Raised.Before(fault) || f.Raised.After(fault.Add(3*time.Minute)) {
		t.Errorf("onset %v, raised %v of a fault at %v", f.Onset, f.Raised, fault)
	}
	sum := f.Confidence
	for _, a := range f.AlsoPossible {
		sum += a.Confidence
		if a.Fits <= 0 || a.Fits > 1 {
			t.Errorf("%s fits %g", a.ID, a.Fits)
		}
	}
	if f.Confidence <= 0.5 || sum > 1 {
		t.Errorf("confidence %g, with what is also possible %g", f.Confidence, sum)
	}
	if len(f.Checks) == 0 || len(f.Cautions) == 0 || f.Summary == "" || len(f.Evidence) == 0 {
		t.Errorf("finding %+v lacks text", f)
	}
	if strings.Index(text, `"cautions"`) > strings.Index(text, `"checks"`) {
		t.Error("cautions come after the checks that they are for")
	}
}

// A recording in which nothing is wrong, and one that cannot be judged, have their lists all the same.
func TestReviewOfNothing(t *testing.T) {
	s := &shop{}
	r, text := reviewJSON(t, s.put(t, 400, 1, 1))
	if len(r.Findings) != 0 || !strings.Contains(text, `"findings": []`) {
		t.Errorf("findings of a sound zone:\n%s", text)
	}

	file := s.put(t, 400, 1, 1)
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	write(t, file, strings.Replace(string(b), "rated_power = 1000", "out_of_service = true", 1))
	r, text = reviewJSON(t, file)
	if z := r.Zones[0]; z.JudgedSeconds != 0 || z.Reason == "" || len(z.Tested) != 0 || z.Coverage != 0 {
		t.Errorf("a zone out of service: %+v", z)
	}
	if !strings.Contains(text, `"tested": {}`) {
		t.Errorf("tested is not an empty object:\n%s", text)
	}
}

// How zones are spread over devices makes no difference, whether they share a file or have one each, and whether the
// files' rows come at the same times or not.
func TestReviewMerges(t *testing.T) {
	shorted := map[int]int{1: 600}
	one, _ := reviewJSON(t, (&shop{shorted: shorted}).put(t, 1200, 3, 1))
	three, _ := reviewJSON(t, (&shop{shorted: shorted}).put(t, 1200, 3, 3))
	if diff := cmp.Diff(one, three); diff != "" {
		t.Errorf("three devices on one file give another report than one:\n%s", diff)
	}

	// The second device's file: its own rows, 7 s later, and an hour less of them.
	dir := t.TempDir()
	var all bytes.Buffer
	(&shop{shorted: shorted}).csv(&all, 1200, 2)
	lines := strings.Split(strings.TrimSpace(all.String()), "\n")
	late := []string{lines[0]}
	for _, line := range lines[1 : len(lines)-240] {
		stamp, cells, _ := strings.Cut(line, ",")
		at, err := time.Parse(time.RFC3339, stamp)
		if err != nil {
			t.Fatal(err)
		}
		late = append(late, at.Add(7*time.Second).Format(time.RFC3339)+","+cells)
	}
	write(t, filepath.Join(dir, "a.csv"), all.String())
	write(t, filepath.Join(dir, "b.csv"), strings.Join(late, "\n")+"\n")
	write(t, filepath.Join(dir, "site.hcl"), shopText(2, "a.csv", "b.csv"))
	r, text := reviewJSON(t, filepath.Join(dir, "site.hcl"))
	if len(r.Findings) != 1 || r.Findings[0].Zones[0] != "zone-y" || r.Findings[0].ID != "pair-short" {
		t.Errorf("findings of two files:\n%s", text)
	}
	if got := r.Zones[1].JudgedSeconds - r.Zones[0].JudgedSeconds; math.Abs(got-3600) > 60 {
		t.Errorf("judged %g s and %g s, want an hour less of the shorter file", r.Zones[1].JudgedSeconds, r.Zones[0].JudgedSeconds)
	}
	if r.From.After(time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)) {
		t.Errorf("from %v", r.From)
	}
}

// A file that breaks off is an error that names it, and no report is printed as if it were whole.
func TestReviewOfABrokenFile(t *testing.T) {
	file := (&shop{}).put(t, 50, 1, 1)
	write(t, filepath.Join(filepath.Dir(file), "trend.csv"), "\x1f\x8b\x08\x00 this is no gzip file")
	var out, errs bytes.Buffer
	if code := run([]string{"review", "-config", file, "--json"}, &out, &errs); code != failed || out.Len() != 0 || !strings.Contains(errs.String(), "trend.csv") {
		t.Errorf("%d\n%s\n%s", code, &out, &errs)
	}
}

// What a recording has lost is said where the report is read, and not only beside it.
func TestReviewOfADamagedFile(t *testing.T) {
	whole := func(csv string) string { return csv }
	for _, c := range []struct {
		name, lead string // of the report
		incomplete bool
		code       int
		damage     func(csv string) string
	}{
		{"whole", "corner-market\n", false, done, whole},
		{"a row twice", "corner-market\n", false, done, func(csv string) string { return csv + csv[strings.LastIndex(csv[:len(csv)-1], "\n")+1:] }},
		{"half a row", "INCOMPLETE: ", true, done, func(csv string) string { return csv[:len(csv)-20] + "\n" }},
		{"cut off", "INCOMPLETE: ", true, failed, func(csv string) string {
			var b bytes.Buffer
			z := gzip.NewWriter(&b)
			_, _ = io.WriteString(z, csv)
			_ = z.Flush()
			_, _ = io.WriteString(z, csv)
			return b.String()
		}},
	} {
		file := (&shop{}).put(t, 400, 1, 1)
		trend := filepath.Join(filepath.Dir(file), "trend.csv")
		csv, err := os.ReadFile(trend)
		if err != nil {
			t.Fatal(err)
		}
		write(t, trend, c.damage(string(csv)))
		var out, errs bytes.Buffer
		if code := run([]string{"review", "-config", file}, &out, &errs); code != c.code || !strings.HasPrefix(out.String(), c.lead) ||
			strings.Contains(out.String(), "INCOMPLETE") != c.incomplete {
			t.Errorf("%s: %d\n%s\n%s", c.name, code, &out, &errs)
		}
		out.Reset()
		run([]string{"review", "-config", file, "--json"}, &out, &errs)
		var r reviewed
		if err := json.Unmarshal(out.Bytes(), &r); err != nil {
			t.Fatal(err)
		}
		if r.Incomplete != c.incomplete || (len(r.Problems) == 0) != (c.name == "whole") {
			t.Errorf("%s: incomplete %v, problems %q", c.name, r.Incomplete, r.Problems)
		}
	}
}

// Every recording of a folder named by DIMWATCH_TRENDS gives a report whose findings come in the order of raised, id, zone.
func TestReviewRecordings(t *testing.T) {
	dir := os.Getenv("DIMWATCH_TRENDS")
	if dir == "" {
		t.Skip("skipped: DIMWATCH_TRENDS names no folder of recordings")
	}
	sites, err := filepath.Glob(filepath.Join(dir, "*", "site.hcl"))
	if err != nil || len(sites) == 0 {
		t.Fatalf("no recordings in %s: %v", dir, err)
	}
	for _, site := range sites {
		t.Run(filepath.Base(filepath.Dir(site)), func(t *testing.T) {
			r, _ := reviewJSON(t, site)
			last := ""
			for _, f := range r.Findings {
				key := f.Raised.UTC().Format(time.RFC3339) + " " + f.ID + " " + strings.Join(f.Zones, ",")
				if key < last {
					t.Errorf("%s comes after %s", key, last)
				}
				last = key
				if f.Onset.After(f.Raised) || f.Cleared != nil && f.Cleared.Before(f.Raised) || f.Raised.After(r.To) || f.Onset.Before(r.From) {
					t.Errorf("%s: onset %v, raised %v, cleared %v of %v to %v", f.ID, f.Onset, f.Raised, f.Cleared, r.From, r.To)
				}
			}
			for _, z := range r.Zones {
				if z.Coverage < 0 || z.Coverage > 1 || z.JudgedSeconds == 0 && z.Reason == "" {
					t.Errorf("%+v", z)
				}
			}
		})
	}
}

// BenchmarkReview is the whole of review over a recording of three zones with twelve columns, reading included.
func BenchmarkReview(b *testing.B) {
	const rows = 100_000
	file := (&shop{shorted: map[int]int{1: rows / 2}}).put(b, rows, 3, 1)
	b.ReportAllocs()
	for b.Loop() {
		if code := run([]string{"review", "-config", file, "--json"}, io.Discard, io.Discard); code != done {
			b.Fatal("review failed")
		}
	}
	b.ReportMetric(rows*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
	b.ReportMetric(200_000, "limit-rows/s")
}
