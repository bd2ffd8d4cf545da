package config

import (
	"bytes"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/hashicorp/hcl/v2"
)

var update = flag.Bool("update", false, "write the golden files anew")

// render gives diagnostics as a user sees them.
func render(t *testing.T, files Files, diags hcl.Diagnostics) string {
	t.Helper()
	var out bytes.Buffer
	if err := Print(&out, files, diags, 0, false); err != nil {
		t.Fatal(err)
	}
	return out.String()
}

// TestBad holds one file for each mistake; beside it stands what the user reads.
func TestBad(t *testing.T) {
	t.Setenv("DIMWATCH_TEST_UNSET", "")
	paths, err := filepath.Glob("testdata/bad/*.hcl")
	if err != nil || len(paths) < 35 {
		t.Fatalf("%d files, want at least 35 (%v)", len(paths), err)
	}
	for _, path := range paths {
		t.Run(strings.TrimSuffix(filepath.Base(path), ".hcl"), func(t *testing.T) {
			site, files, diags := Load(path, fakeKinds)
			if len(diags) == 0 {
				t.Fatal("no diagnostics")
			}
			if (site == nil) != diags.HasErrors() {
				t.Errorf("site %v with errors %v", site != nil, diags.HasErrors())
			}
			for _, d := range diags {
				if d.Subject == nil || d.Detail == "" {
					t.Errorf("%s: place %v, detail %q; want both", d.Summary, d.Subject, d.Detail)
				}
			}
			golden(t, strings.TrimSuffix(path, ".hcl")+".want", render(t, files, diags))
		})
	}
}

func golden(t *testing.T, path, got string) {
	t.Helper()
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), got); diff != "" {
		t.Errorf("%s (-want +got), run with -update where it is meant:\n%s", path, diff)
	}
}

// TestGood loads every file that must load without a word.
func TestGood(t *testing.T) {
	paths, _ := filepath.Glob("testdata/good/*.hcl")
	examples, _ := filepath.Glob("../../configs/*.hcl")
	if len(paths) < 3 || len(examples) < 4 {
		t.Fatalf("%d good files and %d examples", len(paths), len(examples))
	}
	for _, path := range append(paths, examples...) {
		loadClean(t, path)
	}
}

func loadClean(t *testing.T, path string) *Site {
	t.Helper()
	site, files, diags := Load(path, fakeKinds)
	if len(diags) > 0 {
		t.Errorf("%s:\n%s", path, render(t, files, diags))
		return nil
	}
	checkSite(t, site)
	return site
}

// TestTrends loads the configuration of every recording in the folder that DIMWATCH_TRENDS names.
func TestTrends(t *testing.T) {
	dir := os.Getenv("DIMWATCH_TRENDS")
	if dir == "" {
		t.Skip("skipped: DIMWATCH_TRENDS does not name a folder of recordings")
	}
	paths, _ := filepath.Glob(filepath.Join(dir, "*", "site.hcl"))
	if len(paths) == 0 {
		t.Fatalf("no */site.hcl in %s", dir)
	}
	for _, path := range paths {
		loadClean(t, path)
	}
}

// checkSite checks what holds of every site that loads: indices lead where they should, and nothing is half there.
func checkSite(t *testing.T, site *Site) {
	t.Helper()
	for i := range site.Devices {
		d := &site.Devices[i]
		if d.Source == nil {
			t.Errorf("%s: device %s has no source", site.File, d.Name)
		}
		for j, p := range d.Points {
			if p.Device != i || p.Index != j {
				t.Errorf("%s: device %s: point %d says device %d, index %d", site.File, d.Name, j, p.Device, p.Index)
			}
		}
	}
	for i := range site.Zones {
		z := &site.Zones[i]
		for role, p := range z.Points {
			if p == nil {
				if Role(role) <= Feedback {
					t.Errorf("%s: zone %s lacks %s", site.File, z.Name, Role(role))
				}
				continue
			}
			if p.Zone != i || p.Role != Role(role) || p.Where == "" || p.Index >= len(site.Devices[p.Device].Points) {
				t.Errorf("%s: zone %s: %s is %+v", site.File, z.Name, Role(role), p)
			}
			if p.Scale.Gain == 0 || p.HasLoop && p.Loop.Gain == 0 {
				t.Errorf("%s: zone %s: %s has no slope: %+v", site.File, z.Name, Role(role), p)
			}
		}
	}
}
