package loops

import (
	"bytes"
	"context"
	"encoding/csv"
	"flag"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"text/template"
	"time"
)

var update = flag.Bool("update", false, "write the golden files anew")

// TestCircuitsPeer solves every circuit anew with ngspice (Debian: ngspice) and holds the kept readings to it. -update
// writes them.
func TestCircuitsPeer(t *testing.T) {
	program, err := exec.LookPath("ngspice")
	if err != nil {
		if *update || os.Getenv("DIMWATCH_REQUIRE_PEERS") != "" {
			t.Fatal("a peer is missing that is required: ngspice (Debian: ngspice)")
		}
		t.Skip("skipped, a peer is missing: ngspice (Debian: ngspice)")
	}
	netlists := template.Must(template.ParseGlob("testdata/circuits/*.cir"))
	dir := t.TempDir()
	cases := append(slices.Clone(circuits), benches...)
	solved := make([]solution, len(cases))
	turn := make(chan bool, runtime.GOMAXPROCS(0))
	var wait sync.WaitGroup
	for i := range cases {
		wait.Go(func() {
			turn <- true
			defer func() { <-turn }()
			netlist := "zone.cir"
			if i >= len(circuits) {
				netlist = "bench.cir"
			}
			s, err := solve(program, netlists, netlist, &cases[i], filepath.Join(dir, itoa(i)))
			if err != nil {
				t.Errorf("%s: %v", cases[i].Name, err)
			}
			solved[i] = s
		})
	}
	wait.Wait()
	if t.Failed() {
		return
	}
	curves, checks, bench := tables(solved)
	compare(t, "curves.csv", curves)
	compare(t, "checks.csv", checks)
	compare(t, "bench.csv", bench)
}

// solution is what the simulator says of one circuit: curves by name, and the readings of checks.
type solution struct {
	curves map[string][]float64
	checks map[string]float64
}

// solve fills in a netlist and runs the simulator on it.
func solve(program string, netlists *template.Template, name string, c *circuit, dir string) (s solution, err error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return s, err
	}
	var netlist bytes.Buffer
	if err := netlists.ExecuteTemplate(&netlist, name, c); err != nil {
		return s, err
	}
	file := filepath.Join(dir, name)
	if err := os.WriteFile(file, netlist.Bytes(), 0o600); err != nil {
		return s, err
	}
	bound, cancel := context.WithTimeout(context.Background(), 30*time.Second) // one circuit takes a tenth of a second
	defer cancel()
	run := exec.CommandContext(bound, program, "-n", "-b", file) // -n: without the user's own settings
	run.Dir = dir
	out, err := run.CombinedOutput()
	if err != nil || bytes.Contains(bytes.ToLower(out), []byte("error")) {
		return s, fmt.Errorf("not solved: %v\n%s", err, out[:min(len(out), 2000)])
	}
	s.checks = map[string]float64{}
	for line := range strings.Lines(string(out)) {
		if f := strings.Fields(line); len(f) == 3 && f[0] == "check" {
			if s.checks[f[1]], err = strconv.ParseFloat(f[2], 64); err != nil {
				return s, err
			}
		}
	}
	if name == "zone.cir" {
		s.curves, err = columns(filepath.Join(dir, "curves.txt"))
	}
	return s, err
}

// columns reads a table of the simulator: names in the first line, numbers below.
func columns(file string) (map[string][]float64, error) {
	data, err := os.ReadFile(file)
	if err != nil {
		return nil, err
	}
	var names []string
	list := map[string][]float64{}
	for line := range strings.Lines(string(data)) {
		f := strings.Fields(line)
		if names == nil {
			names = f
			continue
		}
		for i, n := range names {
			x, err := strconv.ParseFloat(f[i], 64)
			if err != nil {
				return nil, err
			}
			list[n] = append(list[n], x)
		}
	}
	return list, nil
}

// tables lays out what was solved as the golden files have it.
func tables(solved []solution) (curves, checks, bench [][]string) {
	head := []string{"circuit", "reading"}
	for i := range commandSteps {
		head = append(head, itoa(int(commandStep)*i))
	}
	curves = append(curves, head)
	checks = append(checks, append([]string{"circuit"}, checkNames...))
	for i, c := range circuits {
		for _, n := range curveNames {
			row := []string{c.Name, n}
			for _, x := range solved[i].curves[n] {
				row = append(row, written(n, x))
			}
			curves = append(curves, row)
		}
		row := []string{c.Name}
		for _, n := range checkNames {
			text := ""
			if x, known := solved[i].checks[n]; known {
				text = written(n, x)
			}
			row = append(row, text)
		}
		checks = append(checks, row)
	}
	bench = append(bench, append([]string{"interface"}, benchCommands...))
	for i, c := range benches {
		row := []string{c.Name}
		for _, n := range benchCommands {
			row = append(row, written(n, solved[len(circuits)+i].checks[n]))
		}
		bench = append(bench, row)
	}
	return curves, checks, bench
}

// written writes volts with three decimals, percent with one, ohms with three figures.
func written(name string, x float64) string {
	switch {
	case strings.HasPrefix(name, "ohms"):
		return strconv.FormatFloat(x, 'g', 3, 64)
	case isLight(name):
		return number(x, 1)
	}
	return number(x, 3)
}

func isLight(name string) bool {
	return strings.Contains(name, "light") || strings.Contains(name, "split")
}

// compare holds a golden file to what was solved, or writes it.
func compare(t *testing.T, name string, rows [][]string) {
	t.Helper()
	if *update {
		var b bytes.Buffer
		if err := csv.NewWriter(&b).WriteAll(rows); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join("testdata", "circuits", name), b.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
		return
	}
	kept := golden(t, name)
	if len(kept) != len(rows) {
		t.Fatalf("%s has %d rows, solved %d: -update writes it anew", name, len(kept), len(rows))
	}
	for i, row := range rows {
		for k := range row {
			column := kept[0][k]
			if name == "curves.csv" {
				column = kept[i][1]
			}
			if !equal(column, kept[i][k], row[k]) {
				t.Errorf("%s: %s, %s: kept %s, solved %s", name, row[0], kept[0][k], kept[i][k], row[k])
			}
		}
	}
}

// equal compares two cells. Chosen: another release of the simulator may come to rest some millivolts off, and a tenth of
// a volt is the least that anything here is judged by; an ohm reading is only called high or low.
func equal(column, kept, solved string) bool {
	a, err1 := strconv.ParseFloat(kept, 64)
	b, err2 := strconv.ParseFloat(solved, 64)
	if err1 != nil || err2 != nil {
		return kept == solved
	}
	within := 0.005
	switch {
	case strings.HasPrefix(column, "ohms"):
		within = 0.02 * math.Abs(a)
	case isLight(column):
		within = 0.15
	}
	return math.Abs(a-b) <= within
}
