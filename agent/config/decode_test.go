package config

import (
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

// TestEveryKey compares what testdata/good/all-keys.hcl says with the site that it gives.
func TestEveryKey(t *testing.T) {
	site := loadClean(t, "testdata/good/all-keys.hcl")
	if site == nil {
		t.FailNow()
	}
	johannesburg, _ := time.LoadLocation("Africa/Johannesburg")
	want := Site{
		File: "testdata/good/all-keys.hcl", Name: "all-keys", Title: "All Keys a-B",
		HasPlace: true, Latitude: -33.9, Longitude: 18.4, Location: johannesburg, Tariff: 0.21,
		Agent: Agent{Listen: ":9847", State: filepath.Join("testdata", "good", "state"), WebConfig: "/etc/dimwatch/web.yml"},
		Devices: []Device{
			{Name: "north", Driver: "modbus-tcp", Cycle: 2 * time.Second, Timeout: 250 * time.Millisecond, BusShare: 0.9},
			{Name: "south", Driver: "modbus-tcp", Cycle: 5 * time.Second, Timeout: time.Second, Gap: 10 * time.Millisecond, BusShare: 0.5},
		},
		Zones: []Zone{
			{Name: "one", Device: 0, OutOfService: true, RatedPower: 1392.5, Ballasts: 24, TapGear: true,
				PowerCurve: [][2]float64{{0, 12}, {50, 60}, {100, 100}},
				Judge:      Judge{Tolerance: 7, Settle: 20 * time.Second, FalseFindings: 0.01}},
			{Name: "two", Device: 1, Judge: Judge{Tolerance: 7, Settle: 90 * time.Second, FalseFindings: 0.01}},
		},
	}
	diff := cmp.Diff(&want, site,
		cmpopts.IgnoreFields(Site{}, "Hours"), cmpopts.IgnoreFields(Device{}, "Points", "Source", "Range"),
		cmpopts.IgnoreFields(Zone{}, "Points", "Range"), cmp.Comparer(func(a, b *time.Location) bool { return a.String() == b.String() }))
	if diff != "" {
		t.Errorf("site (-want +got):\n%s", diff)
	}
	hours := [7][]Span{
		time.Monday: {{360, 720}, {840, 1320}}, time.Tuesday: {{0, 1440}}, time.Wednesday: {{1320, 1560}}, time.Thursday: {{1320, 1560}},
		time.Saturday: {{570, 1065}},
	}
	if diff := cmp.Diff(hours, site.Hours.Days); diff != "" || !site.Hours.Given {
		t.Errorf("hours given %v (-want +got):\n%s", site.Hours.Given, diff)
	}
	if diff := cmp.Diff(map[int]bool{20812: true, 20819: true}, site.Hours.Closed); diff != "" {
		t.Errorf("closed (-want +got):\n%s", diff)
	}
}

// TestPoints checks each point of testdata/good/all-keys.hcl by what it makes of a number.
func TestPoints(t *testing.T) {
	site := loadClean(t, "testdata/good/all-keys.hcl")
	if site == nil {
		t.FailNow()
	}
	for _, c := range []struct {
		zone          int
		role          Role
		device, index int
		where         string
		quantity      Quantity
		contact       bool
		raw           float64
		want          Scaled
	}{
		{zone: 0, role: Setpoint, index: 0, where: "holding 100", raw: 355, want: Scaled{Value: 35.5, Level: 35.5}},
		{zone: 0, role: Command, index: 1, where: "holding 101", quantity: Duty, raw: 1000, want: Scaled{}},
		{zone: 0, role: Feedback, index: 2, where: "input 40", quantity: Volts, raw: 4095, want: Scaled{Value: 10, Level: 100, Milliamps: 20}},
		{zone: 0, role: Feedback, index: 2, where: "input 40", quantity: Volts, raw: 0, want: Scaled{Value: -2.5, Level: -25}},
		{zone: 0, role: Lit, device: 1, index: 0, where: "holding 7 bit 2", quantity: State, contact: true, raw: 0, want: Scaled{Value: 1}},
		{zone: 0, role: Lit, device: 1, index: 0, where: "holding 7 bit 2", quantity: State, contact: true, raw: 1, want: Scaled{}},
		{zone: 0, role: Power, index: 3, where: "input 60", quantity: Watts, raw: 4, want: Scaled{Value: 1000}},
		{zone: 0, role: Daylight, index: 4, where: "input 44", quantity: Lux, raw: 2457, want: Scaled{Value: 2500, Milliamps: 12}},
		{zone: 1, role: Daylight, index: 4, where: "input 44", quantity: Lux, raw: 2457, want: Scaled{Value: 1250, Milliamps: 12}},
		{zone: 1, role: Command, device: 1, index: 2, where: "holding 101", quantity: Volts, raw: 7.5, want: Scaled{Value: 7.5, Level: 75}},
		{zone: 1, role: Setpoint, device: 1, index: 1, where: "holding 100", raw: 80, want: Scaled{Value: 80, Level: 80}},
		{zone: 1, role: Lit, device: 1, index: 4, where: "coil 1", quantity: State, raw: 1, want: Scaled{Value: 1}},
	} {
		p := site.Zones[c.zone].Points[c.role]
		got := p.Scaled(c.raw)
		if c.quantity != Level && c.quantity != Volts && c.quantity != Duty {
			got.Level = c.want.Level // means nothing for this quantity
		}
		if p.Device != c.device || p.Index != c.index || p.Where != c.where || p.Quantity != c.quantity || p.Contact != c.contact {
			t.Errorf("%s of zone %d: %+v", c.role, c.zone, p)
		}
		if !cmp.Equal(c.want, got, cmpopts.EquateApprox(0, 1e-9)) {
			t.Errorf("%s of zone %d at %g: %+v, want %+v", c.role, c.zone, c.raw, got, c.want)
		}
	}
	if site.Zones[1].Points[Power] != nil {
		t.Error("power = null gave a point")
	}
	if n := len(site.Devices[0].Points); n != 5 {
		t.Errorf("north is read for %d values, want 5: two zones share the daylight", n)
	}
}

func TestDefaults(t *testing.T) {
	site := loadClean(t, "testdata/good/defaults.hcl")
	if site == nil {
		t.FailNow()
	}
	d, z := site.Devices[0], site.Zones[0]
	if d.Timeout != time.Second || d.Cycle != 5*time.Second || d.Gap != 10*time.Millisecond || d.BusShare != 0.5 {
		t.Errorf("device: %+v", d)
	}
	if (z.Judge != Judge{Tolerance: 10, Settle: time.Minute, FalseFindings: 0.001}) {
		t.Errorf("judge: %+v", z.Judge)
	}
	if site.Title != "defaults" || site.HasPlace || site.Location != time.Local || site.Agent.Listen != "127.0.0.1:9847" {
		t.Errorf("site: %+v", site)
	}
	if site := loadClean(t, "testdata/good/recorded.hcl"); site != nil && (site.Devices[0].Gap != 0 || !site.Devices[0].Recorded) {
		t.Errorf("recording: %+v", site.Devices[0])
	}
}

// TestDynamic checks the zones that testdata/good/dynamic.hcl makes out of a CSV list.
func TestDynamic(t *testing.T) {
	site := loadClean(t, "testdata/good/dynamic.hcl")
	if site == nil {
		t.FailNow()
	}
	type row struct {
		Zone, Device, Where string
		Ballasts            int
		Settle              time.Duration
		Lit                 bool
	}
	var got []row
	for _, z := range site.Zones {
		got = append(got, row{z.Name, site.Devices[z.Device].Name, z.Points[Feedback].Where, z.Ballasts, z.Judge.Settle, z.Points[Lit] != nil})
	}
	want := []row{
		{"bakery", "north", "input 102", 12, 30 * time.Second, false},
		{"dairy", "south", "input 202", 0, time.Minute, true},
		{"by-hand", "north", "input 302", 0, time.Minute, false},
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("zones (-want +got):\n%s", diff)
	}
	if diff := cmp.Diff(Reads{Files: []string{filepath.Join("testdata", "good", "points.csv")}}, site.Reads); diff != "" {
		t.Errorf("reads (-want +got):\n%s", diff)
	}
}

// TestEnv checks which value env gives, and that the name is noted either way.
func TestEnv(t *testing.T) {
	const src = `site "s" {
  name  = env("DIMWATCH_TEST_NAME", "otherwise")
  hours = "06:00-22:00"
}
device "d" {
  driver  = "modbus-tcp"
  address = "127.0.0.1:1"
}
zone "z" {
  setpoint = { holding = 1, level = true }
  command  = { holding = 2, level = true }
  feedback = { holding = 3, level = true }
}
`
	for value, want := range map[string]string{"": "otherwise", "Mill Road": "Mill Road"} {
		t.Setenv("DIMWATCH_TEST_NAME", value)
		site, files, diags := LoadBytes([]byte(src), "env.hcl", fakeKinds)
		if site == nil {
			t.Fatal(render(t, files, diags))
		}
		if site.Title != want || !cmp.Equal(site.Reads.Env, []string{"DIMWATCH_TEST_NAME"}) {
			t.Errorf("with %q: name %q, read %v", value, site.Title, site.Reads.Env)
		}
	}
}

// TestUnreadable checks that a file that is not there, or is none, is said so without a place in it.
func TestUnreadable(t *testing.T) {
	for _, path := range []string{"testdata/no-such.hcl", "testdata", "/dev/zero"} {
		site, _, diags := Load(path, fakeKinds)
		if site != nil || len(diags) != 1 || !diags.HasErrors() || diags[0].Detail == "" {
			t.Errorf("%s: site %v, %v", path, site != nil, diags)
		}
	}
}

// TestNoText checks that what is no text is said in a line, and that nothing of it goes to a terminal.
func TestNoText(t *testing.T) {
	for _, c := range []struct{ src, want string }{
		{"", "x.hcl: the file is empty"},
		{" \n\t\r\n", "x.hcl: the file is empty"},
		{"\xff\xfes\x00i\x00", "UTF-16"},
		{"\x1f\x8b\x08\x00\xfe", "x.hcl: not a text file in UTF-8"},
		{"site \x1b[31m\"s\" {}", "x.hcl: not a text file in UTF-8"},
		{"site \"caf\xe9\" {}", "x.hcl: not a text file in UTF-8"},
	} {
		site, files, diags := LoadBytes([]byte(c.src), "x.hcl", fakeKinds)
		text := render(t, files, diags)
		if site != nil || len(diags) != 1 || !strings.Contains(text, c.want) || strings.ContainsAny(text, "\x1b\x00\x1f") || !utf8.ValidString(text) {
			t.Errorf("%q: %s, want %q", c.src, text, c.want)
		}
	}
}

// TestClosest checks what is proposed for a slip.
func TestClosest(t *testing.T) {
	keys := []string{"setpoint", "command", "feedback", "lit", "power", "daylight", "north", "coil"}
	for word, want := range map[string]string{
		"setpiont": "setpoint", "comand": "command", "Feedback": "feedback", "ltt": "lit", "pwr": "", "nroth": "north", "colour": "", "": "",
	} {
		if got := Closest(word, keys); got != want {
			t.Errorf("closest to %q: %q, want %q", word, got, want)
		}
	}
	// The distances of common textbook pairs, no source.
	for pair, want := range map[[2]string]int{{"kitten", "sitting"}: 3, {"", "abc"}: 3, {"abc", "acb"}: 1, {"same", "same"}: 0} {
		if got := editDistance(pair[0], pair[1]); got != want {
			t.Errorf("%v: %d, want %d", pair, got, want)
		}
	}
}

// TestThrough checks the straight lines on which all scaling rests.
func TestThrough(t *testing.T) {
	l := Through([2]float64{4, 20}, [2]float64{0, 10})
	for x, want := range map[float64]float64{4: 0, 12: 5, 20: 10, 0: -2.5, 24: 12.5} {
		if got := l.At(x); math.Abs(got-want) > 1e-12 {
			t.Errorf("at %g: %g, want %g", x, got, want)
		}
	}
}
