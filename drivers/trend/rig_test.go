package trend

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"dimwatch/drivers/drivertest"

	"go.uber.org/goleak"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// TestContract runs the contract of the drivers over a recording of six rows, plain and compressed.
func TestContract(t *testing.T) {
	for _, name := range []string{"trend.csv", "trend.csv.gz"} {
		t.Run(name, func(t *testing.T) {
			drivertest.Run(t, drivertest.Rig{
				Kind: Kind,
				New:  func(t *testing.T) *drivertest.World { return newWorld(t, name) },
				Lacks: map[drivertest.Ability]string{
					drivertest.Endless: "a recording ends, and its times are those of its rows",
					drivertest.Delay:   "a file answers at once",
					drivertest.Restore: "a file that was opened stays readable when its name goes away",
					drivertest.Garble:  "rows are read ahead; damaged files are in the tests of this package",
				},
			})
		})
	}
}

func newWorld(t *testing.T, name string) *drivertest.World {
	const rows = 6
	dir := t.TempDir()
	write := func(refused int) {
		var b strings.Builder
		b.WriteString("time,a,b,c\n")
		for i := range rows {
			cells := []string{"12.5", "-3", "1"}
			if refused >= 0 {
				cells[refused] = "n/a"
			}
			fmt.Fprintf(&b, "%d,%s\n", 1772467200+5*i, strings.Join(cells, ","))
		}
		put(t, filepath.Join(dir, name), b.String())
	}
	write(-1)
	return &drivertest.World{
		Body:    fmt.Sprintf("file = %q", name),
		Dir:     dir,
		Timeout: 100 * time.Millisecond,
		Points: []drivertest.Point{
			{Keys: `column = "a"`, Want: 12.5},
			{Keys: `column = "b"`, Want: -3},
			{Keys: `column = "c"`, Want: 1},
		},
		Rows:   rows,
		Refuse: write,
		Cut: func() {
			if err := os.Remove(filepath.Join(dir, name)); err != nil {
				t.Fatal(err)
			}
		},
	}
}
