package modbus

import (
	"fmt"
	"math/big"
	"net"
	"slices"
	"strconv"
	"strings"

	"dimwatch/drivers"

	"github.com/hashicorp/hcl/v2"
	"github.com/zclconf/go-cty/cty"
	"github.com/zclconf/go-cty/cty/convert"
)

// defaultPort is the registered port of Modbus over TCP (MT 3.1.3).
const defaultPort = "502"

// deviceBody is what the device block says to this driver.
type deviceBody struct {
	address string // host:port
	unit    byte
}

var deviceSchema = &hcl.BodySchema{Attributes: []hcl.AttributeSchema{
	{Name: "address", Required: true},
	{Name: "unit"},
}}

// decodeDevice reads address and unit.
func decodeDevice(d drivers.Device) (deviceBody, hcl.Diagnostics) {
	body := deviceBody{unit: 1}
	content, diags := d.Body.Content(deviceSchema)
	if attr := content.Attributes["address"]; attr != nil {
		v, more := evaluate(attr, d.Context, cty.String, "a text such as \"10.0.0.5:502\"")
		diags = append(diags, more...)
		if !more.HasErrors() {
			address, err := normalise(v.AsString())
			if err != "" {
				diags = append(diags, problem("Bad address", err, attr.Expr.Range()))
			}
			body.address = address
		}
	}
	if attr := content.Attributes["unit"]; attr != nil {
		v, more := evaluate(attr, d.Context, cty.Number, "a number from 0 to 255")
		diags = append(diags, more...)
		if !more.HasErrors() {
			n, ok := whole(v)
			if !ok || n < 0 || n > 255 {
				diags = append(diags, problem("Bad unit", fmt.Sprintf(
					"A unit is a whole number from 0 to 255, this is %s. Behind a gateway it is the serial address of the device, 1 to 247; "+
						"a device with a network port of its own usually takes 1 or 255.", number(v)), attr.Expr.Range()))
			}
			body.unit = byte(n)
		}
	}
	return body, diags
}

// evaluate gives the known value of an attribute in the type wanted.
func evaluate(attr *hcl.Attribute, ctx *hcl.EvalContext, want cty.Type, what string) (cty.Value, hcl.Diagnostics) {
	v, diags := attr.Expr.Value(ctx)
	if diags.HasErrors() {
		return v, diags
	}
	got, err := convert.Convert(v, want)
	if err != nil || got.IsNull() || !got.IsKnown() {
		diags = append(diags, problem("Bad "+attr.Name, fmt.Sprintf("%s must be %s.", attr.Name, what), attr.Expr.Range()))
		return v, diags
	}
	return got, diags
}

// normalise completes an address by the default port and gives it in the form by which links are shared: in lower case.
// What is wrong with it is the second result.
func normalise(address string) (string, string) {
	host, port := address, defaultPort
	switch {
	case strings.HasPrefix(address, "[") && strings.HasSuffix(address, "]"):
		host = strings.Trim(address, "[]")
	case strings.Count(address, ":") > 1 && !strings.HasPrefix(address, "["):
		return "", fmt.Sprintf("An IPv6 address is written in brackets, with the port behind them: \"[%s]:502\".", address)
	case strings.Contains(address, ":"):
		var err error
		if host, port, err = net.SplitHostPort(address); err != nil {
			return "", fmt.Sprintf("%q is no host and port. Write it like \"10.0.0.5:502\".", address)
		}
	}
	if n, err := strconv.ParseUint(port, 10, 16); err != nil || n == 0 {
		return "", fmt.Sprintf("The port %q is no number from 1 to 65535. Write the address like \"10.0.0.5:502\".", port)
	}
	if host == "" || strings.ContainsAny(host, " \t/") {
		return "", fmt.Sprintf("%q names no host. Write the address like \"10.0.0.5:502\".", address)
	}
	return net.JoinHostPort(strings.ToLower(host), port), ""
}

// decodePoints finds out where each point lies and how it is coded.
func decodePoints(d drivers.Device) ([]place, hcl.Diagnostics) {
	var diags hcl.Diagnostics
	places := make([]place, len(d.Points))
	for i, p := range d.Points {
		var more hcl.Diagnostics
		places[i], more = decodePoint(p)
		diags = append(diags, more...)
	}
	return places, diags
}

func decodePoint(p drivers.Point) (place, hcl.Diagnostics) {
	var diags hcl.Diagnostics
	var at place
	var location drivers.Value
	located := false
	for t := range tables {
		v, ok := p.Keys[tables[t].key]
		if !ok {
			continue
		}
		if located {
			return at, append(diags, problem("Two locations", fmt.Sprintf("%s has more than one location; keep one of coil, discrete, "+
				"input and holding.", p.Name), v.Range))
		}
		located, location = true, v
		at.table = table(t)
		n, diag := address(tables[t].key, v)
		if diag != nil {
			diags = append(diags, diag)
		}
		at.address = n
	}
	if !located {
		return at, append(diags, problem("No location", fmt.Sprintf("%s says not where it lies; add one of coil, discrete, input and "+
			"holding, with an address from 0.", p.Name), p.Range))
	}
	diags = append(diags, decodeCoding(p, &at)...)
	if !diags.HasErrors() && at.address+at.width() > 65536 {
		key := location
		if v, ok := p.Keys["type"]; ok {
			key = v
		}
		diags = append(diags, problem("Past the last register", fmt.Sprintf("A %s at %d takes the registers %d to %d, and 65535 is the last "+
			"one. Check the address and the type.", kinds[at.kind].name, at.address, at.address, at.address+at.width()-1), key.Range))
	}
	return at, diags
}

