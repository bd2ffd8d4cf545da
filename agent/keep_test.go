package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"dimwatch/agent/config"
	"dimwatch/agent/energy"
	"dimwatch/agent/judge"
	"dimwatch/drivers"
	"dimwatch/drivers/all"
	"dimwatch/loops"
)

// stateText is the configuration of a panel with a folder for its state.
func stateText(address, dir string, zones ...string) string {
	return fmt.Sprintf("agent {\n  state = %q\n}\n", dir) + siteText(address, zones...)
}

// keepOften makes the daemon of this process keep its state more often, until the test ends.
func keepOften(t *testing.T, every time.Duration) {
	t.Helper()
	state, energy := stateEvery, energyEvery
	t.Cleanup(func() { stateEvery, energyEvery = state, energy })
	stateEvery, energyEvery = every, every
}

// awaitLog waits until the log has a text.
func (w *watching) awaitLog(text string) {
	w.t.Helper()
	for deadline := time.Now().Add(20 * time.Second); !strings.Contains(w.log.String(), text); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(deadline) {
			w.t.Fatalf("no %q in\n%s", text, w.log)
		}
	}
}

// Where the state cannot be kept, watching goes on; that is logged once, shown in the metrics, tried again, and its end is
// logged as well.
func TestStateCanNotBeKept(t *testing.T) {
	noLeaks(t)
	keepOften(t, 100*time.Millisecond)
	p := startPanel(t)
	base := t.TempDir()
	write(t, filepath.Join(base, "blocked"), "")
	w := startWatch(t, stateText(p.address, filepath.Join(base, "blocked", "state"), "aisles-1-4"))
	w.await(true, `dimming_zone_feedback_ratio\{zone="aisles-1-4"\}`, 10*time.Second)
	w.await(true, `dimming_state_commit_failures_total ([3-9]|\d\d)`, 10*time.Second)
	w.await(false, `dimming_state_last_commit_timestamp_seconds`, time.Second)
	if log := w.log.String(); strings.Count(log, "the state cannot be kept") != 1 || !strings.Contains(log, "not a directory") {
		t.Errorf("the log is\n%s", log)
	}
	if err := os.Remove(filepath.Join(base, "blocked")); err != nil {
		t.Fatal(err)
	}
	w.awaitLog("the state is kept again")
	w.await(true, `dimming_state_last_commit_timestamp_seconds \d`, 10*time.Second)
	w.stop()
	if log := w.log.String(); strings.Count(log, "the state cannot be kept") != 1 {
		t.Errorf("the log is\n%s", log)
	}
}

// What a store has that could not be read at the start is not written over when it can be opened later: it is set aside.
func TestStateComesLater(t *testing.T) {
	noLeaks(t)
	keepOften(t, 100*time.Millisecond)
	p := startPanel(t)
	base := t.TempDir()
	first := startWatch(t, stateText(p.address, filepath.Join(base, "disk", "state"), "aisles-1-4"))
	first.await(true, `dimming_state_last_commit_timestamp_seconds \d`, 10*time.Second)
	first.stop()
	if err := os.Rename(filepath.Join(base, "disk"), filepath.Join(base, "away")); err != nil {
		t.Fatal(err)
	}
	write(t, filepath.Join(base, "disk"), "")
	w := startWatch(t, stateText(p.address, filepath.Join(base, "disk", "state"), "aisles-1-4"))
	w.awaitLog("the state cannot be kept")
	if err := os.Remove(filepath.Join(base, "disk")); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(filepath.Join(base, "away"), filepath.Join(base, "disk")); err != nil {
		t.Fatal(err)
	}
	w.awaitLog("it could not be read when the program started")
	w.awaitLog("the state is kept again")
	w.stop()
	if old, _ := filepath.Glob(filepath.Join(base, "disk", "state", "*.bad-*")); len(old) != 1 {
		t.Errorf("set aside: %v", old)
	}
}

// That no state was kept yet is only said where there is none; of one that cannot be read it is said whose it is and what to do.
func TestStateCanNotBeRead(t *testing.T) {
	p := startPanel(t)
	dir := t.TempDir()
	if err := os.Symlink("dimwatch.db", filepath.Join(dir, "dimwatch.db")); err != nil { // root can read all that has an end
		t.Fatal(err)
	}
	w := startWatch(t, stateText(p.address, dir, "aisles-1-4"))
	w.stop()
	log := w.log.String()
	for _, want := range []string{"state was kept cannot be read", `"file":"` + filepath.Join(dir, "dimwatch.db") + `"`, `"owner":"` + userName(os.Getuid()) + `"`, `"user":"`, "start it again"} {
		if !strings.Contains(log, want) {
			t.Errorf("the log lacks %q:\n%s", want, log)
		}
	}
	if strings.Contains(log, "no state was kept yet") {
		t.Errorf("the log is\n%s", log)
	}
}

