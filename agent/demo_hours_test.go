package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"dimwatch/agent/config"
	"dimwatch/agent/demo"
	"dimwatch/agent/judge"
	"dimwatch/configs"
	"dimwatch/drivers"
	"dimwatch/loops"

	"github.com/google/go-cmp/cmp"
	"github.com/hashicorp/hcl/v2"
	"github.com/zclconf/go-cty/cty"
)

// direct reads a simulated store without a wire: it is what modbus-tcp is to the daemon, decoded here a second time.
type direct struct {
	store  *demo.Store
	unit   uint8
	points []drivers.Point
	now    *time.Time
}

// directKinds are the protocols with the one of the demo's config replaced.
func directKinds(store *demo.Store, now *time.Time) map[string]drivers.Kind {
	return map[string]drivers.Kind{"modbus-tcp": {
		Name:         "modbus-tcp",
		PointKeys:    []string{"coil", "discrete", "input", "holding", "type", "order", "bit"},
		LocationKeys: []string{"coil", "discrete", "input", "holding"},
		Open: func(devices []drivers.Device) (sources []drivers.Source, diags hcl.Diagnostics) {
			for _, d := range devices {
				attributes, more := d.Body.JustAttributes()
				diags = append(diags, more...)
				unit, more := attributes["unit"].Expr.Value(d.Context)
				diags = append(diags, more...)
				n, _ := unit.AsBigFloat().Uint64()
				sources = append(sources, &direct{store, uint8(n), d.Points, now})
			}
			return sources, diags
		},
	}}
}

func (d *direct) Read(_ context.Context, out []drivers.Reading) error {
	for i, p := range d.points {
		value, err := d.value(p.Keys)
		if errors.Is(err, demo.ErrSilent) {
			return drivers.ErrTimeout
		}
		if err != nil {
			return err
		}
		out[i] = drivers.Reading{At: *d.now, Value: value, Quality: drivers.Good}
	}
	return nil
}

// value decodes one point: the words of its registers in their order, then the type.
func (d *direct) value(keys map[string]drivers.Value) (float64, error) {
	text := func(key, or string) string {
		if v, ok := keys[key]; ok {
			return v.AsString()
		}
		return or
	}
	kind, at := demo.Coil, uint16(0)
	for k := demo.Coil; k <= demo.Holding; k++ {
		if v, ok := keys[k.String()]; ok {
			kind, at = k, uint16(number(v.Value))
		}
	}
	typ, order := text("type", "uint16"), text("order", "big")
	words := 1
	if strings.HasSuffix(typ, "32") {
		words = 2
	}
	var bits uint32
	for i := range words {
		w, err := d.store.Register(d.unit, kind, at+uint16(i))
		if err != nil {
			return 0, err
		}
		if order == "little" || order == "byte-swap" {
			w = w<<8 | w>>8
		}
		if order == "little" || order == "word-swap" {
			bits |= uint32(w) << (16 * i)
		} else {
			bits = bits<<16 | uint32(w)
		}
	}
	if b, ok := keys["bit"]; ok {
		return float64(bits >> int(number(b.Value)) & 1), nil
	}
	switch typ {
	case "int16":
		return float64(int16(bits)), nil
	case "int32":
		return float64(int32(bits)), nil
	case "float32":
		return float64(math.Float32frombits(bits)), nil
	case "uint16", "uint32":
		return float64(bits), nil
	}
	return 0, fmt.Errorf("type %s is not decoded here", typ)
}

func number(v cty.Value) float64 {
	x, _ := v.AsBigFloat().Float64()
	return x
}

func (d *direct) Plan() []string         { return nil }
func (d *direct) Counts() drivers.Counts { return drivers.Counts{} }
func (d *direct) Close() error           { return nil }

// told is a finding of the demo, with times in seconds since the start.
type told struct {
	Where, Finding string
	Raised, Ended  int
	Also           string
	Revised        bool
}

// tell runs the demo's story from a start hour, one poll a second, and gives what was found.
func tell(t *testing.T, start time.Time, length time.Duration) []told {
	t.Helper()
	store := demo.New(demoSeed)
	now := start
	site, _, diags := config.LoadBytes(configs.Demo, "demo.hcl", directKinds(store, &now))
	if diags.HasErrors() {
		t.Fatal(diags)
	}
	j := judge.New(site)
	readings := make([][]drivers.Reading, len(site.Devices))
	for i := range site.Devices {
		readings[i] = make([]drivers.Reading, len(site.Devices[i].Points))
	}
	var list []told
	bySeq := map[int]int{}
	for elapsed := time.Second; elapsed <= length; elapsed += time.Second {
		now = start.Add(elapsed)
		store.Advance(elapsed)
		for i := range site.Devices {
			err := site.Devices[i].Source.Read(t.Context(), readings[i])
			if err != nil && !errors.Is(err, drivers.ErrTimeout) {
				t.Fatal(err)
			}
			j.Take(now, []judge.Poll{{Device: i, Readings: readings[i], Err: err}})
		}
		j.Changes(func(f loops.Finding) {
			if f.Cleared != 0 {
				x := &list[bySeq[f.Seq]]
				x.Ended, x.Revised = int(elapsed.Seconds()), f.Revised
				return
			}
			where := strings.Join(zoneNames(site, f), ", ")
			var also []string
			for _, a := range f.Also {
				also = append(also, a.ID.String())
			}
			bySeq[f.Seq] = len(list)
			list = append(list, told{Where: where, Finding: f.ID.String(), Raised: int(elapsed.Seconds()), Also: strings.Join(also, " ")})
		})
	}
	return list
}

// The story of the demo is the same whatever the hour at which it is started: each fault that shows is found in its
// zone while it is there and called by its name, first or after a revision, nothing is found in sound zones, and the first
// finding comes within the first minute.
func TestDemoStory(t *testing.T) {
	length := demo.Story
	first := tell(t, time.Date(2026, 3, 2, 0, 0, 0, 0, time.Local), length)
	for _, f := range first {
		t.Logf("%3d..%3d s %-18s %s (also %s) revised %v", f.Raised, f.Ended, f.Finding, f.Where, f.Also, f.Revised)
	}
	if len(first) == 0 || first[0].Raised > 60 {
		t.Fatalf("the first finding comes too late: %+v", first)
	}
	faulty := map[string]bool{}
	for _, row := range demo.Script() {
		if row.Finding == "" {
			continue
		}
		faulty[row.Zone] = true
		from, to := int(row.From.Seconds()), int(row.To.Seconds())
		named := false
		for _, f := range first {
			named = named || strings.Contains(f.Where, row.Zone) && f.Finding == row.Finding && f.Raised >= from && f.Raised <= to+5
		}
		if !named {
			t.Errorf("%s of %s from %d to %d s is not found", row.Finding, row.Zone, from, to)
		}
	}
	for _, f := range first {
		zone, _, _ := strings.Cut(f.Where, ",")
		if !faulty[zone] {
			t.Errorf("nothing of the kind is wrong there: %+v", f)
		}
	}
	for hour := 1; hour < 24; hour++ {
		again := tell(t, time.Date(2026, 3, 2, hour, 0, 0, 0, time.Local), length)
		if diff := cmp.Diff(first, again); diff != "" {
			t.Fatalf("started at %d h the story is another than at midnight:\n%s", hour, diff)
		}
	}
}
