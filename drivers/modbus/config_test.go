package modbus

import (
	"fmt"
	"strings"
	"testing"

	"dimwatch/drivers"

	"github.com/zclconf/go-cty/cty"
)

func TestMistakesInPoints(t *testing.T) {
	for _, x := range []struct{ point, key, says string }{
		{`coil = 3, bit = 1`, "1", `A coil is a single bit and has no bit.`},
		{`discrete = 3, bit = 0`, "0", `A discrete is a single bit and has no bit.`},
		{`coil = 3, type = "uint16"`, `"uint16"`, `A coil is a single bit and has no type.`},
		{`discrete = 3, order = "big"`, `"big"`, `has no order. Remove it, or use holding or input`},
		{`holding = 65535, type = "float32"`, `"float32"`, `A float32 at 65535 takes the registers 65535 to 65536, and 65535 is the last one.`},
		{`input = 65533, type = "uint64"`, `"uint64"`, `registers 65533 to 65536`},
		{`holding = 1, type = "flaot32"`, `"flaot32"`, `There is no type "flaot32". Did you mean "float32"? It is one of uint16, int16,`},
		{`holding = 1, type = "Uint16"`, `"Uint16"`, `Did you mean "uint16"?`},
		{`holding = 1, type = "string"`, `"string"`, `There is no type "string". It is one of`},
		{`holding = 1, type = 16`, `16`, `There is no type "16".`},
		{`holding = 1, order = "word-swop"`, `"word-swop"`, `Did you mean "word-swap"?`},
		{`holding = 1, order = null`, `null`, `order is one of big, word-swap, byte-swap, little`},
		{`holding = 1.5`, `1.5`, `a whole number from 0 to 65535, this is 1.5.`},
		{`holding = -1`, `-1`, `this is -1.`},
		{`coil = 65536`, `65536`, `this is 65536.`},
		{`holding = 400108`, `400108`, `that is holding = 107.`},
		{`input = 300009`, `300009`, `that is input = 8.`},
		{`holding = "x"`, `"x"`, `this is "x".`},
		{`holding = null`, `null`, `this is null.`},
		{`holding = [1]`, `[1]`, `this is no number.`},
		{`holding = 1, bit = 16`, `16`, `from 0 (the lowest) to 15, this is 16.`},
		{`holding = 1, bit = -1`, `-1`, `this is -1.`},
		{`holding = 1, bit = 2.5`, `2.5`, `this is 2.5.`},
		{`holding = 1, type = "uint32", bit = 2`, `2`, `does not go with type "uint32"`},
		{`holding = 1, coil = 2`, `1`, `more than one location`},
		{`type = "uint16"`, `{type = "uint16"}`, `says not where it lies`},
	} {
		t.Run(x.point, func(t *testing.T) {
			_, diags := TCP.Open([]drivers.Device{device(t, `address = "10.0.0.5"`, x.point)})
			if len(diags) != 1 {
				t.Fatalf("%d diagnostics: %v", len(diags), diags)
			}
			d := diags[0]
			contains(t, x.says, d.Detail)
			source := "{" + x.point + "}"
			if at := source[d.Subject.Start.Byte:d.Subject.End.Byte]; at != x.key {
				t.Errorf("points at %q, want %q", at, x.key)
			}
		})
	}
}

func TestMistakesInDevices(t *testing.T) {
	for body, says := range map[string]string{
		``:                                     `"address" is required`,
		`address = "10.0.0.5:70000"`:           `The port "70000" is no number from 1 to 65535.`,
		`address = "10.0.0.5:0"`:               `The port "0"`,
		`address = "10.0.0.5:modbus"`:          `The port "modbus"`,
		`address = ":502"`:                     `names no host`,
		`address = ""`:                         `names no host`,
		`address = "fe80::1"`:                  `in brackets, with the port behind them: "[fe80::1]:502"`,
		`address = "tcp://10.0.0.5"`:           `is no number from 1 to 65535`,
		`address = ["10.0.0.5"]`:               `address must be a text such as`,
		"address = \"a\"\nunit = 256":          `from 0 to 255, this is 256.`,
		"address = \"a\"\nunit = -1":           `this is -1.`,
		"address = \"a\"\nunit = 1.5":          `this is 1.5.`,
		"address = \"a\"\nunit = \"one\"":      `unit must be a number from 0 to 255.`,
		"address = \"a\"\nunit = null":         `unit must be a number`,
		"address = \"a\"\nbaud = 9600":         `"baud" is not expected here`,
		"address = \"a\"\nunit = no_such.name": `Variables may not be used here`,
	} {
		t.Run(body, func(t *testing.T) {
			_, diags := TCP.Open([]drivers.Device{device(t, body, "holding = 1")})
			if !diags.HasErrors() {
				t.Fatal("no diagnostic")
			}
			var all string
			for _, d := range diags {
				all += d.Summary + ": " + d.Detail + "\n"
				if d.Subject == nil {
					t.Errorf("no place: %v", d)
				}
			}
			contains(t, says, all)
		})
	}
}

