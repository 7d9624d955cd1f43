package controller_test

import (
	"bytes"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"strings"
	"testing"
)

// The limits of the house: a file, a type and a function that are read at one sitting.
const (
	mostLines   = 400 // of a file
	mostMethods = 25  // of a type
	mostFunc    = 60  // lines of a function
)

// larger are the exceptions of today with their size. None may grow, and one that is within
// the limit again is struck out: so the list only gets shorter.
var larger = map[string]int{}

func TestNoFileTypeOrFunctionOfTheHouseGrowsBeyondWhatIsRead(t *testing.T) {
	found := map[string]int{}
	methods := map[string]int{}
	eachFile(t, func(room, path string, file *ast.File) {
		name := strings.TrimPrefix(path, "../")
		body, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if n := bytes.Count(body, []byte("\n")); n > mostLines {
			found[name] = n
		}
		lines := token.NewFileSet()
		parsed, err := parser.ParseFile(lines, path, body, parser.SkipObjectResolution)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range parsed.Decls {
			f, ok := d.(*ast.FuncDecl)
			if !ok {
				continue
			}
			of := receiver(f)
			if of != "" {
				methods[room+"."+of]++
				of += "."
			}
			if n := lines.Position(f.End()).Line - lines.Position(f.Pos()).Line + 1; n > mostFunc {
				found[room+"."+of+f.Name.Name+"()"] = n
			}
		}
	})
	for kind, n := range methods {
		if n > mostMethods {
			found[kind] = n
		}
	}
	for what, n := range found {
		switch most, known := larger[what]; {
		case !known:
			t.Errorf("%s has %d; most are %d lines of a file, %d methods of a type, %d lines of a function: split it by what changes together", what, n, mostLines, mostMethods, mostFunc)
		case n > most:
			t.Errorf("%s has grown from %d to %d", what, most, n)
		}
	}
	for what := range larger {
		if found[what] == 0 {
			t.Errorf("%s is within the limits again: strike it out here", what)
		}
	}
}

// receiver is the type that a method belongs to; "" for a function.
func receiver(f *ast.FuncDecl) string {
	if f.Recv == nil || len(f.Recv.List) == 0 {
		return ""
	}
	kind := f.Recv.List[0].Type
	if star, ok := kind.(*ast.StarExpr); ok {
		kind = star.X
	}
	if of, ok := kind.(*ast.IndexExpr); ok {
		kind = of.X
	}
	if name, ok := kind.(*ast.Ident); ok {
		return name.Name
	}
	return ""
}
