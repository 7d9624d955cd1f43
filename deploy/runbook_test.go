package deploy_test

import (
	"fmt"
	"os"
	"regexp"
	"strings"
	"testing"

	"leat/safety"
)

var (
	alertRule = regexp.MustCompile(`(?s)- alert: (\w+)\n(.*?)(?:\n\n|\z)`)
	severity  = regexp.MustCompile(`severity: (\w+)`)
	summary   = regexp.MustCompile(`summary: '?(.+?)'?\n`)
	advice    = regexp.MustCompile(`advice: '([^{\n]+)'`)
	template  = regexp.MustCompile(`\{\{ with[^}]*\}\} of \{\{ \. \}\}\{\{ end \}\}|\{\{[^}]*\$labels\.(\w+) \}\}|\{\{[^}]*\}\}`)
	priority  = map[string]string{"p1": "now", "p2": "tonight", "p3": "tomorrow", "clear": "log", "none": "log"}
)

// runbook is the whole document: the table's causes, then the alerts that the daemon cannot
// raise itself, each with what was written by hand.
func runbook(t *testing.T) string {
	notes := map[string]string{}
	for _, part := range strings.Split(read(t, "RUNBOOK-notes.md"), "\n## ")[1:] {
		name, text, _ := strings.Cut(part, "\n")
		notes[name] = strings.TrimSpace(text)
	}
	var b strings.Builder
	b.WriteString(runbookHead)
	note := func(name string) {
		if notes[name] != "" {
			fmt.Fprintf(&b, "\n%s\n", notes[name])
		}
		delete(notes, name)
	}
	for _, c := range safety.Causes() {
		row := safety.Of(c)
		fmt.Fprintf(&b, "\n## %s\n*%s* · %s, %s\n\n%s\n\n**Do:** %s\n\n**Ends** %s.\n", c, row.Priority, row.Action, row.Scope, row.Text, row.Advice, strings.TrimSuffix(row.Clears, "."))
		note(c.String())
	}
	b.WriteString("\n# Alerts of the monitoring\n")
	for _, rule := range alertRule.FindAllStringSubmatch(read(t, "prometheus/rules.yml"), -1) {
		fmt.Fprintf(&b, "\n## %s\n*%s*\n\n%s\n", rule[1], priority[severity.FindStringSubmatch(rule[2])[1]], template.ReplaceAllString(summary.FindStringSubmatch(rule[2])[1], "…"))
		if does := advice.FindStringSubmatch(rule[2]); does != nil {
			fmt.Fprintf(&b, "\n**Do:** %s\n", does[1])
		}
		note(rule[1])
	}
	for name := range notes {
		t.Errorf("RUNBOOK-notes.md: there is neither a cause nor an alert %q", name)
	}
	return b.String()
}

const runbookHead = `# Runbook

What to do, one section for each cause that page, topic, log and notification name, then for each alert of the monitoring.
Made from the table of interlocks, the rules and ` + "`RUNBOOK-notes.md`" + ` by ` + "`go test ./deploy -run Runbook -update`" + `.

A software stop is no emergency stop: the hard-wired stop, the float switch and the tray are yours. Acids, bases and stocks hurt:
gloves and goggles before you open a container, and the local code before this page.

# Causes
`

func TestRunbookIsThatOfTheTableAndTheRules(t *testing.T) {
	want := runbook(t)
	if *update {
		if err := os.WriteFile("RUNBOOK.md", []byte(want), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if read(t, "RUNBOOK.md") != want {
		t.Error("RUNBOOK.md is not current: go test ./deploy -run Runbook -update")
	}
	for _, c := range safety.Causes() {
		if !strings.Contains(want, "\n## "+c.String()+"\n") {
			t.Errorf("no section for %s", c)
		}
	}
}

func TestEveryCauseThatCallsAtOnceHasHandWrittenHelp(t *testing.T) {
	notes := read(t, "RUNBOOK-notes.md")
	for _, c := range safety.Causes() {
		if safety.Of(c).Priority == safety.PriorityNow && !strings.Contains(notes, "\n## "+c.String()+"\n") {
			t.Errorf("%s calls a person at once, and RUNBOOK-notes.md does not help", c)
		}
	}
}
