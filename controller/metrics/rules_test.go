package metrics

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"leat/safety"
)

const deployed = "../../deploy"

// program finds a program of a Debian package, or skips the test.
func program(t *testing.T, name, pkg string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		if os.Getenv("LEAT_REAL") == "1" {
			t.Fatalf("%s is not installed and LEAT_REAL=1: apt-get install %s", name, pkg)
		}
		t.Skipf("%s is not installed: apt-get install %s", name, pkg)
	}
	return path
}

func run(t *testing.T, dir, name string, arguments ...string) {
	t.Helper()
	command := exec.Command(name, arguments...)
	command.Dir = dir
	if out, err := command.CombinedOutput(); err != nil {
		t.Errorf("%s %s: %v\n%s", filepath.Base(name), strings.Join(arguments, " "), err, out)
	}
}

func read(t *testing.T, parts ...string) string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(append([]string{deployed}, parts...)...))
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// The outside judge is promtool of Prometheus 2.42, Debian.
func TestPrometheusAcceptsTheRulesAndTheirTests(t *testing.T) {
	promtool := program(t, "promtool", "prometheus")
	dir := filepath.Join(deployed, "prometheus")
	run(t, dir, promtool, "check", "config", "prometheus.yml")
	run(t, dir, promtool, "test", "rules", "rules_test.yml", "rules_slow_test.yml")
	// The Prometheus above several farms calls nobody: its file names neither rules nor an Alertmanager.
	run(t, dir, promtool, "check", "config", "--syntax-only", "federation.yml")
	for _, word := range []string{"\nalerting:", "\nrule_files:"} {
		if strings.Contains(read(t, "prometheus", "federation.yml"), word) {
			t.Errorf("federation.yml has %s: who is called would hang on a line to the outside", strings.TrimSpace(word))
		}
	}
}

// The outside judge is amtool of Alertmanager 0.25, Debian.
func TestAlertmanagerAcceptsTheExampleAndRoutesByPriority(t *testing.T) {
	amtool := program(t, "amtool", "prometheus-alertmanager")
	dir := filepath.Join(deployed, "alertmanager")
	run(t, dir, amtool, "check-config", "example.yml")
	for labels, receiver := range map[string]string{
		"alertname=LeatAlarmNow severity=p1":           "phone",
		"alertname=LeatUnfitForPlants severity=p1":     "phone",
		"alertname=LeatNobodyAcknowledges severity=p1": "second-person",
		"alertname=LeatDaemonGone severity=p2":         "phone",
		"alertname=LeatAllClear severity=clear":        "phone-quiet",
		"alertname=LeatAlarmTomorrow severity=p3":      "mail",
		"alertname=LeatWatchdog severity=none":         "dead-man",
	} {
		run(t, dir, amtool, append([]string{"config", "routes", "test", "--config.file=example.yml", "--verify.receivers=" + receiver},
			strings.Fields(labels)...)...)
	}
}

var metricName = regexp.MustCompile(`\bleat_[a-z_]+`)

func TestEveryMetricInTheRulesExists(t *testing.T) {
	m := newTestMetrics(farmView())
	families, err := m.registry.Gather()
	if err != nil {
		t.Fatal(err)
	}
	known := map[string]bool{"leat_station_runs": true, "leat_station_failed": true} // of a process of several stations
	for _, f := range families {
		known[f.GetName()] = true
	}
	for _, listed := range [][]listed{gauges, counters} {
		for _, l := range listed {
			known["leat_"+l.name] = true
		}
	}
	files, err := filepath.Glob(filepath.Join(deployed, "*", "*.yml"))
	if err != nil || len(files) < 3 {
		t.Fatalf("files %v, %v; want rules, their tests and the example", files, err)
	}
	if dashboards, _ := filepath.Glob(filepath.Join(deployed, "grafana", "*.json")); len(dashboards) > 0 {
		files = append(files, dashboards...)
	}
	seen := 0
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		for _, name := range metricName.FindAllString(string(text), -1) {
			seen++
			if !known[name] && !known[strings.TrimSuffix(name, "_bucket")] {
				t.Errorf("%s uses %s, which the daemon does not have", filepath.Base(file), name)
			}
		}
	}
	if seen < 50 {
		t.Errorf("only %d names found; the test would pass on empty files", seen)
	}
}

var (
	alertLine  = regexp.MustCompile(`(?m)^\s+- alert: (\w+)`)
	causeLabel = regexp.MustCompile(`cause ?= ?"([a-z-]+)"`)
)

func TestEveryAlertHasATestAndASectionToRead(t *testing.T) {
	rules, tests, notes := read(t, "prometheus", "rules.yml"), read(t, "prometheus", "rules_test.yml")+read(t, "prometheus", "rules_slow_test.yml"), read(t, "RUNBOOK.md")
	alerts := alertLine.FindAllStringSubmatch(rules, -1)
	if len(alerts) < 10 {
		t.Fatalf("%d alerts found", len(alerts))
	}
	for _, a := range alerts {
		name := a[1]
		if !regexp.MustCompile(`(?m)alertname: ` + name + `\n\s+exp_alerts:\n`).MatchString(tests) {
			t.Errorf("%s: no test in which it fires", name)
		}
		if !strings.Contains(notes, "\n## "+name+"\n") {
			t.Errorf("%s: no section in deploy/RUNBOOK.md", name)
		}
		if want := "#" + strings.ToLower(name) + "'\n"; !strings.Contains(rules, want) && !strings.HasPrefix(name, "LeatA") && name != "LeatNobodyAcknowledges" {
			t.Errorf("%s: no runbook_url that ends in %q", name, strings.TrimSpace(want))
		}
	}
	if got := strings.Count(rules, "severity: "); got != len(alerts) {
		t.Errorf("%d severities for %d alerts", got, len(alerts))
	}
}

func TestCausesInTheRulesAreCausesOfTheProgram(t *testing.T) {
	text := read(t, "alertmanager", "example.yml") + read(t, "prometheus", "rules_test.yml")
	var names []string
	for _, m := range causeLabel.FindAllStringSubmatch(text, -1) {
		names = append(names, m[1])
	}
	if len(names) < 10 {
		t.Fatalf("causes %v", names)
	}
	for _, name := range names {
		if _, ok := safety.ParseCause(name); !ok {
			t.Errorf("no cause %q", name)
		}
	}
}
