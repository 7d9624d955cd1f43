package controller_test

import (
	"go/ast"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// retired are words that had two meanings or none: what a person reads uses the glossary's.
var retired = regexp.MustCompile(`(?i)\b(was wanted|withholds doses|withheld doses|needless (inhibit|stop)s?|adrift|unbidden|clairvoyant|yardsticks?|gone sour|second yes|decide_every|arm_again|(ph|ec|temperature)-unfit|(hour|day)-cap|stopped-by-person|node-silent|broker-down)\b`)

// apart are files in which such a word is a name that a person may still type, or a stream of
// chance whose name decides the night that a seed is.
var apart = map[string]bool{"../controller/config/renamed.go": true}

func TestTextsUseTheWordsOfTheGlossary(t *testing.T) {
	texts := 0
	judge := func(where, text string) {
		texts++
		if old := retired.FindString(text); old != "" {
			t.Errorf("%s: %q is a retired word; deploy/glossary.md has the one to use", where, old)
		}
	}
	eachFile(t, func(room, path string, file *ast.File) {
		if room == "controller/mutants" || apart[path] {
			return
		}
		ast.Inspect(file, func(n ast.Node) bool {
			if literal, ok := n.(*ast.BasicLit); ok && literal.Kind == token.STRING {
				text, err := strconv.Unquote(literal.Value)
				if err != nil {
					t.Fatal(err)
				}
				judge(path, text)
			}
			return true
		})
	})
	for _, pattern := range []string{"web/page/*.html", "web/language/*.txt", "report/sheet/*.html", "../deploy/*.md", "../deploy/*.toml", "../README.md"} {
		paths, err := filepath.Glob(pattern)
		if err != nil || len(paths) == 0 {
			t.Fatalf("%s: %v", pattern, err)
		}
		for _, path := range paths {
			body, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			for line := range strings.Lines(string(body)) {
				judge(path, line)
			}
		}
	}
	if texts < 5000 {
		t.Errorf("only %d texts were read", texts)
	}
}
