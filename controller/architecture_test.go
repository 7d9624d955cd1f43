package controller_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// mayImport lists, for each room, the rooms of this module that it may import.
// Data goes one way; a room that is not in the table does not exist.
var mayImport = map[string][]string{
	"dosing/chem":              {},
	"dosing":                   {"dosing/chem"},
	"dosing/loop":              {"dosing"},
	"dosing/blend":             {"dosing", "dosing/chem", "dosing/blend/squares"},
	"dosing/blend/squares":     {},
	"dosing/blend/worksheet":   {"dosing", "dosing/chem", "dosing/chem/solution", "dosing/blend"},
	"dosing/chem/solution":     {"dosing/chem", "dosing/blend"},
	"dosing/calibration":       {"dosing", "dosing/chem"},
	"dosing/ratio":             {"dosing", "dosing/chem", "dosing/blend"},
	"safety/response":          {"dosing"},
	"safety":                   {"dosing", "safety/response"},
	"safety/line":              {"dosing", "safety"},
	"safety/alarm":             {"dosing", "safety", "safety/line", "safety/response"},
	"safety/sizing":            {"dosing", "safety"},
	"safety/ledger":            {"dosing", "safety"},
	"safety/ledger/ledgertest": {"dosing", "safety", "safety/ledger"},
	"controller":               {"dosing", "dosing/chem", "dosing/loop", "dosing/blend", "dosing/calibration", "dosing/ratio", "safety", "safety/alarm", "safety/ledger", "safety/line"},
	"controller/payload":       {"dosing", "dosing/blend", "safety", "safety/ledger", "controller"},
	"controller/config":        {"dosing", "dosing/chem", "dosing/blend", "dosing/ratio", "safety", "safety/line", "safety/sizing", "controller", "controller/payload"},
	"controller/mqtt":          {},
	"controller/prove":         {"dosing", "dosing/calibration", "safety/ledger", "controller", "controller/payload"},
	"controller/diary":         {"dosing", "dosing/blend", "safety", "safety/alarm", "safety/ledger", "controller"},
	"controller/report":        {"dosing", "dosing/blend", "dosing/ratio", "safety", "safety/alarm", "safety/ledger", "controller/diary"},
	"controller/report/sheet":  {"controller/report"},
	"controller/cluster":       {"safety/ledger"},
	"controller/store":         {"dosing", "safety/ledger", "controller/diary"},
	"controller/metrics":       {"dosing", "safety", "safety/alarm", "safety/ledger", "controller"},
	"controller/notify":        {"dosing", "safety", "safety/alarm", "controller"},
	"controller/web/webtest":   {}, // tests alone
	"controller/web":           {"dosing", "safety", "safety/alarm", "controller", "controller/report"},
	"controller/app": {"dosing", "safety", "safety/alarm", "safety/ledger", "controller", "controller/payload", "controller/config",
		"controller/mqtt", "controller/prove", "controller/diary", "controller/report", "controller/store", "controller/metrics", "controller/notify", "controller/web"},
	"controller/fleet": {"safety/ledger", "controller/app", "controller/cluster", "controller/config"},
	"controller/app/apptest": {"dosing", "safety/ledger", "controller", "controller/payload", "controller/config", "controller/mqtt",
		"controller/store", "controller/sim"},
	"controller/cluster/clustertest": {},
	"controller/sim":                 {"dosing", "dosing/chem", "safety", "safety/ledger", "controller", "controller/payload"},
	"controller/campaign":            {"dosing", "dosing/chem", "dosing/loop", "dosing/blend", "dosing/calibration", "dosing/ratio", "safety", "safety/line", "safety/sizing", "safety/ledger", "controller", "controller/payload", "controller/sim"},
	"controller/demo": {"dosing", "dosing/chem", "safety", "safety/alarm", "safety/ledger", "controller", "controller/payload", "controller/config",
		"controller/mqtt", "controller/store", "controller/web", "controller/app", "controller/sim", "deploy"},
	"controller/mutants":       {},    // a command for developers: it reads the source, and imports none of it
	"controller/desk":          {"*"}, // the work of the commands: it asks every room
	"deploy":                   {},
	"deploy/package":           {}, // a command for who releases: it makes the packages
	"deploy/kubernetes/strict": {}, // a module of its own that reads the cluster files
	"cmd/leat":                 {"*"},
}

// onlyImporter names the one room that may import a library.
var onlyImporter = map[string]string{
	"github.com/eclipse/paho.mqtt.golang": "controller/mqtt",
	"github.com/BurntSushi/toml":          "controller/config",
	"github.com/prometheus/client_golang": "controller/metrics",
	"github.com/mochi-mqtt/server/v2":     "controller/demo",
	"net/smtp":                            "controller/notify",
	"modernc.org/sqlite":                  "controller/store",
	"github.com/nats-io/nats.go":          "controller/cluster",
	"github.com/nats-io/nats-server/v2":   "controller/cluster/clustertest", // tests alone
	"github.com/alexedwards/argon2id":     "controller/web",
}

// pure are the rooms that touch nothing.
var pure = map[string]bool{"dosing": true, "dosing/chem": true, "dosing/loop": true, "dosing/blend": true, "dosing/blend/squares": true, "dosing/blend/worksheet": true, "dosing/chem/solution": true, "dosing/ratio": true, "dosing/calibration": true, "safety": true, "safety/response": true, "safety/line": true, "safety/alarm": true, "safety/sizing": true, "safety/ledger": true, "controller": true, "controller/payload": true, "controller/diary": true, "controller/report": true, "controller/report/sheet": true, "controller/prove": true}