// A file that is no state is set aside with a message, and so is a record that this program cannot read.
func TestDamagedStateIsSetAside(t *testing.T) {
	noLeaks(t)
	p := startPanel(t)
	dir := t.TempDir()
	write(t, filepath.Join(dir, "dimwatch.db"), strings.Repeat("this is no state\n", 1000))
	w := startWatch(t, stateText(p.address, dir, "aisles-1-4"))
	w.await(true, `dimming_zone_feedback_ratio\{zone="aisles-1-4"\}`, 10*time.Second)
	w.stop()
	if log := w.log.String(); strings.Count(log, "it is set aside") != 1 || !strings.Contains(log, ".bad-") || strings.Contains(log, "no state was kept yet") {
		t.Errorf("the log is\n%s", log)
	}
	w = startWatch(t, stateText(p.address, dir, "aisles-1-4"))
	w.stop()
	if log := w.log.String(); !strings.Contains(log, "resumed with no findings standing") {
		t.Errorf("the log is\n%s", log)
	}
}

// A second process on the same folder ends with who has it; without a folder the start says that nothing is kept.
func TestStateIsHeld(t *testing.T) {
	p := startPanel(t)
	dir := t.TempDir()
	file := filepath.Join(t.TempDir(), "site.hcl")
	write(t, file, siteText(p.address, "aisles-1-4"))
	args := []string{"watch", "-config", file, "--web.listen-address", "127.0.0.1:0"}
	first := startProcess(t, nil, append(args, "--state", dir)...)
	first.await(t, `"msg":"watching"`)
	second := startProcess(t, nil, append(args, "--state", dir)...)
	if err := second.Wait(); err == nil || second.ProcessState.ExitCode() != failed {
		t.Errorf("a second process: %v", err)
	}
	if log := second.log.String(); !strings.Contains(log, "process "+strconv.Itoa(first.Process.Pid)) || !strings.Contains(log, dir) {
		t.Errorf("the log of the second is\n%s", log)
	}
	first.ends(t, syscall.SIGTERM)
	if !strings.Contains(first.log.String(), "no state was kept yet") {
		t.Errorf("the log of the first is\n%s", &first.log)
	}
	none := startProcess(t, nil, args...)
	none.await(t, "nothing is kept")
	none.ends(t, syscall.SIGTERM)
}

// Recordings cut in two at some random rows give the same report, byte by byte, as in one go.
func TestCutRecordings(t *testing.T) {
	dir := os.Getenv("DIMWATCH_TRENDS")
	if dir == "" {
		t.Skip("skipped: DIMWATCH_TRENDS names no folder of recordings")
	}
	sites, err := filepath.Glob(filepath.Join(dir, "*", "site.hcl"))
	if err != nil || len(sites) == 0 {
		t.Fatalf("no recordings in %s: %v", dir, err)
	}
	seed := rand.Uint64()
	t.Log("seed ", seed)
	r := rand.New(rand.NewPCG(seed, 5))
	for _, file := range sites {
		t.Run(filepath.Base(filepath.Dir(file)), func(t *testing.T) {
			whole, rows := reviewCut(t, file, nil)
			var cuts []int
			for range 5 {
				cuts = append(cuts, r.IntN(rows))
			}
			cut, _ := reviewCut(t, file, cuts)
			if !bytes.Equal(cut, whole) {
				t.Errorf("cut at rows %v the report is\n%s\nand should be\n%s", cuts, cut, whole)
			}
		})
	}
}

