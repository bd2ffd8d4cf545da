package config

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"

	"github.com/hashicorp/hcl/v2"
	"github.com/zclconf/go-cty/cty"
	"github.com/zclconf/go-cty/cty/convert"
)

// block is the evaluated content of one block: its arguments as they are asked for, each mistake reported at its value. A
// value that is unknown, since something that it depends on has been reported, is passed over in silence.
type block struct {
	l     *loader
	attrs hcl.Attributes
	rng   hcl.Range // the block's header
}

// has says that an argument stands there and is not null.
func (b block) has(name string) bool {
	attr := b.attrs[name]
	if attr == nil {
		return false
	}
	v, diags := attr.Expr.Value(b.l.ctx)
	return diags.HasErrors() || !v.IsKnown() || !v.IsNull()
}

// value evaluates an argument; ok is false where it is missing, null or failed.
func (b block) value(name string) (v cty.Value, at hcl.Range, ok bool) {
	attr := b.attrs[name]
	if attr == nil {
		return cty.NilVal, b.rng, false
	}
	v, diags := attr.Expr.Value(b.l.ctx)
	b.l.add(diags)
	at = attr.Expr.Range()
	if diags.HasErrors() || !v.IsWhollyKnown() || v.IsNull() {
		return cty.NilVal, at, false
	}
	return v, at, true
}

// cell is value for what is not a text: in a block made from a list an empty cell leaves the argument out.
func (b block) cell(name string) (v cty.Value, at hcl.Range, ok bool) {
	v, at, ok = b.value(name)
	if ok && b.l.row != "" && v.Type() == cty.String && v.AsString() == "" {
		return cty.NilVal, at, false
	}
	return v, at, ok
}

// text gives an argument that is a text.
func (b block) text(name, example string) (string, hcl.Range, bool) {
	v, at, ok := b.value(name)
	if !ok {
		return "", at, false
	}
	s, err := convert.Convert(v, cty.String)
	if err != nil || s.IsNull() {
		b.l.fail(at, "Not a text", "%s is a text, such as %s = %s; this is %s.", name, name, example, kindOf(v))
		return "", at, false
	}
	return s.AsString(), at, true
}

// number gives an argument that is a number from low to high.
func (b block) number(name string, low, high float64, unit string) (float64, hcl.Range, bool) {
	v, at, ok := b.cell(name)
	if !ok {
		return 0, at, false
	}
	x, ok := toNumber(v)
	if !ok {
		b.l.fail(at, "Not a number", "%s is a number%s from %s to %s; this is %s.", name, unit, plain(low), plain(high), kindOf(v))
		return 0, at, false
	}
	if x < low || x > high {
		b.l.fail(at, "Out of range", "%s is a number%s from %s to %s; this is %s.", name, unit, plain(low), plain(high), plain(x))
		return 0, at, false
	}
	return x, at, true
}

// positive gives an argument that is a number above 0 and at most high; otherwise where it is missing or wrong. meaning says
// what it is, hint what to take.
func (b block) positive(name string, high, otherwise float64, meaning, hint string) float64 {
	v, at, ok := b.cell(name)
	if !ok {
		return otherwise
	}
	x, isNumber := toNumber(v)
	if !isNumber || x <= 0 || x > high {
		summary := "Out of range"
		if !isNumber {
			summary = "Not a number"
		}
		b.l.fail(at, summary, "%s is %s, a number above 0 and at most %s; this is %s. %s", name, meaning, plain(high), kindOf(v), hint)
		return otherwise
	}
	return x
}

// truth gives an argument that is true or false.
func (b block) truth(name string) bool {
	v, at, ok := b.cell(name)
	if !ok {
		return false
	}
	t, err := convert.Convert(v, cty.Bool)
	if err != nil || t.IsNull() {
		b.l.fail(at, "Neither true nor false", "%s is true or false, without quotes; this is %s.", name, kindOf(v))
		return false
	}
	return t.True()
}

// duration gives an argument such as "1500ms", from low to high; otherwise where it is missing or wrong.
func (b block) duration(name string, low, high, otherwise time.Duration) time.Duration {
	v, at, ok := b.cell(name)
	if !ok {
		return otherwise
	}
	d, problem := parseDuration(v, low)
	switch {
	case problem != "":
		b.l.fail(at, "Not a duration", "%s is a time with its unit. %s", name, problem)
	case d < low:
		b.l.fail(at, "Duration too short", "%s is at least %s; this is %s.", name, shortDuration(low), shortDuration(d))
	case d > high:
		b.l.fail(at, "Duration too long", "%s is at most %s; this is %s.", name, shortDuration(high), shortDuration(d))
	default:
		return d
	}
	return otherwise
}

