package deploy_test

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"leat/controller/app/apptest"
)

// panel is one picture of a dashboard.
type panel struct {
	Title   string
	Targets []struct{ Expr string }
}

// dashboards are the shipped ones by file.
func dashboards(t *testing.T) map[string][]panel {
	t.Helper()
	files, err := filepath.Glob("grafana/*.json")
	if err != nil || len(files) != 3 {
		t.Fatalf("dashboards %v, %v", files, err)
	}
	all := map[string][]panel{}
	for _, file := range files {
		var dashboard struct{ Panels []panel }
		if err := json.Unmarshal([]byte(read(t, file)), &dashboard); err != nil {
			t.Fatalf("%s: %v", file, err)
		}
		all[file] = dashboard.Panels
	}
	return all
}

// notInTheDemo are queries whose subject the demo's farm has not, each with the reason.
var notInTheDemo = map[string]string{
	`leat_certificate_expires_timestamp_seconds`: "its page and broker speak no TLS",
}

// Prometheus records a demo night in which acid runs out, and every query of the dashboards is put to it: a metric that is there and a
// label that is not draw an empty picture. The outside judge is Prometheus 2.42, Debian.
func TestEveryQueryOfTheDashboardsShowsSomethingOfADemoNight(t *testing.T) {
	leat := filepath.Join(releaseOf(t), "leat-amd64")
	promtool, dir, page, port := program(t, "promtool", "prometheus"), t.TempDir(), apptest.Port(t), apptest.Port(t)
	config := strings.NewReplacer(`"127.0.0.1:8470"`, `"127.0.0.1:`+page+`"`, "scrape_interval: 5s", "scrape_interval: 500ms", "evaluation_interval: 15s", "evaluation_interval: 1s").Replace(read(t, "prometheus/prometheus.yml"))
	for name, text := range map[string]string{"prometheus.yml": config, "rules.yml": read(t, "prometheus/rules.yml")} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	started(t, leat, "demo", "-speed", "300", "-fault", "acid-empty", "-listen", "127.0.0.1:"+page, "-state", filepath.Join(dir, "night"))
	started(t, program(t, "prometheus", "prometheus"), "--config.file="+filepath.Join(dir, "prometheus.yml"), "--storage.tsdb.path="+filepath.Join(dir, "data"), "--web.listen-address=127.0.0.1:"+port)
	ask := func(query string) string {
		out, err := exec.Command(promtool, "query", "instant", "http://127.0.0.1:"+port, query).CombinedOutput()
		if err != nil {
			return ""
		}
		return string(out)
	}
	label := func(query, name string) string {
		m := regexp.MustCompile(name + `="([^"]+)"`).FindStringSubmatch(ask(query))
		if m == nil {
			return ""
		}
		return m[1]
	}
	within(t, 2*time.Minute, "an alarm, a dose and an analysed tank have been scraped", func() bool {
		return strings.Contains(ask("leat_alarm_info"), "=> 1") && strings.Contains(ask("leat_withheld_total"), "=>") && strings.Contains(ask("leat_ledger_rows > 20"), "=>")
	})
	station := label("leat_epoch", "station")
	tank := label(`leat_mode{station="`+station+`"}`, "tank")
	asked, empty := 0, map[string]string{}
	queries := func(visit func(file, title, query string)) {
		for file, panels := range dashboards(t) {
			for _, p := range panels {
				for _, target := range p.Targets {
					visit(file, p.Title, target.Expr)
				}
			}
		}
	}
	queries(func(file, title, query string) {
		name := regexp.MustCompile(`leat_\w+`).FindString(query)
		if notInTheDemo[name] != "" {
			return
		}
		asked++
		text := strings.NewReplacer("$station", station, "$tank", tank).Replace(query)
		if strings.Contains(text, "$") {
			t.Errorf("%s, %s: a variable that the test does not know: %s", file, title, query)
		}
		// Some tank of the farm shows it, such as the ions of one that has a recipe.
		if strings.Contains(ask(text), "=>") || strings.Contains(ask(strings.ReplaceAll(text, `tank="`+tank+`"`, `tank!=""`)), "=>") {
			return
		}
		empty[query] = file + ", " + title
	})
	if asked < 25 {
		t.Errorf("only %d queries were put", asked)
	}
	for query, where := range empty {
		t.Errorf("%s: nothing for %s", where, query)
	}
}
