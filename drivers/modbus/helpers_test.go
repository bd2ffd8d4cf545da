package modbus

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"dimwatch/drivers"

	"github.com/hashicorp/hcl/v2"
	"github.com/hashicorp/hcl/v2/hclsyntax"
)

// device builds what the configuration would hand over. Each point is an object body: `holding = 100, type = "int16"`.
func device(t testing.TB, body string, points ...string) drivers.Device {
	t.Helper()
	file, diags := hclsyntax.ParseConfig([]byte(body), "site.hcl", hcl.InitialPos)
	if diags.HasErrors() {
		t.Fatal(diags)
	}
	d := drivers.Device{Name: "north", Body: file.Body, Timeout: time.Second, Cycle: 10 * time.Millisecond}
	for i, p := range points {
		d.Points = append(d.Points, point(t, fmt.Sprintf("point %d", i), p))
	}
	return d
}

func point(t testing.TB, name, object string) drivers.Point {
	t.Helper()
	expr, diags := hclsyntax.ParseExpression([]byte("{"+object+"}"), "site.hcl", hcl.InitialPos)
	if diags.HasErrors() {
		t.Fatal(diags)
	}
	p := drivers.Point{Name: name, Keys: map[string]drivers.Value{}, Range: expr.Range()}
	for _, item := range expr.(*hclsyntax.ObjectConsExpr).Items {
		v, diags := item.ValueExpr.Value(nil)
		if diags.HasErrors() {
			t.Fatal(diags)
		}
		p.Keys[hcl.ExprAsKeyword(item.KeyExpr)] = drivers.Value{Value: v, Range: item.ValueExpr.Range()}
	}
	return p
}

// open opens devices with short pauses, and closes them at the end of the test.
func open(t testing.TB, devices ...drivers.Device) []*source {
	t.Helper()
	made, diags := TCP.Open(devices)
	if diags.HasErrors() {
		t.Fatal(diags)
	}
	var sources []*source
	for _, m := range made {
		s := m.(*source)
		s.unit.link.pause.first = 5 * time.Millisecond
		t.Cleanup(func() { s.Close() })
		sources = append(sources, s)
	}
	return sources
}

// openOne opens one device on a server with unit 1, a timeout and points.
func openOne(t testing.TB, address string, timeout time.Duration, points ...string) *source {
	t.Helper()
	d := device(t, fmt.Sprintf("address = %q", address), points...)
	d.Timeout = timeout
	return open(t, d)[0]
}

// read reads once without a deadline of its own.
func read(s *source) ([]drivers.Reading, error) {
	out := make([]drivers.Reading, len(s.places))
	err := s.Read(context.Background(), out)
	return out, err
}

// mustRead reads and wants every point good and with the value of the law.
func mustRead(t testing.TB, s *source) []drivers.Reading {
	t.Helper()
	out, err := read(s)
	if err != nil {
		t.Fatal(err)
	}
	for i, r := range out {
		if r.Quality != drivers.Good {
			t.Fatalf("point %d is %v: %s", i, r.Quality, r.Reason)
		}
	}
	lawful(t, s, out)
	return out
}

// lawful wants every good value of a plain 16-bit or bit point to be that of its own place.
func lawful(t testing.TB, s *source, out []drivers.Reading) {
	t.Helper()
	for i, r := range out {
		p := &s.places[i]
		want := float64(law(s.unit.id, tables[p.table].function, p.address))
		if tables[p.table].bits {
			want = float64(law(s.unit.id, tables[p.table].function, p.address) & 1)
		}
		if r.Quality == drivers.Good && r.Value != want {
			t.Errorf("%v of unit %d: got %v as good, want %v", p, s.unit.id, r.Value, want)
		}
		if r.Quality != drivers.Good && r.Reason == "" {
			t.Errorf("%v of unit %d is %v without a reason", p, s.unit.id, r.Quality)
		}
		if r.At.IsZero() {
			t.Errorf("%v of unit %d has no time", p, s.unit.id)
		}
	}
}

func contains(t testing.TB, what, text string) {
	t.Helper()
	if !strings.Contains(text, what) {
		t.Errorf("%q is not in %q", what, text)
	}
}