// decodeCoding reads type, order and bit.
func decodeCoding(p drivers.Point, at *place) hcl.Diagnostics {
	var diags hcl.Diagnostics
	if tables[at.table].bits {
		for _, key := range []string{"type", "order", "bit"} {
			if v, ok := p.Keys[key]; ok {
				diags = append(diags, problem("Key does not belong here", fmt.Sprintf("A %s is a single bit and has no %s. Remove it, or "+
					"use holding or input if the value is in a register.", tables[at.table].key, key), v.Range))
			}
		}
		return diags
	}
	if v, ok := p.Keys["type"]; ok {
		n, diag := choose("type", v, kindNames())
		if diag != nil {
			diags = append(diags, diag)
		}
		at.kind = kind(n)
	}
	if v, ok := p.Keys["order"]; ok {
		n, diag := choose("order", v, orderNames)
		if diag != nil {
			diags = append(diags, diag)
		}
		at.order = order(n)
	}
	if v, ok := p.Keys["bit"]; ok {
		n, ok := wholeNumber(v.Value)
		switch {
		case !ok || n < 0 || n > 15:
			diags = append(diags, problem("Bad bit", fmt.Sprintf("A bit of a register is a whole number from 0 (the lowest) to 15, this is %s.",
				show(v.Value)), v.Range))
		case kinds[at.kind].words > 1:
			diags = append(diags, problem("Bit of a wide type", fmt.Sprintf("bit picks one of the 16 bits of a register and does not go with "+
				"type %q. Remove type, and give the address of the register that has the bit.", kinds[at.kind].name), v.Range))
		}
		at.hasBit, at.bit = true, byte(n)
	}
	return diags
}

// address reads a register or bit address.
func address(key string, v drivers.Value) (int, *hcl.Diagnostic) {
	n, ok := wholeNumber(v.Value)
	if ok && n >= 0 && n <= 65535 {
		return n, nil
	}
	detail := fmt.Sprintf("%s is the address in the request: a whole number from 0 to 65535, this is %s.", key, show(v.Value))
	if ok && n >= 400001 && n <= 465536 {
		detail += fmt.Sprintf(" If it is meant as a register number of a data sheet, that is holding = %d.", n-400001)
	} else if ok && n >= 300001 && n <= 365536 {
		detail += fmt.Sprintf(" If it is meant as a register number of a data sheet, that is input = %d.", n-300001)
	} else {
		detail += " Data sheets that count from 1 name an address one higher."
	}
	return 0, problem("Bad address", detail, v.Range)
}

// choose finds a word among its choices.
func choose(key string, v drivers.Value, choices []string) (int, *hcl.Diagnostic) {
	s, err := convert.Convert(v.Value, cty.String)
	if err != nil || s.IsNull() || !s.IsKnown() {
		return 0, problem("Bad "+key, fmt.Sprintf("%s is one of %s.", key, strings.Join(choices, ", ")), v.Range)
	}
	word := s.AsString()
	if i := slices.Index(choices, word); i >= 0 {
		return i, nil
	}
	detail := fmt.Sprintf("There is no %s %q.", key, word)
	if near := nearest(word, choices); near != "" {
		detail += fmt.Sprintf(" Did you mean %q?", near)
	}
	detail += " It is one of " + strings.Join(choices, ", ") + "."
	return 0, problem("Unknown "+key, detail, v.Range)
}

// wholeNumber reads a whole number, which a list from a CSV file gives as text.
func wholeNumber(v cty.Value) (int, bool) {
	v, err := convert.Convert(v, cty.Number)
	if err != nil {
		return 0, false
	}
	return whole(v)
}

func whole(v cty.Value) (int, bool) {
	if v.IsNull() || !v.IsKnown() {
		return 0, false
	}
	n, accuracy := v.AsBigFloat().Int64()
	return int(n), accuracy == big.Exact
}

// show gives a value for a message.
func show(v cty.Value) string {
	if v.IsNull() {
		return "null"
	}
	if s, err := convert.Convert(v, cty.String); err == nil && s.IsKnown() {
		if v.Type() == cty.String {
			return strconv.Quote(s.AsString())
		}
		return s.AsString()
	}
	return "no number"
}

func number(v cty.Value) string { return v.AsBigFloat().Text('g', 10) }

func problem(summary, detail string, at hcl.Range) *hcl.Diagnostic {
	return &hcl.Diagnostic{Severity: hcl.DiagError, Summary: summary, Detail: detail, Subject: &at}
}

// nearest gives the choice that a misspelt word most likely means, or "" where none is near: at most a third of its
// letters may differ.
func nearest(word string, choices []string) string {
	best, least := "", 1+len(word)/3
	for _, c := range choices {
		if d := distance(strings.ToLower(word), c); d < least || d == least && best == "" {
			best, least = c, d
		}
	}
	return best
}

// distance is the number of letters to change, add or drop between two words (Levenshtein).
func distance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		corner := row[0]
		row[0] = i + 1
		for j := range len(b) {
			change := corner
			if a[i] != b[j] {
				change++
			}
			corner = row[j+1]
			row[j+1] = min(change, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}
