package config

import (
	"context"
	"fmt"
	"io"

	"dimwatch/drivers"

	"github.com/hashicorp/hcl/v2"
	"github.com/hashicorp/hcl/v2/gohcl"
	"github.com/zclconf/go-cty/cty"
	"github.com/zclconf/go-cty/cty/convert"
)

// fakeKinds stand in for the drivers, which this package must not know: their keys, and the few checks that show how a
// driver's diagnostics come out.
var fakeKinds = map[string]drivers.Kind{
	"modbus-tcp": {
		Name:         "modbus-tcp",
		LocationKeys: []string{"coil", "discrete", "input", "holding"},
		PointKeys:    []string{"coil", "discrete", "input", "holding", "type", "order", "bit"},
		Open:         openFakeModbus,
	},
	"trend": {
		Name:         "trend",
		LocationKeys: []string{"column"},
		PointKeys:    []string{"column"},
		Recorded:     true,
		Open:         openFakeTrend,
	},
}

func openFakeModbus(devices []drivers.Device) ([]drivers.Source, hcl.Diagnostics) {
	var diags hcl.Diagnostics
	for _, d := range devices {
		var body struct {
			Address string `hcl:"address"`
			Unit    *int   `hcl:"unit"`
		}
		diags = append(diags, gohcl.DecodeBody(d.Body, d.Context, &body)...)
		for _, p := range d.Points {
			diags = append(diags, checkFakeRegister(p)...)
		}
	}
	return fakeSources(devices), diags
}

// checkFakeRegister knows two mistakes: a bit of a coil, and a type that runs past the last register.
func checkFakeRegister(p drivers.Point) hcl.Diagnostics {
	var diags hcl.Diagnostics
	_, coil := p.Keys["coil"]
	if bit, ok := p.Keys["bit"]; ok && coil {
		diags = append(diags, &hcl.Diagnostic{Severity: hcl.DiagError, Summary: "Bit of a coil", Detail: "A coil is one bit; remove bit.", Subject: &bit.Range})
	}
	width := 1
	if t, ok := p.Keys["type"]; ok && t.Type() == cty.String {
		width = map[string]int{"uint32": 2, "int32": 2, "float32": 2, "uint64": 4, "int64": 4, "float64": 4}[t.AsString()]
	}
	for _, name := range []string{"input", "holding"} {
		v, ok := p.Keys[name]
		if !ok {
			continue
		}
		n, err := convert.Convert(v.Value, cty.Number)
		if err != nil {
			diags = append(diags, &hcl.Diagnostic{Severity: hcl.DiagError, Summary: "Not an address", Detail: "An address is a whole number from 0 to 65535.", Subject: &v.Range})
			continue
		}
		if address, _ := n.AsBigFloat().Int64(); int(address)+width > 65536 {
			diags = append(diags, &hcl.Diagnostic{
				Severity: hcl.DiagError, Summary: "Past the last register",
				Detail:  fmt.Sprintf("Register %d and the %d after it run past 65535.", address, width-1),
				Subject: &v.Range,
			})
		}
	}
	return diags
}

func openFakeTrend(devices []drivers.Device) ([]drivers.Source, hcl.Diagnostics) {
	var diags hcl.Diagnostics
	for _, d := range devices {
		var body struct {
			File string `hcl:"file"`
		}
		diags = append(diags, gohcl.DecodeBody(d.Body, d.Context, &body)...)
	}
	return fakeSources(devices), diags
}

func fakeSources(devices []drivers.Device) []drivers.Source {
	var out []drivers.Source
	for range devices {
		out = append(out, fakeSource{})
	}
	return out
}

type fakeSource struct{}

func (fakeSource) Read(context.Context, []drivers.Reading) error { return io.EOF }
func (fakeSource) Plan() []string                                { return nil }
func (fakeSource) Counts() drivers.Counts                        { return drivers.Counts{} }
func (fakeSource) Close() error                                  { return nil }
