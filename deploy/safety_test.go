package deploy_test

import (
	"bytes"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// A safety case that names a test which is not there is worth nothing.
func TestEveryTestThatTheSafetyCaseNamesIsThere(t *testing.T) {
	text, err := os.ReadFile("SAFETY.md")
	if err != nil {
		t.Fatal(err)
	}
	named := regexp.MustCompile(`go test ((?:\./\S+ ?)+)-run\s+'?([A-Za-z|\\]+)'?`).FindAllStringSubmatch(string(text), -1)
	if len(named) < 15 {
		t.Fatalf("only %d tests are named", len(named))
	}
	for _, n := range named {
		for _, name := range strings.Split(strings.ReplaceAll(n[2], `\|`, "|"), "|") {
			if !holdsTest(t, filepath.Join("..", strings.TrimSpace(n[1])), name) {
				t.Errorf("%s has no test that -run %s would play", n[1], name)
			}
		}
	}
	for _, path := range regexp.MustCompile("`((?:safety|controller|dosing|deploy|testdata)/[a-z/_.]+)`").FindAllStringSubmatch(string(text), -1) {
		if _, err := os.Stat(filepath.Join("..", path[1])); err != nil {
			t.Errorf("the safety case names %s: %v", path[1], err)
		}
	}
}

func holdsTest(t *testing.T, folder, name string) bool {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(folder, "*_test.go"))
	if err != nil {
		t.Fatal(err)
	}
	function := regexp.MustCompile(`(?m)^func Test\w*` + name)
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		if function.Match(bytes.ReplaceAll(text, []byte("\r"), nil)) {
			return true
		}
	}
	return false
}
