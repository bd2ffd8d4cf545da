package main

import (
	"bytes"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"dimwatch/agent/config"
	"dimwatch/agent/energy"
	"dimwatch/agent/judge"
	"dimwatch/drivers"
	"dimwatch/drivers/all"
	"dimwatch/loops"

	"github.com/google/go-cmp/cmp"
)

// twoDevices is a panel, and beside it a device that never answers.
func twoDevices(t *testing.T, p *panel, zones ...string) string {
	return siteText(p.address, zones...) + fmt.Sprintf(`
device "gone" {
  driver  = "modbus-tcp"
  address = %q
  cycle   = "200ms"
  timeout = "100ms"
}
zone "produce" {
  device   = "gone"
  setpoint = { holding = 0, raw = [0, 1000], level = [0, 100] }
  command  = { holding = 1, raw = [0, 1000], volts = [0, 10] }
  feedback = { input = 0, raw = [0, 27648], milliamps = [4, 20], volts = [0, 10] }
  lit      = { discrete = 0, kind = "contact", invert = true }
}
`, unusedAddress(t))
}

// A live store is recorded while an interface sticks and is repaired and a device does not answer. Review of the recording
// says what the daemon has said, to the nanosecond and the last digit; so does the bundle of the finding, which is exported while
// the daemon runs.
func TestRecordingIsJudgedAlike(t *testing.T) {
	if testing.Short() {
		t.Skip("skipped: takes half a minute of real time")
	}
	noLeaks(t)
	keepOften(t, 500*time.Millisecond)
	every := recordEvery
	t.Cleanup(func() { recordEvery = every })
	recordEvery = time.Second
	p := startPanel(t)
	dir, state := t.TempDir(), t.TempDir()
	var mu sync.Mutex
	said := map[int]loops.Finding{}
	text := strings.Replace(twoDevices(t, p, "aisles-1-4", "aisles-5-8"), "site \"corner-market\" {", "site \"corner-market\" {\n  time_zone = \"America/Los_Angeles\"\n  hours = { mon-sun = \"00:00-12:00, 12:00-24:00\" }\n  tariff = 0.14", 1)
	w := startWatch(t, text, func(d *daemon) {
		d.record, d.state = dir, state
		d.found = func(_ *config.Site, f loops.Finding) {
			mu.Lock()
			defer mu.Unlock()
			said[f.Seq] = f
		}
	})
	w.await(true, `dimming_zone_judged\{zone="aisles-1-4"\} 1`, 20*time.Second)
	time.Sleep(4 * time.Second)
	p.stick(true)
	w.await(true, `dimming_finding_active\{device="panel",finding="stuck-dim",.*zone="aisles-1-4"\} 1`, time.Minute)
	time.Sleep(3 * time.Second)
	exportWhileWatched(t, w, state, said, &mu)
	p.stick(false)
	w.await(false, `dimming_finding_active\{device="panel",finding="stuck-dim"`, 2*time.Minute)
	w.await(true, `dimming_finding_active\{device="gone",finding="device-lost"`, time.Minute)
	w.stop()

	folders, _ := filepath.Glob(filepath.Join(dir, "corner-market-*", "site.hcl"))
	if len(folders) != 1 { // two where this runs at midnight in Los Angeles: then the recording is cut in two
		t.Skipf("skipped: the recording is in %d parts", len(folders))
	}
	r := reviewedHere(t, folders[0])
	var want []loops.Finding
	for seq := 1; seq <= len(said); seq++ {
		want = append(want, said[seq])
	}
	if len(want) < 3 {
		t.Errorf("the daemon has said only %d", len(want))
	}
	if diff := cmp.Diff(want, r.findings); diff != "" {
		t.Errorf("review of the recording says otherwise (-daemon +review):\n%s", diff)
	}
	recorded, _, _ := config.Load(folders[0], all.Kinds)
	watched, _, _ := config.Load(w.file, all.Kinds)
	ignore := cmp.FilterPath(func(p cmp.Path) bool {
		switch p.Last().String() {
		case ".File", ".Driver", ".Address", ".Gap", ".Timeout", ".BusShare", ".Recorded", ".Source", ".Range", ".Where", ".cache", ".Reads":
			return true
		}
		return false
	}, cmp.Ignore())
	if diff := cmp.Diff(watched, recorded, ignore, cmp.Comparer(func(a, b *time.Location) bool { return a.String() == b.String() })); diff != "" {
		t.Errorf("the configuration of the recording is another one (-watched +recorded):\n%s", diff)
	}
}

