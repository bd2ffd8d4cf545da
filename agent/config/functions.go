package config

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/hashicorp/hcl/v2/ext/tryfunc"
	"github.com/zclconf/go-cty/cty"
	"github.com/zclconf/go-cty/cty/function"
	"github.com/zclconf/go-cty/cty/function/stdlib"
)

// standard are the functions that only compute. None reads the clock, so that a file means the same at every start.
var standard = map[string]function.Function{
	"abs": stdlib.AbsoluteFunc, "ceil": stdlib.CeilFunc, "floor": stdlib.FloorFunc, "int": stdlib.IntFunc, "log": stdlib.LogFunc,
	"max": stdlib.MaxFunc, "min": stdlib.MinFunc, "parseint": stdlib.ParseIntFunc, "pow": stdlib.PowFunc, "signum": stdlib.SignumFunc,

	"chomp": stdlib.ChompFunc, "format": stdlib.FormatFunc, "formatlist": stdlib.FormatListFunc, "indent": stdlib.IndentFunc,
	"join": stdlib.JoinFunc, "lower": stdlib.LowerFunc, "regex": stdlib.RegexFunc, "regexall": stdlib.RegexAllFunc,
	"regexreplace": stdlib.RegexReplaceFunc, "replace": stdlib.ReplaceFunc, "split": stdlib.SplitFunc, "strlen": stdlib.StrlenFunc,
	"strrev": stdlib.ReverseFunc, "substr": stdlib.SubstrFunc, "title": stdlib.TitleFunc, "trim": stdlib.TrimFunc,
	"trimprefix": stdlib.TrimPrefixFunc, "trimspace": stdlib.TrimSpaceFunc, "trimsuffix": stdlib.TrimSuffixFunc, "upper": stdlib.UpperFunc,

	"chunklist": stdlib.ChunklistFunc, "coalesce": stdlib.CoalesceFunc, "coalescelist": stdlib.CoalesceListFunc,
	"compact": stdlib.CompactFunc, "concat": stdlib.ConcatFunc, "contains": stdlib.ContainsFunc, "distinct": stdlib.DistinctFunc,
	"element": stdlib.ElementFunc, "flatten": stdlib.FlattenFunc, "hasindex": stdlib.HasIndexFunc, "index": stdlib.IndexFunc,
	"keys": stdlib.KeysFunc, "length": stdlib.LengthFunc, "lookup": stdlib.LookupFunc, "merge": stdlib.MergeFunc, "range": stdlib.RangeFunc,
	"reverse": stdlib.ReverseListFunc, "setintersection": stdlib.SetIntersectionFunc, "setproduct": stdlib.SetProductFunc,
	"setsubtract": stdlib.SetSubtractFunc, "setunion": stdlib.SetUnionFunc, "slice": stdlib.SliceFunc, "sort": stdlib.SortFunc,
	"values": stdlib.ValuesFunc, "zipmap": stdlib.ZipmapFunc,

	"jsondecode": stdlib.JSONDecodeFunc, "jsonencode": stdlib.JSONEncodeFunc,
	"tobool": stdlib.MakeToFunc(cty.Bool), "tonumber": stdlib.MakeToFunc(cty.Number), "tostring": stdlib.MakeToFunc(cty.String),
	"tolist": stdlib.MakeToFunc(cty.List(cty.DynamicPseudoType)), "tomap": stdlib.MakeToFunc(cty.Map(cty.DynamicPseudoType)),
	"toset": stdlib.MakeToFunc(cty.Set(cty.DynamicPseudoType)),
	"can":   tryfunc.CanFunc, "try": tryfunc.TryFunc,
}

// functionNames are all that there are, for hints.
var functionNames = slices.Sorted(maps.Keys(withReaders(&loader{})))

// functions gives the functions of one load. Those that reach outside of the file note what they read.
func (l *loader) functions() map[string]function.Function { return withReaders(l) }

func withReaders(l *loader) map[string]function.Function {
	out := maps.Clone(standard)
	out["env"] = envFunction(l)
	out["file"] = fileFunction(l)
	out["csvdecode"] = csvFunction(l)
	return out
}

