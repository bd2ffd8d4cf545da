package config

import (
	"fmt"
	"sort"
	"strings"

	"github.com/hashicorp/hcl/v2"
	"github.com/hashicorp/hcl/v2/hclsyntax"
)

// row is kept in Diagnostic.Extra: the row of a list from which the block at fault was made, since all blocks of one
// dynamic block share its lines.
type row string

// consequence marks a diagnostic that only follows from another; it is dropped.
type consequence struct{}

// fail reports an error at a place.
func (l *loader) fail(at hcl.Range, summary, detail string, args ...any) {
	l.report(hcl.DiagError, at, summary, fmt.Sprintf(detail, args...))
}

// warn reports what loads and is likely not meant.
func (l *loader) warn(at hcl.Range, summary, detail string, args ...any) {
	l.report(hcl.DiagWarning, at, summary, fmt.Sprintf(detail, args...))
}

func (l *loader) report(severity hcl.DiagnosticSeverity, at hcl.Range, summary, detail string) {
	l.add(hcl.Diagnostics{{Severity: severity, Summary: summary, Detail: detail, Subject: &at}})
}

// add takes diagnostics in, with the row that is being decoded. Those of HCL are completed with a hint.
func (l *loader) add(diags hcl.Diagnostics) {
	for _, d := range diags {
		if _, ok := d.Extra.(consequence); ok {
			l.diags = append(l.diags, d)
			continue
		}
		d = explain(d)
		if l.row != "" {
			d.Extra = row(l.row)
		}
		l.diags = append(l.diags, d)
	}
}

// explain completes HCL's own messages: about a block on one line, and about an attribute that an object does not have, such as
// a column that a CSV list lacks, with the names that it has.
func explain(d *hcl.Diagnostic) *hcl.Diagnostic {
	if d.Summary == "Invalid single-argument block definition" {
		c := *d
		c.Detail += " Write each argument on a line of its own."
		return &c
	}
	traversal, ok := d.Expression.(*hclsyntax.ScopeTraversalExpr)
	if !ok || d.Summary != "Unsupported attribute" || d.EvalContext == nil {
		return d
	}
	for n := 1; n < len(traversal.Traversal); n++ {
		value, diags := traversal.Traversal[:n].TraverseAbs(d.EvalContext)
		attr, ok := traversal.Traversal[n].(hcl.TraverseAttr)
		if diags.HasErrors() || !ok || !value.Type().IsObjectType() || value.Type().HasAttribute(attr.Name) {
			continue
		}
		var names []string
		for name := range value.Type().AttributeTypes() {
			names = append(names, name)
		}
		c := *d
		c.Detail += suggest(attr.Name, names)
		c.Expression, c.EvalContext = nil, nil // the values of one row of many would mislead
		return &c
	}
	return d
}

// tidy sorts diagnostics by place, drops those that only follow from others, and makes one of those that differ in nothing
// but their row.
func tidy(diags hcl.Diagnostics) hcl.Diagnostics {
	var out hcl.Diagnostics
	seen := map[string]*hcl.Diagnostic{}
	rows := map[*hcl.Diagnostic][]string{}
	for _, d := range diags {
		if _, ok := d.Extra.(consequence); ok {
			continue
		}
		key := fmt.Sprintf("%d|%s|%s|%v", d.Severity, d.Summary, d.Detail, place(d))
		kept := seen[key]
		if kept == nil {
			c := *d
			kept = &c
			seen[key] = kept
			out = append(out, kept)
		}
		if r, ok := d.Extra.(row); ok && (len(rows[kept]) == 0 || rows[kept][len(rows[kept])-1] != string(r)) {
			rows[kept] = append(rows[kept], string(r))
		}
	}
	if len(out) == 0 && len(diags) > 0 {
		// Every one was thought to follow from another: better a poor message than a bad file taken for good.
		out = append(out, diags...)
	}
	for _, d := range out {
		if r := rows[d]; len(r) > 0 {
			d.Detail = strings.TrimSpace(d.Detail + "\n" + whichRows(r))
		}
	}
	sort.SliceStable(out, func(i, j int) bool {
		a, b := place(out[i]), place(out[j])
		if a.Filename != b.Filename {
			return a.Filename < b.Filename
		}
		return a.Start.Byte < b.Start.Byte
	})
	return out
}

// whichRows names the rows of a list, the first few of many.
func whichRows(rows []string) string {
	const most = 4
	if len(rows) > most {
		return fmt.Sprintf("In %s and %d more.", strings.Join(rows[:most], ", "), len(rows)-most)
	}
	return "In " + list(rows, "and") + "."
}

func place(d *hcl.Diagnostic) hcl.Range {
	if d.Subject == nil {
		return hcl.Range{}
	}
	return *d.Subject
}

// at gives a place for use in a text: "site.hcl line 12".
func at(r hcl.Range) string { return fmt.Sprintf("%s line %d", r.Filename, r.Start.Line) }

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