// exportWhileWatched exports a finding out of a state that the daemon holds.
func exportWhileWatched(t *testing.T, w *watching, state string, said map[int]loops.Finding, mu *sync.Mutex) {
	t.Helper()
	mu.Lock()
	var want loops.Finding
	for _, f := range said {
		if f.ID == loops.StuckDim {
			want = f
		}
	}
	mu.Unlock()
	runExport := func(args ...string) (code int, out, errs string) {
		var o, e bytes.Buffer
		code = run(append([]string{"export", "-config", w.file, "--state", state}, args...), &o, &e)
		return code, o.String(), e.String()
	}
	if code, out, errs := runExport(); code != done || !regexp.MustCompile(`(?m)^`+want.Cause+` +stuck-dim +aisles-\d-\d +[A-Z][a-z]{2} \d{4}-\d\d-\d\d \d\d:\d\d +(stands|ended)`).MatchString(out) {
		t.Errorf("the list is %q, %q", out, errs)
	}
	if code, _, errs := runExport("zone/none/1"); code != failed || !strings.Contains(errs, "there is no clip of \"zone/none/1\"") {
		t.Errorf("%d, %s", code, errs)
	}
	if code, _, errs := runExport("a", "b"); code != misuse {
		t.Errorf("two causes: %d, %s", code, errs)
	}
	folder := filepath.Join(t.TempDir(), "bundle")
	code, out, errs := runExport("--out", folder, want.Cause)
	if code != done || !strings.Contains(out, "review of it finds the same: stuck-dim") {
		t.Fatalf("export: %d, %s%s", code, out, errs)
	}
	if code, _, errs := runExport("--out", folder, want.Cause); code != failed || !strings.Contains(errs, "is there already") {
		t.Errorf("over what is there: %d, %s", code, errs)
	}
	if code, out, errs := runExport("--out", folder+".tar.gz", want.Cause); code != done {
		t.Errorf("an archive: %d, %s%s", code, out, errs)
	}
	r := reviewedHere(t, filepath.Join(folder, "site.hcl"))
	if len(r.findings) == 0 || r.findings[0].ID != want.ID || r.findings[0].Onset != want.Onset || r.findings[0].Raised != want.Raised {
		t.Errorf("review of the bundle says %+v, want %+v", r.findings, want)
	}
	for name, part := range map[string]string{
		"finding.json": `"id": "stuck-dim"`, "versions.txt": "dimwatch review", "history.csv.gz": "time,zone,samples,setpoint_percent_least", "trend.csv.gz": "time,aisles-",
	} {
		if text := unpacked(t, filepath.Join(folder, name)); !strings.Contains(text, part) {
			t.Errorf("%s lacks %q: %.300s", name, part, text)
		}
	}
}

// reviewedHere is the review of a recording.
func reviewedHere(t *testing.T, file string) *recording {
	t.Helper()
	var out, errs bytes.Buffer
	if code := run([]string{"review", "-config", file, "--json"}, &out, &errs); code != done {
		t.Fatalf("review of %s: %s", file, errs.String())
	}
	site, _, diags := config.Load(file, all.Kinds)
	if len(diags) > 0 {
		t.Error(diags)
	}
	t.Cleanup(func() { closeSources(site) })
	r := &recording{site: site, judge: judge.New(site), costs: map[int]energy.Cost{}}
	if err := r.run(t.Context()); err != nil {
		t.Fatal(err)
	}
	for _, rec := range r.recordings() {
		if p := rec.Problems(); p.Lost() > 0 {
			t.Errorf("problems in %s: %v", rec.File(), p.Summary())
		}
	}
	return r
}