// unknownFunction stands in for one that does not exist, which has been reported: what uses it is unknown.
var unknownFunction = function.New(&function.Spec{
	VarParam: &function.Parameter{Name: "args", Type: cty.DynamicPseudoType, AllowNull: true, AllowUnknown: true, AllowDynamicType: true},
	Type:     func([]cty.Value) (cty.Type, error) { return cty.DynamicPseudoType, nil },
	Impl:     func([]cty.Value, cty.Type) (cty.Value, error) { return cty.DynamicVal, nil },
})

// envFunction is env(NAME) and env(NAME, default): the text of an environment variable, or the default where it is not set or
// empty. Without a default it is an error then, since a site must not come up with half of an address.
func envFunction(l *loader) function.Function {
	return function.New(&function.Spec{
		Params:   []function.Parameter{{Name: "name", Type: cty.String}},
		VarParam: &function.Parameter{Name: "default", Type: cty.String, AllowNull: true},
		Type:     function.StaticReturnType(cty.String),
		Impl: func(args []cty.Value, _ cty.Type) (cty.Value, error) {
			name := args[0].AsString()
			if len(args) > 2 {
				return cty.NilVal, errors.New("env takes a name and one default")
			}
			if !slices.Contains(l.site.Reads.Env, name) {
				l.site.Reads.Env = append(l.site.Reads.Env, name)
			}
			if value := os.Getenv(name); value != "" {
				return cty.StringVal(value), nil
			}
			if len(args) == 2 {
				return args[1], nil
			}
			return cty.NilVal, function.NewArgErrorf(0, "the environment variable %s is not set; set it, or give a default: env(%q, \"...\")", name, name)
		},
	})
}

// fileFunction is file(PATH): the text of a file. A relative path starts at the folder of the configuration.
func fileFunction(l *loader) function.Function {
	return function.New(&function.Spec{
		Params: []function.Parameter{{Name: "path", Type: cty.String}},
		Type:   function.StaticReturnType(cty.String),
		Impl: func(args []cty.Value, _ cty.Type) (cty.Value, error) {
			name := args[0].AsString()
			path := l.resolve(name)
			if text, ok := l.read[path]; ok {
				return cty.StringVal(text), nil
			}
			data, err := readFile(path, maxFileBytes)
			if err != nil {
				return cty.NilVal, function.NewArgErrorf(0, "%v; the path starts at the folder of the configuration", err)
			}
			if !utf8.Valid(data) {
				return cty.NilVal, function.NewArgErrorf(0, "%s is no text in UTF-8; save it as UTF-8", path)
			}
			text := string(bytes.TrimPrefix(data, []byte("\ufeff")))
			l.read[path] = text
			return cty.StringVal(text), nil
		},
	})
}

// resolve gives a path of the configuration as the program can use it.
func (l *loader) resolve(path string) string {
	if path == "" || filepath.IsAbs(path) {
		return path
	}
	return filepath.Join(l.dir, path)
}

// finishReads lists the files that were read.
func (l *loader) finishReads() {
	l.site.Reads.Files = slices.Sorted(maps.Keys(l.read))
	slices.Sort(l.site.Reads.Env)
}

// table is what csvdecode gave for one text: which line each row came from.
type table struct {
	file  string // base name of the file, "the CSV text" where it did not come from one
	row   cty.Type
	rows  []cty.Value
	lines map[string][]string // by the cells of a row: rows may be alike
}

// csvFunction is csvdecode(TEXT): a list with an object for each row, with the first line's names. Every value is a text;
// where a number is wanted it is converted. Columns are parted by the first of comma, semicolon and tab that is in the
// first line, and spaces around a cell do not count, since a list of points is mostly saved from a spreadsheet.
func csvFunction(l *loader) function.Function {
	decode := func(text string) (*table, error) {
		if t := l.tables[text]; t != nil {
			return t, nil
		}
		t, err := decodeCSV(text, l.fileOf(text))
		if err == nil {
			l.tables[text] = t
		}
		return t, err
	}
	return function.New(&function.Spec{
		Params: []function.Parameter{{Name: "text", Type: cty.String}},
		Type: func(args []cty.Value) (cty.Type, error) {
			if !args[0].IsKnown() {
				return cty.DynamicPseudoType, nil
			}
			t, err := decode(args[0].AsString())
			if err != nil {
				return cty.NilType, err
			}
			return cty.List(t.row), nil
		},
		Impl: func(args []cty.Value, _ cty.Type) (cty.Value, error) {
			t, err := decode(args[0].AsString())
			if err != nil {
				return cty.NilVal, err
			}
			if len(t.rows) == 0 {
				return cty.ListValEmpty(t.row), nil
			}
			return cty.ListVal(t.rows), nil
		},
	})
}

