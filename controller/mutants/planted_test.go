package main

import (
	"leat/controller/campaign"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"go/ast"
	"go/parser"
	"go/token"
)

func aTree(t *testing.T) *tree {
	t.Helper()
	tree, err := newTree(".")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(tree.remove)
	return tree
}

// A bug whose place has moved, or that does not compile, would be found by nothing.
func TestEachPlantedBugStillAppliesAndCompiles(t *testing.T) {
	tree := aTree(t)
	var folders []string
	for _, b := range planted() {
		if folder := filepath.ToSlash(filepath.Dir(b.file)); !slices.Contains(folders, folder) {
			folders = append(folders, folder)
		}
	}
	c, err := tree.newCompiler(folders...)
	if err != nil {
		t.Fatal(err)
	}
	for _, b := range planted() {
		if content, err := b.content(tree.root); err != nil {
			t.Error(err)
		} else if err := c.check(b.file, content); err != nil {
			t.Errorf("%s: %v", b.name, err)
		}
	}
}

func TestEachPlantedBugNamesATestThatExists(t *testing.T) {
	tree := aTree(t)
	tests := map[string]map[string]bool{}
	for _, b := range planted() {
		if tests[b.pkg] == nil {
			tests[b.pkg] = testsOf(t, filepath.Join(tree.root, b.pkg))
		}
		if !tests[b.pkg][b.test] {
			t.Errorf("%s: %s has no test %s", b.name, b.pkg, b.test)
		}
	}
}

func testsOf(t *testing.T, folder string) map[string]bool {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(folder, "*_test.go"))
	if err != nil {
		t.Fatal(err)
	}
	all := map[string]bool{}
	for _, path := range files {
		file, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.SkipObjectResolution)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range file.Decls {
			if f, ok := d.(*ast.FuncDecl); ok && f.Recv == nil && strings.HasPrefix(f.Name.Name, "Test") {
				all[f.Name.Name] = true
			}
		}
	}
	return all
}

func TestTheTableHasEveryBugOnceAndNamesItsRule(t *testing.T) {
	rules := regexp.MustCompile(`^\d+(, \d+)*$`)
	seen := map[string]bool{}
	for _, b := range planted() {
		if seen[b.name] || !rules.MatchString(b.rules) || len(b.changes) == 0 {
			t.Errorf("%q breaks %q with %d changes, named before: %v", b.name, b.rules, len(b.changes), seen[b.name])
		}
		seen[b.name] = true
	}
	if len(seen) < 40 {
		t.Errorf("%d bugs; at least 40 are promised", len(seen))
	}
}

// What does not compile, and what changes nothing, must be told.
func TestABugThatDoesNotApplyOrCompileIsTold(t *testing.T) {
	tree := aTree(t)
	for what, b := range map[string]bug{
		"a text that is nowhere":     {file: "safety/verdict.go", changes: [][2]string{{"no such text", ""}}},
		"a text that is there twice": {file: "safety/verdict.go", changes: [][2]string{{"dosing.Plan", "dosing.Dose"}}},
		"no change":                  {file: "safety/verdict.go", changes: [][2]string{{"c.spent = true", "c.spent = true"}}},
	} {
		if _, err := b.content(tree.root); err == nil {
			t.Errorf("%s is not told", what)
		}
	}
	c, err := tree.newCompiler("safety")
	if err != nil {
		t.Fatal(err)
	}
	wrong := bug{file: "safety/verdict.go", changes: [][2]string{{"c.spent = true", "c.spent = 1"}}}
	content, err := wrong.content(tree.root)
	if err != nil {
		t.Fatal(err)
	}
	if err := c.check(wrong.file, content); err == nil {
		t.Error("a bug that does not compile is not told")
	}
}

func TestEveryRuleThatABugBreaksIsInTheTableOfRules(t *testing.T) {
	known := map[string]bool{}
	for _, r := range campaign.Rules() {
		known[strconv.Itoa(r.Number)] = true
	}
	for _, b := range planted() {
		for _, number := range strings.Split(b.rules, ", ") {
			if !known[number] {
				t.Errorf("%q breaks rule %s, which is not in the table", b.name, number)
			}
		}
	}
}

// A line that has changed is another mutant, which nobody has looked at.
func TestEveryEquivalentMutantIsOfALineThatIsThere(t *testing.T) {
	tree := aTree(t)
	for _, e := range equivalents {
		body, err := os.ReadFile(filepath.Join(tree.root, filepath.FromSlash(e.file)))
		if err != nil {
			t.Fatal(err)
		}
		if e.reason == "" || !slices.ContainsFunc(strings.Split(string(body), "\n"), func(line string) bool { return strings.TrimSpace(line) == e.line }) {
			t.Errorf("%s has no line %q, or there is no reason", e.file, e.line)
		}
	}
}