// unpacked is the text of a file, without its compression where it has one.
func unpacked(t *testing.T, file string) string {
	t.Helper()
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.HasSuffix(file, ".gz") {
		return string(b)
	}
	z, err := gzip.NewReader(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	text, err := io.ReadAll(z)
	if err != nil {
		t.Errorf("%s: %v", file, err)
	}
	return string(text)
}

// recordedPanel is a recorder of a panel's device, and the device's readings at a time.
func recordedPanel(t *testing.T, dir string, log *safeBuffer) (r *recorder, take func(at time.Time, err error)) {
	t.Helper()
	file := filepath.Join(t.TempDir(), "site.hcl")
	write(t, file, strings.Replace(siteText("127.0.0.1:1", "aisles-1-4"), "{", "{\n  time_zone = \"America/Los_Angeles\"", 1))
	site, _, diags := config.Load(file, all.Kinds)
	if diags.HasErrors() {
		t.Fatal(diags)
	}
	r = newRecorder(newLogger(log), dir)
	r.begin(site)
	return r, func(at time.Time, err error) {
		readings := make([]drivers.Reading, len(site.Devices[0].Points))
		for i := range readings {
			readings[i] = drivers.Reading{At: at, Value: float64(i) + 0.1, Quality: drivers.Good}
		}
		readings[1].Quality = drivers.Bad
		if err == errAllBad {
			err = nil
			for i := range readings {
				readings[i].Quality = drivers.Uncertain
			}
		}
		r.take(0, at, readings, err)
	}
}

var errAllBad = errors.New("every value is bad")

// A day ends at local midnight, across a change of the clock too; a start on the same day goes on in the same file, also where the
// one before was cut off; another configuration begins another folder.
func TestRecordingByDays(t *testing.T) {
	dir := t.TempDir()
	r, take := recordedPanel(t, dir, &safeBuffer{})
	midnight := time.Date(2026, 3, 8, 8, 0, 0, 0, time.UTC) // begins the day on which clocks go forward
	take(midnight.Add(-time.Nanosecond), nil)
	take(midnight, drivers.ErrTimeout)
	take(midnight.Add(3*time.Hour), errAllBad)
	r.flush()
	first := filepath.Join(dir, "corner-market-2026-03-07", "panel.csv.gz")
	second := filepath.Join(dir, "corner-market-2026-03-08", "panel.csv.gz")
	header := "time,aisles-1-4_setpoint,aisles-1-4_command,aisles-1-4_feedback,aisles-1-4_lit,aisles-1-4_power\n"
	if got, want := unpacked(t, first), header+"2026-03-07T23:59:59.999999999-08:00,0.1,,2.1,3.1,4.1\n"; got != want {
		t.Errorf("the first day is\n%s, want\n%s", got, want)
	}
	want := header + "2026-03-08T00:00:00-08:00,,,,,\n2026-03-08T04:00:00-07:00,bad,bad,bad,bad,bad\n"
	if got := unpacked(t, second); got != want {
		t.Errorf("the second day is\n%s, want\n%s", got, want)
	}

	whole, err := os.ReadFile(second)
	if err != nil {
		t.Fatal(err)
	}
	for cut := range 40 { // what a power cut left of the last minute
		if err := os.WriteFile(second, append(bytes.Clone(whole), whole[:cut]...), 0o640); err != nil {
			t.Fatal(err)
		}
		r, take = recordedPanel(t, dir, &safeBuffer{})
		take(midnight.Add(4*time.Hour), nil)
		r.flush()
		take(midnight.Add(5*time.Hour), nil)
		r.flush()
		if got := unpacked(t, second); got != want+"2026-03-08T05:00:00-07:00,0.1,,2.1,3.1,4.1\n2026-03-08T06:00:00-07:00,0.1,,2.1,3.1,4.1\n" {
			t.Fatalf("after %d bytes that were left over:\n%s", cut, got)
		}
	}

	write(t, filepath.Join(dir, "corner-market-2026-03-08", "site.hcl"), "site \"other\" {}\n")
	r, take = recordedPanel(t, dir, &safeBuffer{})
	take(midnight.Add(6*time.Hour), nil)
	r.flush()
	other := filepath.Join(dir, "corner-market-2026-03-08-2", "panel.csv.gz")
	if got := unpacked(t, other); got != header+"2026-03-08T07:00:00-07:00,0.1,,2.1,3.1,4.1\n" {
		t.Errorf("beside another configuration:\n%s", got)
	}
}

// Where the folder cannot be written, that is said once, rows wait up to a bound, and what was lost is counted in the end.
func TestRecordingCanNotBeWritten(t *testing.T) {
	base, log := t.TempDir(), &safeBuffer{}
	dir := filepath.Join(base, "disk")
	write(t, dir, "")
	r, take := recordedPanel(t, dir, log)
	at := time.Date(2026, 3, 8, 12, 0, 0, 0, time.UTC)
	r.try(at)
	if got := log.String(); strings.Count(got, "cannot be recorded") != 1 {
		t.Errorf("at the start the log is\n%s", got)
	}
	for range 10 {
		take(at, nil)
		at = at.Add(5 * time.Second)
		r.flush()
	}
	if got := log.String(); strings.Count(got, "cannot be recorded") != 1 || !strings.Contains(got, "not a directory") {
		t.Errorf("the log is\n%s", got)
	}
	if err := os.Remove(dir); err != nil {
		t.Fatal(err)
	}
	take(at, nil)
	r.flush()
	file := filepath.Join(dir, "corner-market-2026-03-08", "panel.csv.gz")
	if got := unpacked(t, file); strings.Count(got, "\n") != 12 || strings.Count(got, "time") != 1 {
		t.Errorf("rows that waited are not there:\n%s", got)
	}
	if got := log.String(); !strings.Contains(got, "recorded again") || !strings.Contains(got, `"lost_rows":0`) {
		t.Errorf("the log is\n%s", got)
	}

	if err := os.Rename(dir, dir+"-away"); err != nil {
		t.Fatal(err)
	}
	write(t, dir, "")
	r.folders = map[string]string{}
	rows := 2 * mostRows / 45
	for range rows {
		at = at.Add(time.Second)
		take(at, nil)
		if at.Second() == 0 {
			r.flush()
		}
	}
	if err := os.Remove(dir); err != nil {
		t.Fatal(err)
	}
	r.flush()
	written := strings.Count(unpacked(t, file), "\n") - 1
	if got := log.String(); written == 0 || !strings.Contains(got, fmt.Sprintf(`"lost_rows":%d`, rows-written)) {
		t.Errorf("%d of %d rows were written; the log is\n%s", written, rows, got)
	}
}

// What cannot be recorded is said at the start, once for all devices; at the end that what waited is lost.
func TestRecordingOfMoreDevices(t *testing.T) {
	base, log := t.TempDir(), &safeBuffer{}
	write(t, filepath.Join(base, "disk"), "")
	p := startPanel(t)
	w := startWatch(t, twoDevices(t, p, "aisles-1-4"), func(d *daemon) {
		d.record = filepath.Join(base, "disk", "days")
		log = &safeBuffer{}
		d.log = newLogger(log)
	})
	if got := log.String(); strings.Count(got, "cannot be recorded") != 1 || strings.Count(got, "not a directory") != 1 {
		t.Errorf("at the start the log is\n%s", got)
	}
	w.await(true, `dimming_device_requests_total\{device="gone",result="[a-z]+"\} [1-9]`, 10*time.Second)
	w.await(true, `dimming_zone_feedback_ratio\{zone="aisles-1-4"\}`, 10*time.Second)
	w.stop()
	_, got, _ := strings.Cut(log.String(), `"ending"`)
	if strings.Count(got, "are lost") != 1 || strings.Count(got, "not a directory") != 1 || strings.Contains(got, "watching goes on") || strings.Contains(got, `"lost_rows":0`) {
		t.Errorf("at the end the log is\n%s", got)
	}
}

// BenchmarkRecord records an hour of 64 zones at 5 s whose values all move, and prints how large a day is, what is given to the
// disk in it (limit 256 MiB, as for the state), and what a poll of eight zones costs the bus's goroutine.
func BenchmarkRecord(b *testing.B) {
	file := filepath.Join(b.TempDir(), "site.hcl")
	if err := os.WriteFile(file, []byte(hallText("127.0.0.1:1")), 0o644); err != nil {
		b.Fatal(err)
	}
	site, _, diags := config.Load(file, all.Kinds)
	if diags.HasErrors() {
		b.Fatal(diags)
	}
	dir := b.TempDir()
	r := newRecorder(newLogger(&safeBuffer{}), dir)
	r.begin(site)
	at := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	readings := make([]drivers.Reading, len(site.Devices[0].Points))
	var taking time.Duration
	polls := 0
	before := written(b)
	for b.Loop() {
		for second := 0; second < 3600; second += 5 {
			at = at.Add(5*time.Second + 1234567)
			for d := range site.Devices {
				for i, p := range site.Devices[d].Points {
					level := 50 + 30*math.Sin(float64(at.Unix())/500+float64(p.Zone))
					v := map[config.Role]float64{config.Setpoint: 10 * level, config.Command: 10*level + 3*rand.NormFloat64(), config.Lit: 1,
						config.Power: 300 + 7*level + rand.NormFloat64(), config.Feedback: (4+0.16*level)*4095/20 + 3*rand.NormFloat64()}[p.Role]
					readings[i] = drivers.Reading{At: at, Value: math.Round(v), Quality: drivers.Good}
				}
				begun := time.Now()
				r.take(d, at, readings, nil)
				taking += time.Since(begun)
				polls++
			}
			if second%60 == 55 {
				r.flush()
			}
		}
	}
	hours := float64(polls) / float64(8*3600/5)
	disk := (written(b) - before) / hours
	size := 0.0
	files, _ := filepath.Glob(filepath.Join(dir, "*", "*.gz"))
	for _, f := range files {
		info, err := os.Stat(f)
		if err != nil {
			b.Fatal(err)
		}
		size += float64(info.Size()) / hours
	}
	if size == 0 || r.failed > 0 {
		b.Error("nothing was recorded")
	}
	b.ReportMetric(24*size/(1<<20), "MiB/day")
	b.ReportMetric(24*disk/(1<<20), "written-MiB/day")
	b.ReportMetric(256, "limit-MiB/day")
	b.ReportMetric(float64(taking.Nanoseconds())/float64(polls), "ns/poll")
	b.ReportMetric(0, "ns/op")
}
