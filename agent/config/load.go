package config

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"unicode/utf8"

	"dimwatch/drivers"

	"github.com/hashicorp/hcl/v2"
	"github.com/hashicorp/hcl/v2/ext/dynblock"
	"github.com/hashicorp/hcl/v2/hclparse"
	"github.com/hashicorp/hcl/v2/hclsyntax"
	"github.com/zclconf/go-cty/cty"
)

// Files are the sources that diagnostics point into, by file name; Print takes them.
type Files map[string]*hcl.File

// Limits of a configuration. Chosen: far above what a site has, low enough that a slip in a list cannot fill the memory.
const (
	maxConfigBytes = 1 << 20
	maxFileBytes   = 16 << 20 // of one file that is read by the function file
	maxBlocks      = 2000     // made by one dynamic block
)

// Load reads a configuration file and gives the site that it describes, or nil where the diagnostics hold an error.
// All that is wrong is reported at once, sorted by place; warnings come with a site. kinds are the drivers by the value
// of `driver`. Nothing is dialled: besides the file itself only those named by the function file are read.
func Load(path string, kinds map[string]drivers.Kind) (*Site, Files, hcl.Diagnostics) {
	src, err := readFile(path, maxConfigBytes)
	if err != nil {
		return nil, Files{}, hcl.Diagnostics{{
			Severity: hcl.DiagError,
			Summary:  "The configuration cannot be read",
			Detail:   "The system says: " + err.Error() + ". Check the path and who may read it.",
		}}
	}
	return LoadBytes(src, path, kinds)
}

// LoadBytes is Load for a text that is at hand. path names it in diagnostics, and its folder is where relative paths
// start from.
func LoadBytes(src []byte, path string, kinds map[string]drivers.Kind) (*Site, Files, hcl.Diagnostics) {
	if problem := textProblem(src); problem != nil {
		problem.Summary = path + ": " + problem.Summary
		return nil, Files{}, hcl.Diagnostics{problem}
	}
	parser := hclparse.NewParser()
	file, diags := parser.ParseHCL(src, path)
	l := &loader{path: path, dir: filepath.Dir(path), kinds: kinds, site: &Site{File: path}}
	l.add(diags)
	if body, ok := file.Body.(*hclsyntax.Body); ok && readable(diags) {
		l.load(body)
	}
	l.diags = tidy(l.diags)
	if l.diags.HasErrors() {
		for _, d := range l.site.Devices {
			if d.Source != nil {
				_ = d.Source.Close() // nothing was dialled: there is nothing to lose
			}
		}
		return nil, Files(parser.Files()), l.diags
	}
	return l.site, Files(parser.Files()), l.diags
}

// textProblem says why a configuration is no text that can be read, nil where it is one. What is not text must not go to a
// terminal, and no line of it says anything.
func textProblem(src []byte) *hcl.Diagnostic {
	d := &hcl.Diagnostic{Severity: hcl.DiagError, Summary: "not a text file in UTF-8"}
	switch {
	case bytes.HasPrefix(src, []byte("\xff\xfe")), bytes.HasPrefix(src, []byte("\xfe\xff")):
		d.Detail = "It is UTF-16: save it as UTF-8."
	case !utf8.Valid(src), bytes.ContainsFunc(src, func(c rune) bool { return c < ' ' && c != '\t' && c != '\n' && c != '\r' || c == 0x7f }):
		d.Detail = "See whether -config names the right file, and whether it was copied whole."
	case len(bytes.TrimSpace(src)) == 0:
		d.Summary, d.Detail = "the file is empty", "It needs a site, a device and a zone; the README shows the smallest one."
	default:
		return nil
	}
	return d
}

// Print writes diagnostics with their source lines, and how many there are. Text is wrapped at width columns, not at all
// for 0; colour asks for the escape sequences of terminals.
func Print(w io.Writer, files Files, diags hcl.Diagnostics, width int, colour bool) error {
	if len(diags) == 0 {
		return nil
	}
	writer := hcl.NewDiagnosticTextWriter(w, files, uint(max(0, width)), colour)
	if err := writer.WriteDiagnostics(diags); err != nil {
		return err
	}
	failures, warnings := 0, 0
	for _, d := range diags {
		if d.Severity == hcl.DiagError {
			failures++
		} else {
			warnings++
		}
	}
	_, err := fmt.Fprintf(w, "%s, %s\n", count(failures, "error"), count(warnings, "warning"))
	return err
}

