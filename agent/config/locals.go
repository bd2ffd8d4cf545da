package config

import (
	"slices"
	"strings"

	"github.com/zclconf/go-cty/cty"
)

// resolveLocals evaluates the locals, which may use each other in any order, and puts them into the context as local.NAME.
// One that fails, or is part of a circle, is unknown from then on.
func (l *loader) resolveLocals() {
	r := &resolver{l: l, values: map[string]cty.Value{}}
	for name := range l.unknown.locals {
		r.values[name] = cty.DynamicVal
	}
	for _, name := range sortedNames(l.locals) {
		r.resolve(name, nil)
	}
	l.ctx.Variables = map[string]cty.Value{}
	for name := range l.unknown.variables {
		l.ctx.Variables[name] = cty.DynamicVal
	}
	l.ctx.Variables["local"] = cty.ObjectVal(r.values)
}

type resolver struct {
	l      *loader
	values map[string]cty.Value // what is resolved so far
}

// resolve evaluates one local after those that it uses; path are the locals that wait for it.
func (r *resolver) resolve(name string, path []string) {
	if _, done := r.values[name]; done {
		return
	}
	attr := r.l.locals[name]
	if attr == nil {
		return
	}
	if i := slices.Index(path, name); i >= 0 {
		circle := append(slices.Clone(path[i:]), name)
		r.l.fail(attr.NameRange, "Locals in a circle", "local.%s. Give one of them a value of its own.", strings.Join(circle, " uses local."))
		r.values[name] = cty.DynamicVal
		return
	}
	path = append(path, name)
	for _, t := range attr.Expr.Variables() {
		if t.RootName() != "local" {
			continue
		}
		if used, _, ok := localName(t); ok {
			r.resolve(used, path)
			continue
		}
		for _, other := range sortedNames(r.l.locals) { // local as a whole, or with an index that is computed
			if other != name {
				r.resolve(other, path)
			}
		}
	}
	if _, failed := r.values[name]; failed {
		return // it closed a circle meanwhile
	}
	ctx := r.l.ctx.NewChild()
	ctx.Variables = map[string]cty.Value{"local": cty.ObjectVal(r.values)}
	for unknown := range r.l.unknown.variables {
		ctx.Variables[unknown] = cty.DynamicVal
	}
	value, diags := attr.Expr.Value(ctx)
	r.l.add(diags)
	if diags.HasErrors() {
		value = cty.DynamicVal
	}
	r.values[name] = value
}
