package main

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// room is what one folder may import besides the standard library. A name that ends in /... covers all below it.
type room struct {
	imports []string
	tests   []string // more for its test files
	pure    bool     // no clock, and no os, net or log: values in, values out
}

var hclModules = []string{"github.com/hashicorp/hcl/v2/...", "github.com/zclconf/go-cty/..."}

// rooms is the import law: every folder with Go files has a row.
var rooms = map[string]room{
	"loops":              {pure: true},
	"drivers":            {imports: hclModules},
	"drivers/plan":       {pure: true},
	"drivers/modbus":     {imports: join(hclModules, "dimwatch/drivers", "dimwatch/drivers/plan", "github.com/goburrow/modbus"), tests: []string{"github.com/simonvetter/modbus", "golang.org/x/sys/unix"}},
	"drivers/trend":      {imports: join(hclModules, "dimwatch/drivers")},
	"drivers/drivertest": {imports: join(hclModules, "dimwatch/drivers")},
	"drivers/all":        {imports: []string{"dimwatch/drivers", "dimwatch/drivers/modbus", "dimwatch/drivers/trend"}},
	"configs":            {},
	"agent": {imports: join(hclModules, "dimwatch/agent/...", "dimwatch/configs", "dimwatch/drivers", "dimwatch/drivers/all", "dimwatch/drivers/trend", "dimwatch/loops",
		"go.uber.org/zap/...", "github.com/prometheus/common/version", "github.com/prometheus/exporter-toolkit/web",
		"github.com/schollz/progressbar/v3", "golang.org/x/term", "golang.org/x/sys/unix"),
		tests: []string{"github.com/simonvetter/modbus"}},
	"agent/config":  {imports: join(hclModules, "dimwatch/drivers")},
	"agent/poll":    {imports: []string{"dimwatch/drivers", "go.uber.org/zap/..."}},
	"agent/energy":  {imports: []string{"dimwatch/loops"}, pure: true},
	"agent/history": {pure: true},
	"agent/judge":   {imports: []string{"dimwatch/agent/config", "dimwatch/agent/energy", "dimwatch/agent/history", "dimwatch/drivers", "dimwatch/loops"}, tests: hclModules},
	"agent/metrics": {imports: []string{"dimwatch/agent/judge", "dimwatch/agent/poll", "dimwatch/loops", "github.com/prometheus/client_golang/..."}, tests: []string{"dimwatch/agent/config", "dimwatch/drivers", "github.com/prometheus/common/expfmt"}},
	"agent/store":   {imports: []string{"go.etcd.io/bbolt/..."}},
	"agent/demo":    {imports: []string{"github.com/simonvetter/modbus"}},
}

// testImports are what test files of every room may use.
var testImports = []string{
	"github.com/google/go-cmp/...", "github.com/rogpeppe/go-internal/testscript", "go.uber.org/goleak", "pgregory.net/rapid", "dimwatch/drivers/drivertest",
}

func join(list []string, more ...string) []string { return append(slices.Clone(list), more...) }

// busLibraries are those that could write to a controller.
var busLibraries = []string{"github.com/goburrow/modbus", "github.com/simonvetter/modbus"}

