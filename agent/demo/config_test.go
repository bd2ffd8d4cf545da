package demo

import (
	"math"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"
)

// point is a point of configs/demo.hcl, as far as these tests understand it.
type point struct {
	unit      uint8
	kind      Kind
	addr      uint16
	typ       string
	order     string
	bit       int // -1 for none
	invert    bool
	raw       [2]float64
	milliamps [2]float64
	quantity  string // level, volts, duty, lux, watts, ""
	ends      [2]float64
	hasRaw    bool
	hasLoop   bool
}

var (
	blockLine = regexp.MustCompile(`^(device|zone) "([^"]+)" \{`)
	plainLine = regexp.MustCompile(`^\s+(\w+)\s*= (?:"([^"]+)"|([0-9.]+))$`)
	pointLine = regexp.MustCompile(`^\s+(\w+)\s*= \{ (.*) \}$`)
	pairOf    = regexp.MustCompile(`(\w+) = (\[[^\]]*\]|"[^"]*"|\w+)`)
)

// readConfig reads the example loosely, line by line: the demo must not lean on the room that reads it in earnest. It
// gives points by zone and role, and rated power by zone.
func readConfig(t *testing.T) (points map[string]map[string]point, rated map[string]float64) {
	t.Helper()
	text, err := os.ReadFile("../../configs/demo.hcl")
	if err != nil {
		t.Fatal(err)
	}
	points, rated = map[string]map[string]point{}, map[string]float64{}
	units := map[string]uint8{}
	var block, name, device string
	for _, line := range strings.Split(string(text), "\n") {
		if m := blockLine.FindStringSubmatch(line); m != nil {
			block, name = m[1], m[2]
		}
		if m := plainLine.FindStringSubmatch(line); m != nil {
			switch number, _ := strconv.ParseFloat(m[3], 64); {
			case block == "device" && m[1] == "unit":
				units[name] = uint8(number)
			case block == "zone" && m[1] == "device":
				device = m[2]
			case block == "zone" && m[1] == "rated_power":
				rated[name] = number
			}
		}
		if m := pointLine.FindStringSubmatch(line); m != nil && block == "zone" {
			if points[name] == nil {
				points[name] = map[string]point{}
			}
			points[name][m[1]] = readPoint(t, units[device], m[2])
		}
	}
	return points, rated
}

func readPoint(t *testing.T, unit uint8, text string) point {
	t.Helper()
	p := point{unit: unit, typ: "uint16", order: "big", bit: -1}
	for _, m := range pairOf.FindAllStringSubmatch(text, -1) {
		key, value := m[1], strings.Trim(m[2], `"[]`)
		number, _ := strconv.ParseFloat(value, 64)
		var ends [2]float64
		if a, b, both := strings.Cut(value, ", "); both {
			ends[0], _ = strconv.ParseFloat(a, 64)
			ends[1], _ = strconv.ParseFloat(b, 64)
		}
		switch key {
		case "coil", "discrete", "input", "holding":
			p.kind = map[string]Kind{"coil": Coil, "discrete": Discrete, "input": Input, "holding": Holding}[key]
			p.addr = uint16(number)
		case "type":
			p.typ = value
		case "order":
			p.order = value
		case "bit":
			p.bit = int(number)
		case "invert":
			p.invert = value == "true"
		case "raw":
			p.raw, p.hasRaw = ends, true
		case "milliamps":
			p.milliamps, p.hasLoop = ends, true
		case "level", "volts", "duty", "lux", "watts":
			p.quantity, p.ends = key, ends
		case "kind":
		default:
			t.Fatalf("key %q in %q is not understood here", key, text)
		}
	}
	return p
}

func through(x float64, from, to [2]float64) float64 {
	return to[0] + (x-from[0])*(to[1]-to[0])/(from[1]-from[0])
}

// get reads a point: its value in its own quantity, levels (volts too) in percent, and the current where it has one.
func (p point) get(s *Store) (value, milliamp float64, err error) {
	word := func(i uint16) (w uint16) {
		if err == nil {
			w, err = s.Register(p.unit, p.kind, p.addr+i)
		}
		return w
	}
	switch p.typ {
	case "uint16":
		value = float64(word(0))
	case "int16":
		value = float64(int16(word(0)))
	default:
		a, b := word(0), word(1)
		if p.order == "byte-swap" || p.order == "little" {
			a, b = a<<8|a>>8, b<<8|b>>8
		}
		if p.order == "word-swap" || p.order == "little" {
			a, b = b, a
		}
		value = float64(uint32(a)<<16 | uint32(b))
		if p.typ == "float32" {
			value = float64(math.Float32frombits(uint32(a)<<16 | uint32(b)))
		}
	}
	if p.bit >= 0 {
		value = float64(uint16(value) >> p.bit & 1)
	}
	if p.quantity == "" && p.invert {
		value = 1 - value
	}
	if p.hasLoop {
		milliamp = through(value, p.raw, p.milliamps)
		value = through(milliamp, [2]float64{4, 20}, p.ends)
	} else if p.hasRaw {
		value = through(value, p.raw, p.ends)
	}
	if p.quantity == "volts" {
		value *= 10
	}
	return value, milliamp, err
}

// TestConfigReadsTheStore holds every point of the example configuration against the part of the model that it is meant
// to show, all through the story.
func TestConfigReadsTheStore(t *testing.T) {
	points, rated := readConfig(t)
	s := New(1)
	if len(points) != len(s.zones) || len(points) < 12 {
		t.Fatalf("%d zones in the configuration, %d in the store", len(points), len(s.zones))
	}
	for at := time.Duration(0); at < Story; at += 7 * time.Second {
		s.Advance(at)
		for _, z := range s.zones {
			full := 0.0
			for _, g := range z.gear {
				full += float64(g.n) * g.watts
			}
			if rated[z.name] != full {
				t.Fatalf("%s: rated power %v, want %v", z.name, rated[z.name], full)
			}
			if len(points[z.name]) < 5 {
				t.Fatalf("%s: only %d points", z.name, len(points[z.name]))
			}
			for role, p := range points[z.name] {
				if p.unit != z.unit {
					t.Fatalf("%s: on unit %d, want %d", z.name, p.unit, z.unit)
				}
				got, milliamp, err := p.get(s)
				if s.silent[z.unit] {
					if err == nil {
						t.Errorf("%v: %s %s: a silent unit answers", at, z.name, role)
					}
					continue
				}
				if err != nil {
					t.Errorf("%v: %s %s: %v", at, z.name, role, err)
					continue
				}
				want, step := 0.0, 0.0 // step is the coarsest resolution of the units
				switch role {
				case "setpoint":
					want, step = z.setpoint, 0.4
				case "command":
					want, step = z.command, 0.4
				case "feedback":
					want, step = z.input, 0.025
					got = milliamp
					if z.unit == unitNorth {
						want = math.Min(want, 20)
					}
				case "daylight":
					want, step = z.sensor.milliamp, 0.025
					got = milliamp
					if z.unit == unitNorth {
						want = math.Min(want, 20)
					}
				case "power":
					want, step = z.watts, 1
				case "lit":
					want = 1
					if p.kind == Discrete {
						want = bitValue(z.fed)
					}
				default:
					t.Fatalf("role %q is not understood here", role)
				}
				if math.Abs(got-want) > step/2+1e-6*math.Abs(want) {
					t.Errorf("%v: %s %s: %v, the model has %v", at, z.name, role, got, want)
				}
			}
		}
	}
}

func bitValue(on bool) float64 { return float64(bit(on)) }