// looseDuration takes a number and what people write as its unit apart.
var looseDuration = regexp.MustCompile(`^\s*([0-9]+(?:\.[0-9]+)?)\s*([A-Za-z]*)\.?\s*$`)

// parseDuration reads a value such as "5s". problem says what is wrong and how it is written.
func parseDuration(v cty.Value, low time.Duration) (d time.Duration, problem string) {
	const units = `The units are ms, s, m and h, without a space: "500ms", "5s", "2m", "1h30m".`
	s, err := convert.Convert(v, cty.String)
	if err != nil || s.IsNull() {
		return 0, "This is " + kindOf(v) + ". " + units
	}
	text := s.AsString()
	if d, err := time.ParseDuration(text); err == nil && (d != 0 || text != "0") {
		return d, ""
	}
	if text == "0" && low == 0 {
		return 0, ""
	}
	parts := looseDuration.FindStringSubmatch(text)
	if parts == nil {
		return 0, fmt.Sprintf("%q is none. %s", text, units)
	}
	switch unit := strings.ToLower(parts[2]); {
	case unit == "":
		return 0, fmt.Sprintf(`%q has no unit. Write "%ss" where seconds are meant, "%sms" for milliseconds. %s`, text, parts[1], parts[1], units)
	case strings.HasPrefix(unit, "ms"), strings.HasPrefix(unit, "milli"):
		return 0, fmt.Sprintf(`Write "%sms". %s`, parts[1], units)
	case strings.HasPrefix(unit, "s"):
		return 0, fmt.Sprintf(`Write "%ss". %s`, parts[1], units)
	case strings.HasPrefix(unit, "m"):
		return 0, fmt.Sprintf(`Write "%sm". %s`, parts[1], units)
	case strings.HasPrefix(unit, "h"):
		return 0, fmt.Sprintf(`Write "%sh". %s`, parts[1], units)
	}
	return 0, fmt.Sprintf("%q is none. %s", text, units)
}

// shortDuration drops the zero units that time.Duration writes: "1h" for "1h0m0s".
func shortDuration(d time.Duration) string {
	s := d.String()
	if strings.HasSuffix(s, "m0s") {
		s = strings.TrimSuffix(s, "0s")
	}
	if strings.HasSuffix(s, "h0m") {
		s = strings.TrimSuffix(s, "0m")
	}
	return s
}

// toNumber gives a finite number, also out of a text as CSV lists have them.
func toNumber(v cty.Value) (float64, bool) {
	n, err := convert.Convert(v, cty.Number)
	if err != nil || n.IsNull() || !n.IsKnown() {
		return 0, false
	}
	x, _ := n.AsBigFloat().Float64()
	return x, !math.IsInf(x, 0)
}

// toPair gives the two numbers of a list such as [0, 1000].
func toPair(v cty.Value) (pair [2]float64, ok bool) {
	if v.IsNull() || !v.IsWhollyKnown() || !(v.Type().IsTupleType() || v.Type().IsListType()) || v.LengthInt() != 2 {
		return pair, false
	}
	for i, e := range v.AsValueSlice() {
		if e.IsNull() {
			return pair, false
		}
		if pair[i], ok = toNumber(e); !ok {
			return pair, false
		}
	}
	return pair, true
}

// kindOf says what a value is, for people.
func kindOf(v cty.Value) string {
	t := v.Type()
	switch {
	case v.IsNull():
		return "null"
	case !v.IsKnown():
		return "not known"
	case t == cty.String:
		if s := v.AsString(); len(s) <= 40 {
			return fmt.Sprintf("the text %q", s)
		}
		return "a text"
	case t == cty.Number:
		return "the number " + v.AsBigFloat().Text('g', 10)
	case t == cty.Bool:
		return map[bool]string{true: "true", false: "false"}[v.True()]
	case t.IsObjectType(), t.IsMapType():
		return "an object"
	case t.IsTupleType(), t.IsListType():
		if n := v.LengthInt(); n != 2 {
			return fmt.Sprintf("a list of %d", n)
		}
		e := v.AsValueSlice()
		return "a list of " + kindOf(e[0]) + " and " + kindOf(e[1])
	}
	return "of another kind"
}

// plain writes a number without an exponent where that is short enough to read.
func plain(x float64) string {
	if math.Abs(x) >= 1e15 {
		return strconv.FormatFloat(x, 'g', -1, 64)
	}
	return strconv.FormatFloat(x, 'f', -1, 64)
}
