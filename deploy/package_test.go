package deploy_test

import (
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"go.yaml.in/yaml/v3"
)

// The outside judge is systemd-analyze of systemd 252, Debian.
func TestEveryUnitIsOneThatSystemdTakes(t *testing.T) {
	analyze := program(t, "systemd-analyze", "systemd")
	units := []string{"package/leat.service", "package/leat@.service", "systemd/leat-backup.service", "systemd/leat-backup.timer"}
	for _, unit := range units {
		out, _ := exec.Command(analyze, "verify", unit).CombinedOutput()
		for line := range strings.Lines(string(out)) {
			if !strings.Contains(line, "/usr/bin/leat is not executable") {
				t.Errorf("%s: %s", unit, line)
			}
		}
	}
	if out, err := exec.Command(analyze, "security", "--offline=true", "--threshold=20", "package/leat@.service").CombinedOutput(); err != nil {
		t.Errorf("exposure above 2.0: %v\n%s", err, out)
	}
}

// unitOf is a unit without the comment at its head, and without what packaging changes.
func unitOf(t *testing.T, name string) string {
	_, unit, _ := strings.Cut(read(t, name), "[Unit]\n")
	return strings.NewReplacer("/usr/local/bin/leat", "/usr/bin/leat", "file:/usr/local/share/doc/leat/README.md", "file:/usr/share/doc/leat/RUNBOOK.md",
		"leat %i,", "leat,", "%i-password", "broker-password", "%i.toml", "leat.toml", "StateDirectory=leat/%i", "StateDirectory=leat").Replace(unit)
}

func TestPackagedServicesAreTheFarmsOwn(t *testing.T) {
	want := unitOf(t, "systemd/leat.service")
	for _, name := range []string{"package/leat.service", "package/leat@.service"} {
		if unitOf(t, name) != want {
			t.Errorf("%s differs from systemd/leat.service in more than paths and names", name)
		}
	}
}

// document reads YAML into plain maps.
func document(t *testing.T, text string) (all []map[string]any) {
	t.Helper()
	for decoder := yaml.NewDecoder(strings.NewReader(text)); ; {
		var one map[string]any
		if err := decoder.Decode(&one); err != nil {
			if err.Error() != "EOF" {
				t.Fatal(err)
			}
			return all
		}
		all = append(all, one)
	}
}

// at walks keys and places, such as "spec template 0".
func at(t *testing.T, value any, path string) any {
	t.Helper()
	for _, key := range strings.Fields(path) {
		switch v := value.(type) {
		case map[string]any:
			value = v[key]
		case []any:
			var i int
			if _, err := fmt.Sscan(key, &i); err != nil || i >= len(v) {
				t.Fatalf("%s: no place %s", path, key)
			}
			value = v[i]
		default:
			t.Fatalf("%s: nothing at %s", path, key)
		}
	}
	return value
}

func TestEveryFileOfThePackageIsThere(t *testing.T) {
	contents := at(t, document(t, read(t, "package/nfpm.yaml"))[0], "contents").([]any)
	if len(contents) < 15 {
		t.Fatalf("%d files", len(contents))
	}
	for _, one := range contents {
		source := one.(map[string]any)["src"].(string)
		if strings.HasPrefix(source, "${OUT}") {
			if name := strings.TrimPrefix(source, "${OUT}/"); !strings.Contains(read(t, "package/build"), "$out/"+strings.NewReplacer("${ARCH}", "$2", "leat.bash", "leat.$shell", "leat.zsh", "leat.$shell", "leat.fish", "leat.$shell").Replace(name)) {
				t.Errorf("package/build does not make %s", name)
			}
		} else if _, err := os.Stat("../" + source); err != nil {
			t.Error(err)
		}
	}
}

