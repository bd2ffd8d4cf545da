package loops

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"
)

// The readings that the circuits were solved for lie in testdata/circuits: curves.csv over the command from 0 to 100 %,
// checks.csv for what a technician does, bench.csv for the interface alone. circuits_peer_test.go makes them.

// readings are those of one circuit.
type readings struct {
	pair, far           []float64 // volts at the interface and at the last gear, by command
	nearLight, farLight []float64 // percent, mean of the near and the far half of the gear, by command

	checks map[string]float64 // volts, percent or ohms, by the name of the check
}

// curveNames are the rows that curves.csv has for each circuit, checkNames the columns of checks.csv, both as the netlist
// names them.
var (
	curveNames = []string{"pair", "farpair", "nearlight", "farlight"}
	checkNames = []string{
		"plugged-violet", "plugged-gray", "half-off", "half-unplugged", "split-near", "split-far", "split-unplugged-near",
		"split-unplugged-far", "unplugged", "unplugged-interface", "unplugged-light", "bridge-violet", "bridge-gray",
		"unplugged-violet", "unplugged-gray", "ohms-pair", "ohms-violet", "ohms-gray",
	}
)

const (
	commandSteps = 21  // points of a curve: every 5 % of command
	commandStep  = 5.0 // percent
)

func (r *readings) curve(name string) *[]float64 {
	return map[string]*[]float64{"pair": &r.pair, "farpair": &r.far, "nearlight": &r.nearLight, "farlight": &r.farLight}[name]
}

// along reads a curve at a command in percent. Between two points it is taken as straight, which at a kink is off by
// at most a quarter of a step.
func along(curve []float64, command float64) float64 {
	x := math.Min(100, math.Max(0, command)) / commandStep
	i := min(int(x), commandSteps-2)
	return curve[i] + (x-float64(i))*(curve[i+1]-curve[i])
}

// light is the mean light of the zone in percent.
func (r *readings) light(c *circuit, command float64) float64 {
	n, f := float64(c.NearCount()), float64(c.FarCount())
	return (n*along(r.nearLight, command) + f*along(r.farLight, command)) / (n + f)
}

// loopEnds gives the command at which a loop with a setpoint in volts comes to rest: an integrator moves until the
// feedback meets the setpoint, or to the end stop.
func (r *readings) loopEnds(setpoint float64) float64 {
	command := 50.0
	const gain = 5.0 // percent a volt and step: half of what would swing
	for range 40000 {
		next := math.Min(100, math.Max(0, command+gain*(setpoint-along(r.pair, command))))
		if math.Abs(next-command) < 1e-6 {
			break
		}
		command = next
	}
	return command
}

// goldenReadings loads the readings of all circuits.
func goldenReadings(t testing.TB) map[string]*readings {
	t.Helper()
	all := map[string]*readings{}
	of := func(name string) *readings {
		if all[name] == nil {
			all[name] = &readings{checks: map[string]float64{}}
		}
		return all[name]
	}
	for _, row := range golden(t, "curves.csv")[1:] {
		curve := of(row[0]).curve(row[1])
		if curve == nil || len(row) != 2+commandSteps {
			t.Fatalf("curves.csv: unknown row %v", row)
		}
		*curve = numbers(t, row[2:])
	}
	rows := golden(t, "checks.csv")
	for _, row := range rows[1:] {
		for i, x := range row[1:] {
			if x != "" {
				of(row[0]).checks[rows[0][i+1]] = numbers(t, []string{x})[0]
			}
		}
	}
	for i := range circuits {
		name := circuits[i].Name
		if r := all[name]; r == nil || len(r.pair) == 0 || len(r.farLight) == 0 || len(r.checks) == 0 {
			t.Fatalf("no readings of %q: go test ./loops -run CircuitsPeer -update makes them with ngspice", name)
		}
	}
	if len(all) != len(circuits) {
		t.Fatalf("readings of %d circuits, want %d: there are some of circuits that are gone", len(all), len(circuits))
	}
	return all
}

func golden(t testing.TB, name string) [][]string {
	t.Helper()
	file, err := os.Open(filepath.Join("testdata", "circuits", name))
	if err != nil {
		t.Fatalf("%v: go test ./loops -run CircuitsPeer -update makes it with ngspice", err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

func numbers(t testing.TB, texts []string) []float64 {
	t.Helper()
	list := make([]float64, len(texts))
	for i, text := range texts {
		x, err := strconv.ParseFloat(text, 64)
		if err != nil {
			t.Fatal(err)
		}
		list[i] = x
	}
	return list
}
