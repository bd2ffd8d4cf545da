package config

import (
	"github.com/hashicorp/hcl/v2"
	"github.com/hashicorp/hcl/v2/hclsyntax"
	"github.com/zclconf/go-cty/cty"
	"github.com/zclconf/go-cty/cty/convert"
)

// pointKeys are the keys of one point object with their places.
type pointKeys struct {
	l      *loader
	place  pointPlace
	rng    hcl.Range // the whole object
	values map[string]cty.Value
	order  []string // of the file where it is known
	keys   map[string]hcl.Range
	vals   map[string]hcl.Range
	failed bool     // something was reported: the point is not to be used
	slips  []string // keys that were reported as misspelt, as they are spelt right
}

// locate finds the places of keys and values where the object, or one that goes into it, is written out.
func (k *pointKeys) locate(expr hcl.Expression) {
	k.keys, k.vals = map[string]hcl.Range{}, map[string]hcl.Range{}
	for {
		inner := hcl.UnwrapExpression(expr)
		if inner == expr || inner == nil {
			break
		}
		expr = inner
	}
	k.walk(expr)
}

func (k *pointKeys) walk(expr hcl.Expression) {
	switch e := expr.(type) {
	case *hclsyntax.ObjectConsExpr:
		k.walkObject(e)
	case *hclsyntax.ParenthesesExpr:
		k.walk(e.Expression)
	case *hclsyntax.ConditionalExpr:
		k.walk(e.TrueResult)
		k.walk(e.FalseResult)
	case *hclsyntax.FunctionCallExpr: // merge({ ... }, { ... }): of two places of a key the last counts
		for _, arg := range e.Args {
			k.walk(arg)
		}
	}
}

func (k *pointKeys) walkObject(e *hclsyntax.ObjectConsExpr) {
	here := map[string]hcl.Range{}
	for _, item := range e.Items {
		name := hcl.ExprAsKeyword(item.KeyExpr)
		if name == "" {
			key, diags := item.KeyExpr.Value(nil)
			if diags.HasErrors() || !key.IsKnown() || key.IsNull() || key.Type() != cty.String {
				continue
			}
			name = key.AsString()
		}
		if first, twice := here[name]; twice {
			k.fail(item.KeyExpr.Range(), "Key given twice", "%s already stands at %s. Remove one of the two.", name, at(first))
		}
		here[name] = item.KeyExpr.Range()
		k.keys[name], k.vals[name] = item.KeyExpr.Range(), item.ValueExpr.Range()
	}
}

func (k *pointKeys) fail(at hcl.Range, summary, detail string, args ...any) {
	k.failed = true
	k.l.fail(at, summary, detail, args...)
}

// keyRange and valueRange give the place of a key or its value, the whole object where it is not written out.
func (k *pointKeys) keyRange(name string) hcl.Range {
	if r, ok := k.keys[name]; ok {
		return r
	}
	return k.rng
}

func (k *pointKeys) valueRange(name string) hcl.Range {
	if r, ok := k.vals[name]; ok {
		return r
	}
	return k.rng
}

// known gives a key's value; ok is false where it is not there or not known.
func (k *pointKeys) known(name string) (cty.Value, bool) {
	v, ok := k.values[name]
	if !ok {
		return v, false
	}
	if !v.IsWhollyKnown() {
		k.failed = true
		return v, false
	}
	return v, true
}

// text gives a key's value where it is a text.
func (k *pointKeys) text(name, example string) (string, bool) {
	v, ok := k.known(name)
	if !ok {
		return "", false
	}
	s, err := convert.Convert(v, cty.String)
	if err != nil {
		k.fail(k.valueRange(name), "Not a text", "%s is a text, such as %s = %s; this is %s.", name, name, example, kindOf(v))
		return "", false
	}
	return s.AsString(), true
}