// reviewCut is the report of a recording, for which a new judge goes on from what the one before has saved at each cut.
func reviewCut(t *testing.T, file string, cuts []int) (report []byte, rows int) {
	t.Helper()
	ctx := context.Background()
	site, _, diags := config.Load(file, all.Kinds)
	if diags.HasErrors() {
		t.Fatal(diags)
	}
	defer closeSources(site)
	r := &recording{site: site, judge: judge.New(site), costs: map[int]energy.Cost{}}
	for i := range site.Devices {
		if n := len(site.Devices[i].Points); n > 0 {
			r.devices = append(r.devices, recorded{index: i, source: site.Devices[i].Source, readings: make([]drivers.Reading, n)})
		}
	}
	next := func(at time.Time, first bool) {
		for i := range r.devices {
			d := &r.devices[i]
			if first || !d.done && d.at.Equal(at) {
				if err := d.next(ctx); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
	next(time.Time{}, true)
	for ; ; rows++ {
		at, any := r.earliest()
		if !any {
			break
		}
		if slices.Contains(cuts, rows) {
			state, err := r.judge.Save()
			if err != nil {
				t.Fatal(err)
			}
			r.judge = judge.New(site)
			if err := r.judge.Restore(state); err != nil {
				t.Fatal(err)
			}
		}
		var polls []judge.Poll
		for i := range r.devices {
			if d := &r.devices[i]; !d.done && d.at.Equal(at) {
				polls = append(polls, judge.Poll{Device: d.index, Readings: d.readings, Err: d.err})
			}
		}
		r.judge.Take(at, polls)
		if rows%3 == 2 {
			r.judge.Changes(r.keep)
		}
		next(at, false)
	}
	r.judge.Changes(r.keep)
	report, err := json.MarshalIndent(r.document(), "", " ")
	if err != nil {
		t.Fatal(err)
	}
	return report, rows
}

// BenchmarkStateWrites keeps the state of 64 zones as a day does, and prints what is written to the disk in a day (limit
// 256 MiB, which wears out the smallest flash, 4 GB of 1,000 cycles, in 40 years) and what a commit takes.
func BenchmarkStateWrites(b *testing.B) {
	file := filepath.Join(b.TempDir(), "site.hcl")
	if err := os.WriteFile(file, []byte(hallText("127.0.0.1:1")), 0o644); err != nil {
		b.Fatal(err)
	}
	site, _, diags := config.Load(file, all.Kinds)
	if diags.HasErrors() {
		b.Fatal(diags)
	}
	s := judge.New(site)
	at := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	poll := func(seconds int) { // 64 zones that wander about
		for range seconds / 5 {
			at = at.Add(5 * time.Second)
			for d := range site.Devices {
				readings := make([]drivers.Reading, len(site.Devices[d].Points))
				for i, p := range site.Devices[d].Points {
					level := 50 + 30*math.Sin(float64(at.Unix())/500+float64(p.Zone))
					v := map[config.Role]float64{config.Setpoint: 10 * level, config.Command: 10 * level, config.Lit: 1, config.Power: 300 + 7*level,
						config.Feedback: (4+0.16*level)*4095/20 + 3*rand.NormFloat64()}[p.Role]
					readings[i] = drivers.Reading{At: at, Value: math.Round(v), Quality: drivers.Good}
				}
				s.Take(at, []judge.Poll{{Device: d, Readings: readings}})
			}
		}
	}
	poll(4 * 3600)
	s.Changes(func(f loops.Finding) { b.Errorf("a sound hall has a finding: %s", f.Summary) })
	k := &keeper{log: newLogger(&safeBuffer{}), dir: b.TempDir()}
	if err := k.open(at); err != nil {
		b.Fatal(err)
	}
	defer k.close()
	k.keep(s, at, true)
	var perDay, all, energy float64
	for b.Loop() {
		count := func(times int, every time.Duration, all bool) float64 {
			before := written(b)
			for range times {
				poll(int(every.Seconds()))
				k.kept = at // whether all is due is said by all
				k.keep(s, at, all)
			}
			return (written(b) - before) / float64(times)
		}
		all = count(20, stateEvery, true)
		energy = count(20, energyEvery, false)
		perDay = all*float64(24*time.Hour/stateEvery) + energy*float64(24*time.Hour/energyEvery-24*time.Hour/stateEvery)
	}
	if k.failed > 0 {
		b.Error("a commit has failed")
	}
	b.ReportMetric(all/1024, "KiB/commit")
	b.ReportMetric(energy/1024, "KiB/energy-commit")
	b.ReportMetric(perDay/(1<<20), "MiB/day")
	b.ReportMetric(256, "limit-MiB/day")
}

// written is how many bytes this process has given to the system to write (proc(5), wchar of io).
func written(b *testing.B) float64 {
	b.Helper()
	text, err := os.ReadFile("/proc/self/io")
	if err != nil {
		b.Skip("skipped: reads /proc, which is Linux's")
	}
	m := regexp.MustCompile(`wchar: (\d+)`).FindSubmatch(text)
	n, err := strconv.ParseFloat(string(m[1]), 64)
	if err != nil {
		b.Fatal(err)
	}
	return n
}

// energies are the counters of energy by zone as a scrape shows them, none where the program does not answer.
func energies(url string) map[string]float64 {
	client := http.Client{Timeout: time.Second}
	r, err := client.Get(url + "/metrics")
	if err != nil {
		return nil
	}
	defer r.Body.Close()
	var text bytes.Buffer
	if _, err := text.ReadFrom(r.Body); err != nil {
		return nil // killed in the middle
	}
	found := map[string]float64{}
	for _, m := range regexp.MustCompile(`(?m)^dimming_zone_energy_joules_total\{zone="(.*)"\} (.*)$`).FindAllStringSubmatch(text.String(), -1) {
		if x, err := strconv.ParseFloat(m[2], 64); err == nil {
			found[m[1]] = x
		}
	}
	return found
}
