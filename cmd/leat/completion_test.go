package main

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"leat/controller/app/apptest"
)

// completed are the words that leat complete offers.
func completed(t *testing.T, words ...string) (offered []string) {
	t.Helper()
	var out, errs bytes.Buffer
	if code := dispatch(append([]string{completeWord}, words...), &out, &errs); code != 0 || errs.Len() > 0 {
		t.Fatalf("%q: exit %d, %s", words, code, errs.String())
	}
	for line := range strings.Lines(out.String()) {
		word, _, _ := strings.Cut(strings.TrimSuffix(line, "\n"), "\t")
		offered = append(offered, word)
	}
	return offered
}

func TestTheShellIsOfferedWhatMayStandNext(t *testing.T) {
	for _, c := range []struct{ typed, offered string }{
		{"re", "rehearse report"},
		{"report ", "night week month drift letter probes pumps shopping stocks water"},
		{"blend ", "lab make list"},
		{"blend la", "lab"},
		{"blend -rec", "-recipe"},
		{"blend lab -ana", "-analysis"},
		{"blend make -recipe hoag", "hoagland-1 hoagland-2"},
		{"blend -json -recipe stei", "steiner"},
		{"mode -tank north ", "arm observe stop clear pause resume confirm-water raise-epoch"},
		{"mode -tank north arm -no", "-note"},
		{"mode arm ", ""},
		{"ledger -state x export -kind ", "doses readings changes events dictionary"},
		{"ledger ver", "verify"},
		{"user -role e", "engineer"},
		{"check ", "-config -json -rehearse"},
		{"check -config ", ""},
		{"check --con", ""},
		{"run -config=x -", "-config"},
		{"demo -fault lis", "list"},
		{"completion ", "bash zsh fish man"},
		{"nonesuch ", ""},
	} {
		if offered := strings.Join(completed(t, strings.Split(c.typed, " ")...), " "); offered != c.offered {
			t.Errorf("leat %s: offered %q, want %q", c.typed, offered, c.offered)
		}
	}
	if all := completed(t); !slices.Equal(all, firstWords()) {
		t.Errorf("leat alone: offered %q", all)
	}
}

func TestEveryCommandIsInTheHelpOrInThatOfTheOneItBelongsTo(t *testing.T) {
	for _, c := range commands() {
		var help bytes.Buffer
		first, _, two := strings.Cut(c.name, " ")
		if two {
			dispatch([]string{first, "-h"}, &help, &help)
		} else {
			usage(&help)
		}
		if !strings.Contains(help.String(), c.name) {
			t.Errorf("leat %s is told nowhere", c.name)
		}
	}
}

// What a shell makes of the script, asked of bash itself.
func TestBashCompletesByTheScript(t *testing.T) {
	bash, err := exec.LookPath("bash")
	if err != nil {
		if apptest.Real() {
			t.Fatal("bash is missing; install it, or run without LEAT_REAL=1")
		}
		t.Skip("no bash on this machine")
	}
	folder := t.TempDir()
	program := fmt.Sprintf("#!/bin/sh\n%s=1 exec '%s' \"$@\"\n", asLeat, os.Args[0])
	if err := os.WriteFile(filepath.Join(folder, "leat"), []byte(program), 0o700); err != nil {
		t.Fatal(err)
	}
	for typed, want := range map[string]string{"leat reh": "rehearse", "leat blend lab -anal": "-analysis", "leat ledger -kind re": "readings", "leat run -config ": ""} {
		words := strings.Split(typed, " ")
		script := fmt.Sprintf("eval \"$(leat completion bash)\"; COMP_WORDS=('%s'); COMP_CWORD=%d; _leat; echo \"${COMPREPLY[*]}\"; complete -p leat", strings.Join(words, "' '"), len(words)-1)
		shell := exec.Command(bash, "--norc", "-c", script)
		shell.Env = append(os.Environ(), "PATH="+folder+":"+os.Getenv("PATH"))
		out, err := shell.CombinedOutput()
		if err != nil || string(out) != want+"\ncomplete -o default -F _leat leat\n" {
			t.Errorf("%q: bash says %q, %v; want %q", typed, out, err, want)
		}
	}
}

func TestTheManualHoldsTheHelpOfEveryCommand(t *testing.T) {
	var out, errs bytes.Buffer
	if code := dispatch([]string{"completion", "man"}, &out, &errs); code != 0 {
		t.Fatal(errs.String())
	}
	page := out.String()
	if !strings.HasPrefix(page, ".TH LEAT 1 ") {
		t.Errorf("begins with %.40q", page)
	}
	for _, c := range commands() {
		if !strings.Contains(page, "\n.SH LEAT "+strings.ToUpper(c.name)+"\n") {
			t.Errorf("leat %s is not in it", c.name)
		}
	}
	for line := range strings.Lines(page) {
		if strings.HasPrefix(line, `\&`) == slices.Contains([]string{".TH", ".SH", ".nf", ".fi", "lea"}, line[:min(3, len(line)-1)]) {
			t.Errorf("%q is neither a request nor a text", line)
		}
	}
	for _, shell := range []string{"", "tcsh"} {
		if code := dispatch([]string{"completion", shell}, &out, &errs); code != 2 {
			t.Errorf("%q: exit %d", shell, code)
		}
	}
}
