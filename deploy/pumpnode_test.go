package deploy_test

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"leat/controller/app/apptest"
)

// The pump node is C, for whoever builds one; its tests need a C compiler.

func TestEveryBranchOfThePumpNodeIsPlayed(t *testing.T) {
	gcc, gcov := apptest.Program(t, "gcc", "gcc"), apptest.Program(t, "gcov", "gcc")
	folder := t.TempDir()
	run := func(name string, args ...string) string {
		t.Helper()
		command := exec.Command(name, args...)
		command.Dir = folder
		out, err := command.CombinedOutput()
		if err != nil {
			t.Fatalf("%s: %v\n%s", strings.Join(command.Args, " "), err, out)
		}
		return string(out)
	}
	flags := append(apptest.StrictC(), "-O0", "--coverage", "-o", "node_test")
	run(gcc, append(flags, sources(t, "node_test.c", "leat_node.c", "leat_words.c")...)...)
	if said := run(filepath.Join(folder, "node_test")); said != "all hold\n" {
		t.Errorf("the node's own test says:\n%s", said)
	}
	run(gcov, "-b", "-c", "node_test-leat_node", "node_test-leat_words")
	for _, file := range []string{"leat_node.c.gcov", "leat_words.c.gcov"} {
		text, err := os.ReadFile(filepath.Join(folder, file))
		if err != nil {
			t.Fatal(err)
		}
		branches := regexp.MustCompile(`(?m)^branch +\d+ (taken \d+|never executed)`).FindAllStringSubmatch(string(text), -1)
		if len(branches) < 100 {
			t.Fatalf("%s tells of %d branches: the report is not understood", file, len(branches))
		}
		line := ""
		for l := range strings.SplitSeq(string(text), "\n") {
			switch {
			case strings.HasPrefix(l, "branch") && (strings.Contains(l, "taken 0") || strings.Contains(l, "never")):
				t.Errorf("%s: a branch that no test takes: %s", file, line)
			case strings.HasPrefix(strings.TrimSpace(l), "#####"):
				t.Errorf("%s: a line that no test reaches: %s", file, l)
			case !strings.HasPrefix(l, "branch"):
				line = l
			}
		}
	}
}

func TestStaticAnalysisOfThePumpNodeFindsNothing(t *testing.T) {
	cppcheck := apptest.Program(t, "cppcheck", "cppcheck")
	args := []string{"--enable=warning,style,performance,portability", "--inline-suppr", "--suppress=missingIncludeSystem", "--std=c99", "--error-exitcode=1", "-q"}
	if out, err := exec.Command(cppcheck, append(args, sources(t, "leat_node.c", "leat_words.c", "shell_lines.c", "shell_mqtt.c", "node_test.c")...)...).CombinedOutput(); err != nil {
		t.Errorf("%v\n%s", err, out)
	}
}

// What allocates, knows the time or speaks to a system has no place on a board.
func TestThePumpNodeItselfNeedsNoSystem(t *testing.T) {
	for _, file := range []string{"leat_node.h", "leat_words.h", "leat_node.c", "leat_words.c"} {
		text, err := os.ReadFile(filepath.Join("node", file))
		if err != nil {
			t.Fatal(err)
		}
		for _, include := range regexp.MustCompile(`#include <(\S+)>`).FindAllStringSubmatch(string(text), -1) {
			switch include[1] {
			case "stdbool.h", "stddef.h", "stdint.h", "string.h":
			default:
				t.Errorf("%s includes %s", file, include[1])
			}
		}
		if found := regexp.MustCompile(`\b(malloc|calloc|realloc|alloca|free|float|double)\b`).FindString(regexp.MustCompile(`(?s)/\*.*?\*/|"[^"]*"`).ReplaceAllString(string(text), "")); found != "" {
			t.Errorf("%s uses %s", file, found)
		}
	}
}

func sources(t *testing.T, names ...string) (paths []string) {
	t.Helper()
	for _, name := range names {
		path, err := filepath.Abs(filepath.Join("node", name))
		if err != nil {
			t.Fatal(err)
		}
		paths = append(paths, path)
	}
	return paths
}
