// Package drivertest is the contract of package drivers as a test. A driver passes it by one call of Run with a rig that
// can make devices of its kind, over the real transport.
//
// The contract is the table of rows in rows.go: each has a clause, and a failure prints the clause that was broken.
// What holds in every row, whatever the device does, is in Source.read: a good value is that of its own point, every
// reading has a time, one that is not good has a reason, and an error is one of the contract's and leaves nothing good.
package drivertest

import (
	"fmt"
	"testing"
	"time"

	"dimwatch/drivers"

	"github.com/hashicorp/hcl/v2"
	"github.com/hashicorp/hcl/v2/hclsyntax"
)

// Rig makes devices of one kind.
type Rig struct {
	Kind drivers.Kind

	// New makes a fresh device, or a file, for one row and takes it away at the end of t.
	New func(t *testing.T) *World

	// Lacks says why a World of this rig lacks an ability: the rows that need it are skipped with that reason. A World
	// that lacks one without a reason fails.
	Lacks map[Ability]string
}

// World is one device as it is outside the program, and what a configuration says to reach it.
type World struct {
	// Body is the body of the device block, in HCL, without driver, timeout and cycle: `address = "127.0.0.1:5020"`.
	// Dir is where relative paths start.
	Body, Dir string

	// Timeout, Cycle and Gap are those of the device. Timeout has to be short, since rows wait for it: 100 ms or so.
	Timeout, Cycle, Gap time.Duration

	// Points are at least three points, of known and different values that do not change by themselves.
	Points []Point

	// Rows is how many Reads there are until io.EOF, at least 3; 0 where there is no end.
	Rows int

	// The abilities; nil where the rig lacks one. Refuse and Cut are also called before the source is opened.

	Refuse  func(i int)           // point i alone cannot be read from now on
	Cut     func()                // the device is gone: no connection, no file
	Restore func()                // it is back where it was; needs Cut
	Delay   func(d time.Duration) // every answer comes so late from now on, 0 for at once
	Garble  func(on bool)         // every answer is broken from now on, or no longer
}

// Point is one point and the value that it has.
type Point struct {
	Keys string // location and coding in HCL, as in the object of a point: `holding = 100, type = "int16"`
	Want float64
}

// Ability is something that a rig can do to its devices.
type Ability string

// The abilities, named after the fields of World.
const (
	Refuse  Ability = "Refuse"
	Cut     Ability = "Cut"
	Restore Ability = "Restore"
	Delay   Ability = "Delay"
	Garble  Ability = "Garble"
	End     Ability = "Rows" // of a recording, which ends
	Endless Ability = "endless reads"
)

// has says whether the world has an ability.
func (w *World) has(a Ability) bool {
	switch a {
	case Refuse:
		return w.Refuse != nil
	case Cut:
		return w.Cut != nil
	case Restore:
		return w.Restore != nil
	case Delay:
		return w.Delay != nil
	case Garble:
		return w.Garble != nil
	case End:
		return w.Rows > 0
	}
	return w.Rows == 0
}

// Run runs every row of the contract, each with a device of its own.
func Run(t *testing.T, rig Rig) {
	for _, row := range rows {
		t.Run(row.name, func(t *testing.T) {
			w := rig.New(t)
			if len(w.Points) < 3 {
				t.Fatal("the rig's world has fewer than three points")
			}
			for _, a := range row.needs {
				if w.has(a) {
					continue
				}
				why := rig.Lacks[a]
				if why == "" {
					t.Fatalf("the rig lacks %s; if it cannot have it, Lacks has to say why", a)
				}
				t.Skipf("skipped, the rig lacks %s: %s", a, why)
			}
			row.check(&run{T: t, rig: rig, world: w, clause: row.clause})
		})
	}
}

// run is one row being checked.
type run struct {
	*testing.T
	rig    Rig
	world  *World
	clause string
}

// broken says that the clause of the row does not hold.
func (r *run) broken(format string, args ...any) {
	r.Helper()
	r.Errorf("%s\nbroken clause: %s", fmt.Sprintf(format, args...), r.clause)
}

// device is the world's device as a configuration hands it over.
func (r *run) device(name string) drivers.Device {
	w := r.world
	d := drivers.Device{Name: name, Dir: w.Dir, Body: body(r.T, w.Body), Timeout: w.Timeout, Cycle: w.Cycle, Gap: w.Gap}
	for i, p := range w.Points {
		d.Points = append(d.Points, point(r.T, fmt.Sprintf("point %d", i), p.Keys))
	}
	return d
}

// open opens sources for devices and closes them at the end of the row.
func (r *run) open(devices ...drivers.Device) []*source {
	r.Helper()
	made, diags := r.rig.Kind.Open(devices)
	if diags.HasErrors() {
		r.Fatalf("Open of a right configuration: %v\nbroken clause: %s", diags, r.clause)
	}
	if len(made) != len(devices) {
		r.Fatalf("Open made %d sources of %d devices\nbroken clause: %s", len(made), len(devices), r.clause)
	}
	var sources []*source
	for _, s := range made {
		r.Cleanup(func() { s.Close() })
		sources = append(sources, &source{s, r})
	}
	return sources
}

func body(t *testing.T, text string) hcl.Body {
	file, diags := hclsyntax.ParseConfig([]byte(text), "device.hcl", hcl.InitialPos)
	if diags.HasErrors() {
		t.Fatalf("the rig's device body: %v", diags)
	}
	return file.Body
}

func point(t *testing.T, name, keys string) drivers.Point {
	expr, diags := hclsyntax.ParseExpression([]byte("{"+keys+"}"), "point.hcl", hcl.InitialPos)
	if diags.HasErrors() {
		t.Fatalf("the rig's point %s: %v", name, diags)
	}
	p := drivers.Point{Name: name, Keys: map[string]drivers.Value{}, Range: expr.Range()}
	object, ok := expr.(*hclsyntax.ObjectConsExpr)
	if !ok {
		t.Fatalf("the rig's point %s is not made of keys", name)
	}
	for _, item := range object.Items {
		v, diags := item.ValueExpr.Value(nil)
		if diags.HasErrors() {
			t.Fatalf("the rig's point %s: %v", name, diags)
		}
		p.Keys[hcl.ExprAsKeyword(item.KeyExpr)] = drivers.Value{Value: v, Range: item.ValueExpr.Range()}
	}
	return p
}
