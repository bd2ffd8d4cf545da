package config

import (
	"slices"

	"github.com/hashicorp/hcl/v2"
	"github.com/hashicorp/hcl/v2/hclsyntax"
)

// Names are checked on the text as it stands, before anything is evaluated or expanded: a name that does not exist is
// reported once, however many blocks a dynamic block makes of its line, and what depends on it counts as unknown from
// then on and is passed over in silence.

// shape says what may stand in a block.
type shape struct {
	label  string   // example of its label, "" for a block without
	attrs  []string // names of its arguments
	blocks []string // types of the blocks within
	open   bool     // what is not listed belongs to somebody else, who checks it
}

// shapes are the blocks of a configuration by type; "" is the file.
var shapes = map[string]shape{
	"": {blocks: []string{"site", "agent", "device", "zone", "locals"}},
	"site": {
		label:  "harbor-12",
		attrs:  []string{"name", "latitude", "longitude", "time_zone", "hours", "closed", "tariff"},
		blocks: []string{"judge"},
	},
	"agent":  {attrs: []string{"listen", "state", "web_config"}},
	"device": {label: "north", attrs: []string{"driver", "cycle", "timeout", "gap", "bus_share"}, open: true},
	"zone": {
		label: "aisles-1-4",
		attrs: []string{"device", "setpoint", "command", "feedback", "lit", "power", "daylight",
			"out_of_service", "rated_power", "ballasts", "power_curve", "feedback_tap"},
		blocks: []string{"judge"},
	},
	"judge":  {attrs: []string{"tolerance", "settle", "false_findings"}},
	"locals": {open: true},
}

// names are those that are used and do not exist.
type names struct {
	variables, locals, functions map[string]bool
}

// Arguments that are added to the content of a dynamic block, so that each block it makes knows its row. A name with a
// space cannot clash with one in a file.
const (
	rowKey   = "row key"
	rowValue = "row value"
)

// checkNames reports every argument, block, variable, local and function that does not exist, and gives a copy of the body
// without the arguments and blocks that are not known.
func (l *loader) checkNames(body *hclsyntax.Body) *hclsyntax.Body {
	l.unknown = names{map[string]bool{}, map[string]bool{}, map[string]bool{}}
	l.locals = map[string]*hclsyntax.Attribute{}
	for _, b := range body.Blocks {
		if b.Type != "locals" {
			continue
		}
		for _, name := range sortedNames(b.Body.Attributes) {
			attr := b.Body.Attributes[name]
			if first := l.locals[name]; first != nil {
				l.fail(attr.NameRange, "Local set twice", "local.%s is already set at %s. Rename one of the two.", name, at(first.NameRange))
				continue
			}
			l.locals[name] = attr
		}
	}
	return l.checkBody(body, "", []string{"local"})
}

func (l *loader) checkBody(body *hclsyntax.Body, kind string, scope []string) *hclsyntax.Body {
	sh := shapes[kind]
	out := *body
	out.Attributes = hclsyntax.Attributes{}
	out.Blocks = nil
	for _, name := range sortedNames(body.Attributes) {
		attr := body.Attributes[name]
		if !sh.open && !slices.Contains(sh.attrs, name) {
			l.unknownArgument(attr, kind, sh)
			continue
		}
		l.checkExpression(attr.Expr, scope)
		out.Attributes[name] = attr
	}
	for _, b := range body.Blocks {
		if kept := l.checkBlock(b, kind, sh, scope); kept != nil {
			out.Blocks = append(out.Blocks, kept)
		}
	}
	return &out
}

func (l *loader) unknownArgument(attr *hclsyntax.Attribute, kind string, sh shape) {
	where, hint := "outside of a block", suggest(attr.Name, sh.attrs)
	if kind != "" {
		where = "in " + article(kind) + " block"
	}
	switch {
	case kind == "":
		hint = " Put it into a block; values for use in several places belong into locals { ... }."
	case slices.Contains(sh.blocks, attr.Name):
		hint = " It is a block: write " + attr.Name + " { ... } without the equals sign."
	}
	l.fail(attr.NameRange, "Unknown argument", "There is no argument %q %s.%s", attr.Name, where, hint)
}

// checkBlock checks one block and those within; nil where it cannot be decoded.
func (l *loader) checkBlock(b *hclsyntax.Block, kind string, sh shape, scope []string) *hclsyntax.Block {
	if b.Type == "dynamic" && len(b.Labels) == 1 {
		return l.checkDynamic(b, kind, sh, scope)
	}
	if !slices.Contains(sh.blocks, b.Type) && !sh.open {
		l.unknownBlock(b.Type, b.TypeRange, kind, sh)
		return nil
	}
	if kind == "locals" {
		l.fail(b.TypeRange, "Unknown block", "locals holds arguments only, such as %s = { ... } with the equals sign.", b.Type)
		return nil
	}
	if inner := shapes[b.Type]; slices.Contains(sh.blocks, b.Type) && !l.checkLabels(b, inner) {
		return nil
	}
	kept := *b
	if b.Type == "locals" {
		l.checkBody(b.Body, "locals", scope)
		return nil // resolveLocals has them
	}
	if slices.Contains(sh.blocks, b.Type) {
		kept.Body = l.checkBody(b.Body, b.Type, scope)
	}
	return &kept
}