// TestRooms holds the tree to the import law, and to two more: a pure room reads no clock, and nothing but a test
// calls what writes on a bus.
func TestRooms(t *testing.T) {
	files, seen := 0, map[string]bool{}
	err := filepath.WalkDir("..", func(name string, entry fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if base := entry.Name(); entry.IsDir() {
			if base == "testdata" || base == "vendor" || len(base) > 2 && base[0] == '.' {
				return filepath.SkipDir
			}
			return nil
		}
		if !strings.HasSuffix(name, ".go") {
			return nil
		}
		src, err := os.ReadFile(name)
		if err != nil {
			return err
		}
		folder, _ := filepath.Rel("..", filepath.Dir(name))
		folder = filepath.ToSlash(folder)
		files++
		seen[folder] = true
		for _, problem := range breaches(t, folder, filepath.Base(name), src) {
			t.Errorf("%s: %s", filepath.ToSlash(name), problem)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if files < 50 || !seen["loops"] || !seen["drivers/modbus"] {
		t.Errorf("only %d files were looked at, in %v: the walk has lost its way", files, seen)
	}
}

// breaches says how a file breaks the law.
func breaches(t *testing.T, folder, name string, src []byte) (problems []string) {
	t.Helper()
	fset := token.NewFileSet()
	file, err := parser.ParseFile(fset, name, src, parser.SkipObjectResolution)
	if err != nil {
		return []string{err.Error()}
	}
	say := func(at token.Pos, format string, args ...any) {
		problems = append(problems, fmt.Sprintf("line %d: ", fset.Position(at).Line)+fmt.Sprintf(format, args...))
	}
	law, known := rooms[folder]
	if !known {
		return []string{"the folder has no row in the import law"}
	}
	isTest := strings.HasSuffix(name, "_test.go")
	bus, clock := false, ""
	for _, spec := range file.Imports {
		imported, _ := strconv.Unquote(spec.Path.Value)
		bus = bus || slices.Contains(busLibraries, imported)
		if imported == "time" {
			clock = "time"
			if spec.Name != nil {
				clock = spec.Name.Name
			}
		}
		if spec.Name != nil && spec.Name.Name == "." {
			say(spec.Pos(), "imports %s into its own names", imported)
		}
		switch {
		case isStandard(imported):
			if imported == "testing" && !isTest && folder != "drivers/drivertest" {
				say(spec.Pos(), "testing is for tests and drivertest")
			}
			if root, _, _ := strings.Cut(imported, "/"); law.pure && !isTest && slices.Contains([]string{"os", "net", "log", "syscall"}, root) {
				say(spec.Pos(), "a pure room must not import %s", imported)
			}
		case imported == "dimwatch/"+folder && isTest: // an external test
		case allows(law.imports, imported):
		case isTest && (allows(law.tests, imported) || allows(testImports, imported)):
		default:
			say(spec.Pos(), "%s must not import %s", folder, imported)
		}
	}
	if isTest {
		return problems
	}
	ast.Inspect(file, func(n ast.Node) bool {
		selector, ok := n.(*ast.SelectorExpr)
		if !ok {
			return true
		}
		if of, ok := selector.X.(*ast.Ident); ok && law.pure && clock != "" && of.Name == clock && readsClock[selector.Sel.Name] {
			say(selector.Pos(), "a pure room must not call time.%s", selector.Sel.Name)
		}
		if bus && writes(selector.Sel.Name) {
			say(selector.Pos(), "%s writes to a controller", selector.Sel.Name)
		}
		return true
	})
	return problems
}

// readsClock are the functions of package time that know what time it is.
var readsClock = map[string]bool{
	"Now": true, "Since": true, "Until": true, "Sleep": true, "After": true, "AfterFunc": true, "Tick": true,
	"NewTimer": true, "NewTicker": true,
}

// writes says whether a name is one that a bus library writes with: WriteSingleCoil, MaskWriteRegister, WriteUint32s and
// so on. A plain Write is a connection's.
func writes(name string) bool {
	return strings.HasPrefix(name, "MaskWrite") || strings.HasPrefix(name, "ReadWriteMultiple") ||
		strings.HasPrefix(name, "Write") && len(name) > len("Write") && name != "WriteString"
}

// isStandard says whether a path is of the standard library: its first part has no dot.
func isStandard(imported string) bool {
	root, _, _ := strings.Cut(imported, "/")
	return root != "dimwatch" && !strings.Contains(root, ".")
}

func allows(list []string, imported string) bool {
	return slices.ContainsFunc(list, func(row string) bool {
		if tree, ok := strings.CutSuffix(row, "/..."); ok {
			return imported == tree || strings.HasPrefix(imported, tree+"/")
		}
		return path.Clean(row) == imported
	})
}

// The law bites: each of these files breaks it in one way, and the last not at all.
func TestRoomsBite(t *testing.T) {
	for _, c := range []struct{ folder, name, src, want string }{
		{"loops", "a.go", `import "os"`, "line 1: a pure room must not import os"},
		{"loops", "a.go", `import "net/http"`, "line 1: a pure room must not import net/http"},
		{"loops", "a.go", `import "dimwatch/drivers"`, "line 1: loops must not import dimwatch/drivers"},
		{"loops", "a.go", `import "time"; var x = time.Now()`, "line 1: a pure room must not call time.Now"},
		{"drivers/plan", "a.go", `import clock "time"; func f() { clock.Sleep(1) }`, "line 1: a pure room must not call time.Sleep"},
		{"agent/demo", "a.go", `import "dimwatch/loops"`, "line 1: agent/demo must not import dimwatch/loops"},
		{"agent/judge", "a.go", `import "github.com/prometheus/client_golang/prometheus"`, "line 1: agent/judge must not import github.com/prometheus/client_golang/prometheus"},
		{"drivers/trend", "a.go", `import "go.uber.org/zap"`, "line 1: drivers/trend must not import go.uber.org/zap"},
		{"drivers/modbus", "a.go", `import "github.com/goburrow/modbus"; func f(c modbus.Client) { c.WriteSingleCoil(1, 0) }`, "line 1: WriteSingleCoil writes to a controller"},
		{"agent/demo", "a.go", `import "github.com/simonvetter/modbus"; func f(c *modbus.ModbusClient) { c.WriteUint32s(1, nil) }`, "line 1: WriteUint32s writes to a controller"},
		{"agent/judge", "a.go", `import "go.etcd.io/bbolt"`, "line 1: agent/judge must not import go.etcd.io/bbolt"},
		{"agent/poll", "a.go", `import "testing"`, "line 1: testing is for tests and drivertest"},
		{"agent/poll", "a.go", `import . "fmt"`, "line 1: imports fmt into its own names"},
		{"alarms", "a.go", ``, "the folder has no row in the import law"},
		{"loops", "a.go", `import ("math"; "time"); const x = time.Second`, ""},
	} {
		got := strings.Join(breaches(t, c.folder, c.name, []byte("package x; "+c.src)), "; ")
		if got != c.want {
			t.Errorf("%s %s: %q, want %q", c.folder, c.src, got, c.want)
		}
	}
}
