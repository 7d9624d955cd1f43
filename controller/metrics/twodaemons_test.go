package metrics

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"go.yaml.in/yaml/v3"
)

// unitTests is a file of promtool's. Values are text: 0x100 is no hexadecimal number there.
type unitTests struct {
	Rules    []string    `yaml:"rule_files"`
	Interval string      `yaml:"evaluation_interval"`
	Tests    []*unitTest `yaml:"tests"`
}

type unitTest struct {
	Name     string           `yaml:"name"`
	Interval string           `yaml:"interval"`
	Series   []series         `yaml:"input_series"`
	Wants    []map[string]any `yaml:"alert_rule_test"`
}

type series struct {
	Series string `yaml:"series"`
	Values string `yaml:"values"`
}

// twin is the second daemon: another instance with another station.
var (
	twin     = strings.NewReplacer(`instance="farm"`, `instance="attic"`, `station="row"`, `station="loft"`)
	ownWords = regexp.MustCompile(`\brow\b`)
)

// Every case of the shipped tests once more, while the same happens to a second daemon: each calls for itself, in its own words, and
// neither silences the other. The outside judge is promtool of Prometheus 2.42, Debian.
func TestEachRuleCallsForEachOfTwoDaemons(t *testing.T) {
	promtool := program(t, "promtool", "prometheus")
	dir := t.TempDir()
	rules, err := filepath.Abs(filepath.Join(deployed, "prometheus", "rules.yml"))
	if err != nil {
		t.Fatal(err)
	}
	doubled := map[string]bool{}
	for _, name := range []string{"rules_test.yml", "rules_slow_test.yml"} {
		var file unitTests
		if err := yaml.Unmarshal([]byte(read(t, "prometheus", name)), &file); err != nil {
			t.Fatal(err)
		}
		file.Rules = []string{rules}
		for _, one := range file.Tests {
			beside(one, doubled)
		}
		text, err := yaml.Marshal(file)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, name), text, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	run(t, dir, promtool, "test", "rules", "rules_test.yml", "rules_slow_test.yml")
	for _, a := range alertLine.FindAllStringSubmatch(read(t, "prometheus", "rules.yml"), -1) {
		if a[1] != "LeatWatchdog" && !doubled[a[1]] {
			t.Errorf("%s: no case in which two daemons have it", a[1])
		}
	}
}

// beside adds the second daemon to a case, and what is expected of it.
func beside(one *unitTest, doubled map[string]bool) {
	for _, first := range one.Series {
		if second := twin.Replace(first.Series); second != first.Series {
			one.Series = append(one.Series, series{second, first.Values})
		}
	}
	for _, want := range one.Wants {
		for _, e := range want["exp_alerts"].([]any) {
			labels := e.(map[string]any)["exp_labels"].(map[string]any)
			if labels["instance"] != "farm" {
				continue
			}
			second, says := map[string]any{}, map[string]any{}
			for key, value := range labels {
				second[key] = value
			}
			second["instance"] = "attic"
			if labels["station"] != nil {
				second["station"] = "loft"
			}
			for key, value := range e.(map[string]any)["exp_annotations"].(map[string]any) {
				says[key] = ownWords.ReplaceAllString(value.(string), "loft")
			}
			want["exp_alerts"] = append(want["exp_alerts"].([]any), map[string]any{"exp_labels": second, "exp_annotations": says})
			doubled[want["alertname"].(string)] = true
		}
	}
}