func TestComposedServicesFindTheirFilesAndOpenNothingToTheWorld(t *testing.T) {
	compose := document(t, read(t, "container/compose.yml"))[0]
	services := at(t, compose, "services").(map[string]any)
	if len(services) < 5 {
		t.Fatalf("%d services", len(services))
	}
	for name := range services {
		service := services[name].(map[string]any)
		for _, volume := range service["volumes"].([]any) {
			from, _, _ := strings.Cut(volume.(string), ":")
			if strings.HasPrefix(from, ".") {
				if _, err := os.Stat(filepath.Join("container", from)); err != nil {
					t.Errorf("%s: %v", name, err)
				}
			} else if _, known := at(t, compose, "volumes").(map[string]any)[from]; !known {
				t.Errorf("%s: no volume %s", name, from)
			}
		}
		for _, port := range service["ports"].([]any) {
			if !strings.HasPrefix(port.(string), "127.0.0.1:") {
				t.Errorf("%s: port %s is open to the world", name, port)
			}
		}
	}
	image := read(t, "container/Containerfile")
	for _, want := range []string{"\nFROM scratch\n", "\nUSER 65532:65532\n", "ca-certificates.crt", "\nSTOPSIGNAL SIGTERM\n"} {
		if !strings.Contains(image, want) {
			t.Errorf("no %q in the image", want)
		}
	}
}

func TestClusterRunsOneDaemonAndNeverTwo(t *testing.T) {
	kinds := map[string]map[string]any{}
	for _, d := range document(t, read(t, "kubernetes/leat.yml")) {
		kinds[d["kind"].(string)] = d
	}
	deployment := kinds["Deployment"]
	for path, want := range map[string]any{
		"spec replicas": 1, "spec strategy type": "Recreate", "spec template spec securityContext runAsNonRoot": true,
		"spec template spec containers 0 livenessProbe httpGet path":             "/healthz",
		"spec template spec containers 0 readinessProbe httpGet path":            "/readyz",
		"spec template spec containers 0 securityContext readOnlyRootFilesystem": true,
		"spec template spec volumes 0 persistentVolumeClaim claimName":           "leat",
		"spec template spec terminationGracePeriodSeconds":                       20,
	} {
		if got := at(t, deployment, path); got != want {
			t.Errorf("%s is %v, want %v", path, got, want)
		}
	}
	if got := at(t, kinds["PersistentVolumeClaim"], "spec accessModes 0"); got != "ReadWriteOncePod" {
		t.Errorf("the volume is %v", got)
	}
	if types := at(t, kinds["NetworkPolicy"], "spec policyTypes").([]any); len(types) != 2 {
		t.Errorf("the network is closed only for %v", types)
	}
}

// The outside judge is promtool of Prometheus 2.42, Debian.
func TestEveryQueryOfTheDashboardsIsOneThatPrometheusTakes(t *testing.T) {
	promtool := program(t, "promtool", "prometheus")
	files, err := filepath.Glob("grafana/*.json")
	if err != nil || len(files) != 3 {
		t.Fatalf("dashboards %v, %v", files, err)
	}
	rules, n := "groups:\n  - name: dashboards\n    rules:\n", 0
	for _, file := range files {
		var dashboard struct {
			Panels []struct {
				Title   string
				Targets []struct{ Expr string }
			}
		}
		if err := json.Unmarshal([]byte(read(t, file)), &dashboard); err != nil {
			t.Fatalf("%s: %v", file, err)
		}
		for _, panel := range dashboard.Panels {
			for _, target := range panel.Targets {
				query := regexp.MustCompile(`\$\w+`).ReplaceAllString(target.Expr, "north")
				rules += fmt.Sprintf("      - {record: 'panel:%d', expr: '%s'}\n", n, query)
				n++
			}
		}
	}
	path := filepath.Join(t.TempDir(), "rules.yml")
	if err := os.WriteFile(path, []byte(rules), 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command(promtool, "check", "rules", path).CombinedOutput(); err != nil || n < 20 {
		t.Errorf("%d queries: %v\n%s", n, err, out)
	}
}