// touching are the packages and calls by which code touches the world or depends
// on luck.
var touchingPackages = []string{"os", "net", "sync", "context", "math/rand", "log", "database/sql", "go.uber.org/zap", "syscall", "runtime", "io/ioutil"}

var touchingTimeCalls = map[string]bool{"Now": true, "Since": true, "Until": true, "After": true, "AfterFunc": true, "Tick": true,
	"Sleep": true, "NewTimer": true, "NewTicker": true}

// sealed are the types that only their own room may make, so that no one skips
// the gate or the ledger by accident.
var sealed = map[string]string{"Clearance": "safety", "Intent": "safety/ledger", "Settlement": "safety/ledger", "Receipt": "safety/ledger", "Order": "controller"}

// readingMakers may call dosing.NewReading.
var readingMakers = map[string]bool{"controller/payload": true, "dosing": true}

func TestRoomsImportOneWayAndPureRoomsTouchNothing(t *testing.T) {
	files := 0
	eachFile(t, func(room, path string, file *ast.File) {
		files++
		allowed, known := mayImport[room]
		if !known {
			t.Errorf("%s: room %q is not in the table of rooms; add it there or move the file", path, room)
			return
		}
		for _, spec := range file.Imports {
			imported, _ := strconv.Unquote(spec.Path.Value)
			if inner, ok := strings.CutPrefix(imported, "leat/"); ok {
				if !allows(allowed, inner) {
					t.Errorf("%s: room %q may not import %q", path, room, inner)
				}
				continue
			}
			for library, owner := range onlyImporter {
				if (imported == library || strings.HasPrefix(imported, library+"/")) && room != owner {
					t.Errorf("%s: only %q imports %s", path, owner, library)
				}
			}
			if pure[room] {
				for _, touching := range touchingPackages {
					if imported == touching || strings.HasPrefix(imported, touching+"/") {
						t.Errorf("%s: pure room %q imports %s", path, room, imported)
					}
				}
			}
		}
		if pure[room] {
			checkTimeCalls(t, path, file)
		}
		checkSealed(t, room, path, file)
	})
	if files < 20 {
		t.Fatalf("read only %d files: the walk does not see the tree", files)
	}
}

func TestEveryRoomSaysWhatItIs(t *testing.T) {
	documented := map[string]bool{}
	eachFile(t, func(room, _ string, file *ast.File) {
		documented[room] = documented[room] || file.Doc != nil && strings.TrimSpace(file.Doc.Text()) != ""
	})
	for room, ok := range documented {
		if !ok {
			t.Errorf("room %q has no package comment", room)
		}
	}
}

func eachFile(t *testing.T, visit func(room, path string, file *ast.File)) {
	t.Helper()
	root := ".."
	fset := token.NewFileSet()
	err := filepath.WalkDir(root, func(path string, entry fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if entry.IsDir() && (entry.Name() == "testdata" || strings.HasPrefix(entry.Name(), ".") && path != root) {
			return filepath.SkipDir
		}
		if entry.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return nil
		}
		file, err := parser.ParseFile(fset, path, nil, parser.ParseComments)
		if err != nil {
			return err
		}
		room, err := filepath.Rel(root, filepath.Dir(path))
		if err != nil {
			return err
		}
		visit(filepath.ToSlash(room), path, file)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

func allows(allowed []string, room string) bool {
	for _, a := range allowed {
		if a == "*" || a == room {
			return true
		}
	}
	return false
}

func checkTimeCalls(t *testing.T, path string, file *ast.File) {
	ast.Inspect(file, func(n ast.Node) bool {
		selector, ok := n.(*ast.SelectorExpr)
		if !ok {
			return true
		}
		if name, ok := selector.X.(*ast.Ident); ok && name.Name == "time" && touchingTimeCalls[selector.Sel.Name] {
			t.Errorf("%s: a pure room calls time.%s; time comes in as an argument", path, selector.Sel.Name)
		}
		return true
	})
}

// checkSealed forbids literals and new of the sealed types, and NewReading, outside
// their rooms.
func checkSealed(t *testing.T, room, path string, file *ast.File) {
	ast.Inspect(file, func(n ast.Node) bool {
		switch node := n.(type) {
		case *ast.CompositeLit:
			forbid(t, room, path, node.Type)
		case *ast.CallExpr:
			if name, ok := node.Fun.(*ast.Ident); ok && name.Name == "new" && len(node.Args) == 1 {
				forbid(t, room, path, node.Args[0])
			}
			if selector, ok := node.Fun.(*ast.SelectorExpr); ok && selector.Sel.Name == "NewReading" && !readingMakers[room] {
				t.Errorf("%s: only controller/payload makes readings", path)
			}
		}
		return true
	})
}

func forbid(t *testing.T, room, path string, kind ast.Expr) {
	selector, ok := kind.(*ast.SelectorExpr)
	if !ok {
		return
	}
	if owner, ok := sealed[selector.Sel.Name]; ok && owner != room {
		if pkg, ok := selector.X.(*ast.Ident); ok && strings.HasSuffix(owner, pkg.Name) {
			t.Errorf("%s: %s.%s is made only in %q", path, pkg.Name, selector.Sel.Name, owner)
		}
	}
}