func (l *loader) unknownBlock(name string, where hcl.Range, kind string, sh shape) {
	if slices.Contains(sh.attrs, name) {
		l.fail(where, "Unknown block", "%s is an argument: write it with an equals sign, %s = ...", name, name)
		return
	}
	in := "here"
	if kind != "" {
		in = "in " + article(kind) + " block"
	}
	hint := suggest(name, sh.blocks)
	if hint == "" {
		hint = " It has arguments only: " + list(sh.attrs, "and") + "."
	}
	l.fail(where, "Unknown block", "There is no block %q %s.%s", name, in, hint)
}

func (l *loader) checkLabels(b *hclsyntax.Block, sh shape) bool {
	switch {
	case sh.label != "" && len(b.Labels) == 0:
		l.fail(b.TypeRange, "Missing name", "%s block has a name: write %s \"%s\" { ... }", capital(article(b.Type)), b.Type, sh.label)
	case sh.label != "" && len(b.Labels) > 1:
		l.fail(b.LabelRanges[1], "One name too many", "%s block has one name: write %s \"%s\" { ... }", capital(article(b.Type)), b.Type, sh.label)
	case sh.label == "" && len(b.Labels) > 0:
		l.fail(b.LabelRanges[0], "Name not expected", "%s block has no name: write %s { ... }", capital(article(b.Type)), b.Type)
	default:
		return true
	}
	l.dropped[b.Type] = true
	return false
}

// checkDynamic checks a dynamic block and makes its content carry the key and the value of its row. What a dynamic block
// itself lacks is reported when it is expanded.
func (l *loader) checkDynamic(b *hclsyntax.Block, kind string, sh shape, scope []string) *hclsyntax.Block {
	made := b.Labels[0]
	if !slices.Contains(sh.blocks, made) || made == "locals" {
		l.unknownBlock(made, b.LabelRanges[0], kind, sh)
		return nil
	}
	iterator := made
	if attr := b.Body.Attributes["iterator"]; attr != nil {
		if name := hcl.ExprAsKeyword(attr.Expr); name != "" {
			iterator = name
		}
	}
	inner := append(slices.Clone(scope), iterator)
	body := *b.Body
	body.Blocks = nil
	for name, attr := range b.Body.Attributes {
		switch name {
		case "for_each":
			l.checkExpression(attr.Expr, scope)
		case "labels":
			l.checkExpression(attr.Expr, inner)
		}
	}
	for _, c := range b.Body.Blocks {
		if c.Type == "content" {
			content := *c
			content.Body = l.checkBody(c.Body, made, inner)
			if kind == "" {
				addRow(content.Body, iterator, b.LabelRanges[0])
			}
			c = &content
		}
		body.Blocks = append(body.Blocks, c)
	}
	kept := *b
	kept.Body = &body
	return &kept
}

// addRow gives a body two arguments more: what the iterator of its dynamic block stands at.
func addRow(body *hclsyntax.Body, iterator string, where hcl.Range) {
	for name, part := range map[string]string{rowKey: "key", rowValue: "value"} {
		body.Attributes[name] = &hclsyntax.Attribute{
			Name: name,
			Expr: &hclsyntax.ScopeTraversalExpr{
				Traversal: hcl.Traversal{
					hcl.TraverseRoot{Name: iterator, SrcRange: where},
					hcl.TraverseAttr{Name: part, SrcRange: where},
				},
				SrcRange: where,
			},
			SrcRange: where, NameRange: where,
		}
	}
}

// checkExpression reports the variables, locals and functions in an expression that do not exist.
func (l *loader) checkExpression(expr hclsyntax.Expression, scope []string) {
	for _, t := range expr.Variables() {
		root := t.RootName()
		switch {
		case root == "local":
			name, where, ok := localName(t)
			if ok && l.locals[name] == nil {
				l.unknown.locals[name] = true
				l.fail(where, "Unknown local", "There is no local.%s; define it in a locals block.%s", name, suggest(name, sortedNames(l.locals)))
			}
		case !slices.Contains(scope, root):
			l.unknown.variables[root] = true
			l.fail(t.SourceRange(), "Unknown variable", "There is nothing named %q here.%s If a text is meant, put it in quotes: \"%s\".", root, didYouMean(root, scope), root)
		}
	}
	_ = hclsyntax.VisitAll(expr, func(node hclsyntax.Node) hcl.Diagnostics {
		if call, ok := node.(*hclsyntax.FunctionCallExpr); ok && !slices.Contains(functionNames, call.Name) {
			l.unknown.functions[call.Name] = true
			l.fail(call.NameRange, "Unknown function", "There is no function %q.%s", call.Name, suggest(call.Name, functionNames))
		}
		return nil
	})
}

// localName gives the local that a traversal such as local.x or local["x"] uses.
func localName(t hcl.Traversal) (name string, where hcl.Range, ok bool) {
	if len(t) < 2 {
		return "", hcl.Range{}, false
	}
	switch step := t[1].(type) {
	case hcl.TraverseAttr:
		return step.Name, t.SourceRange(), true
	case hcl.TraverseIndex:
		if k := step.Key; k.IsWhollyKnown() && !k.IsNull() && k.Type().FriendlyName() == "string" {
			return k.AsString(), t.SourceRange(), true
		}
	}
	return "", hcl.Range{}, false
}

// sortedNames gives the arguments in the order of the file.
func sortedNames[M ~map[string]*hclsyntax.Attribute](attrs M) []string {
	out := make([]string, 0, len(attrs))
	for name := range attrs {
		out = append(out, name)
	}
	slices.SortFunc(out, func(a, b string) int { return attrs[a].SrcRange.Start.Byte - attrs[b].SrcRange.Start.Byte })
	return out
}