// loader is the state of one Load.
type loader struct {
	path, dir string
	kinds     map[string]drivers.Kind
	ctx       *hcl.EvalContext
	diags     hcl.Diagnostics
	row       string // the list's row that the block being decoded was made from, "" for one that stands in the file

	tables  map[string]*table // what csvdecode made, by text, to name rows
	read    map[string]string // text of the files that were read, by path
	locals  map[string]*hclsyntax.Attribute
	unknown names // what is used and not there, reported once

	site    *Site
	judge   Judge // the site's
	devices []*device

	dropped       map[string]bool // types of blocks that were left out since their labels are wrong
	hoursFailed   bool            // hours are given, but not understood
	deviceUnclear bool            // somewhere a device is named that does not exist, or none: which are used is not known

	lines map[string]hcl.Range // "zone aisles" -> where it was first named
	rows  map[string]string    // the same -> the row that it was made from
}

// load goes from names to blocks to points. Each step goes on after a mistake with what is sound, so that the next finds
// its own.
func (l *loader) load(body *hclsyntax.Body) {
	l.read = map[string]string{}
	l.dropped = map[string]bool{}
	l.tables = map[string]*table{}
	l.lines = map[string]hcl.Range{}
	l.rows = map[string]string{}
	body = l.checkNames(body)
	l.ctx = &hcl.EvalContext{Functions: l.functions()}
	for name := range l.unknown.functions {
		l.ctx.Functions[name] = unknownFunction
	}
	l.resolveLocals()

	expanded := dynblock.Expand(body, l.ctx, dynblock.OptCheckForEach(l.checkForEach))
	content, _, diags := expanded.PartialContent(rootSchema)
	l.add(diags)
	blocks := map[string]hcl.Blocks{}
	for _, b := range content.Blocks {
		blocks[b.Type] = append(blocks[b.Type], b)
	}
	l.decodeSite(blocks["site"], content.MissingItemRange)
	l.decodeAgent(blocks["agent"])
	for _, b := range blocks["device"] {
		l.decodeDevice(b)
	}
	for _, b := range blocks["zone"] {
		l.decodeZone(b)
	}
	l.row = ""
	if len(blocks["zone"]) == 0 && !diags.HasErrors() && !l.dropped["zone"] {
		l.fail(content.MissingItemRange, "No zone", `A site needs at least one zone to watch: add a block such as zone "aisles-1-4" { ... } with its setpoint, command and feedback.`)
	}
	l.openDevices()
	l.finishReads()
}

// rootSchema are the blocks of a configuration once names are checked and dynamic blocks expanded.
var rootSchema = &hcl.BodySchema{Blocks: []hcl.BlockHeaderSchema{
	{Type: "site", LabelNames: []string{"name"}},
	{Type: "agent"},
	{Type: "device", LabelNames: []string{"name"}},
	{Type: "zone", LabelNames: []string{"name"}},
}}

// checkForEach keeps a dynamic block from running over a list that failed (that is reported where it failed) or over far
// too many elements.
func (l *loader) checkForEach(list cty.Value, expr hcl.Expression, _ *hcl.EvalContext) hcl.Diagnostics {
	if !list.IsKnown() {
		return hcl.Diagnostics{{Severity: hcl.DiagError, Summary: "List not known", Subject: expr.Range().Ptr(), Extra: consequence{}}}
	}
	if !list.IsNull() && list.CanIterateElements() && list.LengthInt() > maxBlocks {
		return hcl.Diagnostics{{
			Severity: hcl.DiagError,
			Summary:  "List too long",
			Detail:   fmt.Sprintf("This list has %d elements; a dynamic block makes at most %d blocks. Split the site, or filter the list.", list.LengthInt(), maxBlocks),
			Subject:  expr.Range().Ptr(),
		}}
	}
	return nil
}

// readable says that a text that did not parse cleanly can still be decoded without inventing follow-up errors: all that is
// wrong is an attribute that is set twice.
func readable(diags hcl.Diagnostics) bool {
	for _, d := range diags {
		if d.Summary != "Attribute redefined" {
			return false
		}
	}
	return true
}

// readFile reads a regular file of at most limit bytes. A pipe or a device is refused before it is opened, since it could
// block for ever.
func readFile(path string, limit int64) ([]byte, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, shortPathError(err, path)
	}
	if !info.Mode().IsRegular() {
		return nil, fmt.Errorf("%s is not a file", path)
	}
	if info.Size() > limit {
		return nil, fmt.Errorf("%s has %d bytes; at most %d are read", path, info.Size(), limit)
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, shortPathError(err, path)
	}
	defer f.Close()
	return io.ReadAll(io.LimitReader(f, limit))
}

func shortPathError(err error, path string) error {
	var pathErr *fs.PathError
	if errors.As(err, &pathErr) {
		return fmt.Errorf("%s: %w", path, pathErr.Err)
	}
	return err
}