// TestEveryMistakeAtOnce: no mistake hides another, in a device, a point or the next device.
func TestEveryMistakeAtOnce(t *testing.T) {
	_, diags := TCP.Open([]drivers.Device{
		device(t, "unit = 300", "holding = -1, bit = 99", `coil = 1, type = "x", order = "y"`),
		device(t, `addres = "10.0.0.5"`, `input = 1, type = "x", order = "y"`),
	})
	if len(diags) != 2+2+2+2+2 {
		t.Errorf("%d diagnostics, want 10:", len(diags))
		for _, d := range diags {
			t.Log(d)
		}
	}
}

func TestAddresses(t *testing.T) {
	for given, want := range map[string]string{
		"10.0.0.5": "10.0.0.5:502", "10.0.0.5:502": "10.0.0.5:502", "10.0.0.5:5020": "10.0.0.5:5020",
		"Gateway.Store": "gateway.store:502", "[fe80::1]": "[fe80::1]:502", "[FE80::1]:503": "[fe80::1]:503", "[fe80::1%eth0]:502": "[fe80::1%eth0]:502",
	} {
		if got, problem := normalise(given); got != want {
			t.Errorf("%s: %s %s, want %s", given, got, problem, want)
		}
	}
}

// TestTextNumbers: a list from a CSV file gives every value as text.
func TestTextNumbers(t *testing.T) {
	p, diags := decodePoint(point(t, "p", `holding = "100", type = "int32", order = "little"`))
	if diags.HasErrors() || p != (place{table: holding, address: 100, kind: int32Kind, order: littleEndian}) {
		t.Errorf("%+v %v", p, diags)
	}
	p, diags = decodePoint(point(t, "p", `input = 7, bit = "3"`))
	if diags.HasErrors() || p != (place{table: input, address: 7, hasBit: true, bit: 3}) {
		t.Errorf("%+v %v", p, diags)
	}
}

// TestSharedLink: devices with one address share a connection, with the longest of their gaps.
func TestSharedLink(t *testing.T) {
	sources := open(t, device(t, "address = \"GW\"\nunit = 1"), device(t, "address = \"gw:502\"\nunit = 2"), device(t, "address = \"gw:503\"\nunit = 2"))
	if sources[0].unit.link != sources[1].unit.link || sources[0].unit.link == sources[2].unit.link {
		t.Error("links are not shared by address")
	}
}

func TestPlanLines(t *testing.T) {
	src := open(t, device(t, "address = \"gw\"\nunit = 11", "holding = 100", `holding = 161, type = "float32"`, "coil = 3", "coil = 10", "input = 9", "input = 400"))[0]
	want := "read coil 3..10 (8 bits, 2 points) of unit 11\n" +
		"read input 9 (1 register, 1 point) of unit 11\n" +
		"read input 400 (1 register, 1 point) of unit 11\n" +
		"read holding 100..162 (63 registers, 2 points) of unit 11"
	if got := strings.Join(src.Plan(), "\n"); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

// FuzzPoint: no keys make Open panic, and a point that passes lies within its table.
func FuzzPoint(f *testing.F) {
	f.Add("100", "float32", "big", int64(70), true)
	f.Add("65535", "uint64", "word-swap", int64(3), false)
	f.Add("1e3", "", "", int64(-1), true)
	f.Fuzz(func(t *testing.T, at, typ, order string, bit int64, register bool) {
		p := drivers.Point{Name: "p", Keys: map[string]drivers.Value{}}
		key := "coil"
		if register {
			key = "holding"
		}
		p.Keys[key] = drivers.Value{Value: cty.StringVal(at)}
		if typ != "" {
			p.Keys["type"] = drivers.Value{Value: cty.StringVal(typ)}
		}
		if order != "" {
			p.Keys["order"] = drivers.Value{Value: cty.StringVal(order)}
		}
		if bit >= 0 {
			p.Keys["bit"] = drivers.Value{Value: cty.NumberIntVal(bit)}
		}
		place, diags := decodePoint(p)
		if diags.HasErrors() {
			return
		}
		if place.address < 0 || place.address+place.width() > 65536 || place.bit > 15 || place.hasBit && place.width() != 1 {
			t.Fatalf("%+v", place)
		}
		if text := fmt.Sprint(&place); !strings.HasPrefix(text, key) {
			t.Fatalf("%q", text)
		}
	})
}