// decodeCSV reads a text with a header. Errors name file and line.
func decodeCSV(text, file string) (*table, error) {
	t := &table{file: file, lines: map[string][]string{}}
	first, _, _ := strings.Cut(text, "\n")
	r := csv.NewReader(strings.NewReader(text))
	r.TrimLeadingSpace = true
	for _, c := range ",;\t" {
		if strings.ContainsRune(first, c) {
			r.Comma = c
			break
		}
	}
	header, err := r.Read()
	if err == io.EOF {
		return nil, fmt.Errorf("%s is empty; its first line must name the columns", file)
	}
	if err != nil {
		return nil, csvError(file, err)
	}
	types := map[string]cty.Type{}
	for i, name := range header {
		header[i] = strings.TrimSpace(name)
		if header[i] == "" {
			return nil, fmt.Errorf("%s line 1: column %d has no name", file, i+1)
		}
		if _, twice := types[header[i]]; twice {
			return nil, fmt.Errorf("%s line 1: two columns are named %q; rename one", file, header[i])
		}
		types[header[i]] = cty.String
	}
	for {
		cells, err := r.Read()
		if err == io.EOF {
			t.row = cty.Object(types)
			return t, nil
		}
		if err != nil {
			return nil, csvError(file, err)
		}
		row := map[string]cty.Value{}
		for i, cell := range cells {
			row[header[i]] = cty.StringVal(strings.TrimSpace(cell))
		}
		line, _ := r.FieldPos(0)
		value := cty.ObjectVal(row)
		t.rows = append(t.rows, value)
		t.lines[cellsOf(value)] = append(t.lines[cellsOf(value)], strconv.Itoa(line))
	}
}

func csvError(file string, err error) error {
	var parse *csv.ParseError
	if !errors.As(err, &parse) {
		return fmt.Errorf("%s: %w", file, err)
	}
	if errors.Is(err, csv.ErrFieldCount) {
		return fmt.Errorf("%s line %d: not as many cells as the first line has columns; fill the row up, or quote cells that hold a separator", file, parse.Line)
	}
	return fmt.Errorf("%s line %d column %d: %v; a quoted cell begins and ends with \" and doubles each \" within", file, parse.Line, parse.Column, parse.Err)
}

// fileOf names the file that a text was read from.
func (l *loader) fileOf(text string) string {
	for _, path := range slices.Sorted(maps.Keys(l.read)) {
		if l.read[path] == text {
			return filepath.Base(path)
		}
	}
	return "the CSV text"
}

// cellsOf makes the rows of a table comparable; "" for what csvdecode does not give.
func cellsOf(v cty.Value) string {
	if !v.IsWhollyKnown() || v.IsNull() || !v.Type().IsObjectType() {
		return ""
	}
	var out strings.Builder
	for it := v.ElementIterator(); it.Next(); { // in the order of the names
		name, cell := it.Element()
		if cell.IsNull() || cell.Type() != cty.String {
			return ""
		}
		fmt.Fprintf(&out, "%q%q", name.AsString(), cell.AsString())
	}
	return out.String()
}

// rowName says from which row of a list a block was made: "points.csv line 4" where the row came from csvdecode as it is,
// else the key or the number of the element.
func (l *loader) rowName(key, value cty.Value) string {
	cells := cellsOf(value)
	for _, text := range slices.Sorted(maps.Keys(l.tables)) {
		switch lines := l.tables[text].lines[cells]; {
		case cells == "" || len(lines) == 0:
		case len(lines) == 1:
			return l.tables[text].file + " line " + lines[0]
		default:
			return l.tables[text].file + " lines " + list(lines, "and")
		}
	}
	if !key.IsKnown() || key.IsNull() {
		return "a row that is not known"
	}
	switch key.Type() {
	case cty.Number:
		n, _ := key.AsBigFloat().Int64()
		return fmt.Sprintf("element %d of the list", n+1)
	case cty.String:
		return fmt.Sprintf("the element with key %q", key.AsString())
	}
	return "one element of the list"
}
