package main

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"leat/safety"
)

var (
	adviseCommand = regexp.MustCompile(`(?:[Rr]un|with|by) leat ([a-z]+(?: [a-z-]+)?)`)
	advisePress   = regexp.MustCompile(`(?:^|[.;,] (?:then )?|and |then )(?i:(clear|resume|arm|confirm|end|begin|enter|acknowledge|void)( the (?:new )?\w+)?)`)
	buttonLabel   = regexp.MustCompile(`<button[^>]*>([^<]+)`)
)

// A person at night does what the advice says: it must be on a button, or a command.
func TestWhateverAnAdviceTellsToDoIsAButtonOrACommand(t *testing.T) {
	pages, err := filepath.Glob("../../controller/web/page/*.html")
	if err != nil || len(pages) == 0 {
		t.Fatalf("no pages: %v", err)
	}
	var labels []string
	for _, page := range pages {
		text, err := os.ReadFile(page)
		if err != nil {
			t.Fatal(err)
		}
		for _, found := range buttonLabel.FindAllStringSubmatch(string(text), -1) {
			labels = append(labels, strings.ToLower(strings.TrimSpace(found[1])))
		}
	}
	pressed, run := 0, 0
	for _, cause := range safety.Causes() {
		row := safety.Of(cause)
		for _, found := range adviseCommand.FindAllStringSubmatch(row.Advice+" "+row.Clears, -1) {
			run++
			first, _, _ := strings.Cut(found[1], " ")
			if !slices.ContainsFunc(commands(), func(c command) bool { return c.name == first || c.name == found[1] }) {
				t.Errorf("%s advises leat %s, which is no command", cause, found[1])
			}
		}
		for _, found := range advisePress.FindAllStringSubmatch(row.Advice, -1) {
			pressed++
			verb, deed := strings.ToLower(found[1]), strings.ToLower(found[1]+found[2])
			if !slices.ContainsFunc(labels, func(label string) bool { return label == verb || strings.HasPrefix(label, deed) }) {
				t.Errorf("%s advises to %s, which no button says", cause, deed)
			}
		}
	}
	if pressed < 5 || run < 4 {
		t.Errorf("only %d buttons and %d commands are advised: the test reads little", pressed, run)
	}
}
