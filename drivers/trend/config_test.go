package trend

import (
	"fmt"
	"path/filepath"
	"strings"
	"testing"

	"dimwatch/drivers"

	"github.com/google/go-cmp/cmp"
	"github.com/hashicorp/hcl/v2"
	"github.com/zclconf/go-cty/cty"
)

// TestOpenReports has what the configuration alone shows to be wrong: each row is "line:column summary".
func TestOpenReports(t *testing.T) {
	at := hcl.Range{Filename: "site.hcl", Start: hcl.Pos{Line: 9, Column: 3}, End: hcl.Pos{Line: 9, Column: 9}}
	key := hcl.Range{Filename: "site.hcl", Start: hcl.Pos{Line: 9, Column: 20}, End: hcl.Pos{Line: 9, Column: 25}}
	tests := []struct {
		name, body string
		column     cty.Value
		want       []string
	}{
		{"right", `file = "a.csv"`, cty.StringVal("a"), nil},
		{"no file", "", cty.StringVal("a"), []string{"1:1 No recording named"}},
		{"file is a number", "file = 5", cty.StringVal("a"), []string{"1:8 File is not a path"}},
		{"file is null", "file = null", cty.StringVal("a"), []string{"1:8 File is not a path"}},
		{"file is blank", `file = " "`, cty.StringVal("a"), []string{"1:8 File is not a path"}},
		{"file cannot be computed", "file = nowhere", cty.StringVal("a"), []string{"1:8 Variables not allowed"}},
		{"unknown key", "file = \"a.csv\"\nflie = 1", cty.StringVal("a"), []string{"2:1 Unsupported argument"}},
		{"unknown block", "file = \"a.csv\"\nrows {}", cty.StringVal("a"), []string{"2:1 Unsupported block type"}},
		{"column is a number", `file = "a.csv"`, cty.NumberIntVal(3), []string{"9:20 Column is not a name"}},
		{"column is null", `file = "a.csv"`, cty.NullVal(cty.String), []string{"9:20 Column is not a name"}},
		{"column is not known", `file = "a.csv"`, cty.UnknownVal(cty.String), []string{"9:20 Column is not a name"}},
		{"column is blank", `file = "a.csv"`, cty.StringVal(""), []string{"9:20 Column is not a name"}},
		{"no column", `file = "a.csv"`, cty.NilVal, []string{"9:3 Column is not a name"}},
		{"column is the time", `file = "a.csv"`, cty.StringVal("Time"), []string{"9:20 Column is the time"}},
		{"everything", "flie = 1", cty.NumberIntVal(3), []string{"1:1 Unsupported argument", "1:1 No recording named", "9:20 Column is not a name"}},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			d := device(t, "log", "/site", test.body)
			p := drivers.Point{Name: "aisles feedback", Keys: map[string]drivers.Value{}, Range: at}
			if test.column != cty.NilVal {
				p.Keys["column"] = drivers.Value{Value: test.column, Range: key}
			}
			d.Points = append(d.Points, p)
			sources, diags := Kind.Open([]drivers.Device{d, d})
			var got []string
			for _, x := range diags {
				if x.Detail == "" || x.Subject == nil {
					t.Fatalf("a diagnostic without detail or place: %v", x)
				}
				got = append(got, fmt.Sprintf("%d:%d %s", x.Subject.Start.Line, x.Subject.Start.Column, x.Summary))
			}
			if diff := cmp.Diff(append(test.want, test.want...), got); diff != "" { // each device reports
				t.Errorf("want - got +:\n%s", diff)
			}
			if len(diags) == 0 && len(sources) != 2 {
				t.Errorf("%d sources of two devices", len(sources))
			}
		})
	}
}

func TestPaths(t *testing.T) {
	dir := t.TempDir()
	absolute := filepath.Join(dir, "b.csv")
	s := opened(t,
		device(t, "one", dir, `file = "sub/../b.csv"`, "a"),
		device(t, "two", "/elsewhere", fmt.Sprintf("file = %q", absolute), "b", "a"),
		device(t, "three", "/elsewhere", `file = "b.csv"`))
	if s[0].Recording() != s[1].Recording() || s[0].Recording().File() != absolute {
		t.Errorf("one file is taken for two: %s and %s", s[0].Recording().File(), s[1].Recording().File())
	}
	if s[2].Recording() == s[0].Recording() {
		t.Error("two files are taken for one")
	}
	if got := strings.Join(s[1].Plan(), "\n"); got != "read 2 columns of each row of b.csv: b, a" {
		t.Errorf("the plan is %s", got)
	}
	if got := s[2].Plan(); got != nil {
		t.Errorf("the plan of a device without points is %q", got)
	}
}
