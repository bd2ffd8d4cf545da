package config

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// FuzzLoad gives any text to Load: it ends in a site or in an error, every diagnostic can be printed, and nothing panics.
func FuzzLoad(f *testing.F) {
	for _, pattern := range []string{"testdata/*/*.hcl", "../../configs/*.hcl"} {
		paths, err := filepath.Glob(pattern)
		if err != nil || len(paths) == 0 {
			f.Fatalf("no seed in %s (%v)", pattern, err)
		}
		for _, path := range paths {
			src, err := os.ReadFile(path)
			if err != nil {
				f.Fatal(err)
			}
			f.Add(src)
		}
	}
	f.Fuzz(func(t *testing.T, src []byte) {
		if len(src) > 1<<16 {
			return
		}
		check(t, src)
	})
}

// FuzzPoint puts any object where a point is expected.
func FuzzPoint(f *testing.F) {
	for _, point := range []string{
		`{ holding = 1, raw = [0, 1000], level = [0, 100] }`, `{ input = "40", raw = [0, 4095], milliamps = [0, 20], volts = [0, 10] }`,
		`{ coil = 3, kind = "contact", invert = true }`, `merge({ holding = 1 }, { level = true })`, `null`, `{ device = null }`,
		`{ raw = [1, 1], raw = null, (1) = 2, "a b" = {} }`, `[for x in [1] : x]`, `{ for k in ["level"] : k => true }`, `-1e999`, `true ? {} : null`,
	} {
		for role := range Roles {
			f.Add(uint8(role), point)
		}
	}
	f.Fuzz(func(t *testing.T, role uint8, point string) {
		if len(point) > 1<<14 {
			return
		}
		var src strings.Builder
		src.WriteString("site \"s\" {\n hours = \"06:00-22:00\"\n}\ndevice \"d\" {\n driver = \"modbus-tcp\"\n address = \"a:1\"\n}\nzone \"z\" {\n")
		for r := range Roles {
			text := map[Role]string{Setpoint: "{ holding = 1, level = true }", Command: "{ holding = 2, level = true }", Feedback: "{ holding = 3, volts = true }"}[r]
			if r == Role(role%uint8(Roles)) {
				text = point
			}
			if text != "" {
				src.WriteString(r.String() + " = " + text + "\n")
			}
		}
		src.WriteString("}\n")
		check(t, []byte(src.String()))
	})
}

func check(t *testing.T, src []byte) {
	site, files, diags := LoadBytes(src, "testdata/fuzz.hcl", fakeKinds)
	if (site == nil) != diags.HasErrors() {
		t.Fatalf("site %v, errors %v", site != nil, diags.HasErrors())
	}
	var out bytes.Buffer
	if err := Print(&out, files, diags, 80, true); err != nil {
		t.Fatal(err)
	}
	if site != nil {
		checkSite(t, site)
	}
}
