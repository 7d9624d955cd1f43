package deploy_test

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"go.yaml.in/yaml/v3"
)

// The outside judge is systemd-analyze of systemd 252, Debian.
func TestEveryUnitOfThePackageIsOneThatSystemdTakes(t *testing.T) {
	analyze := program(t, "systemd-analyze", "systemd")
	units := filepath.Join(unpacked(t), "lib/systemd/system")
	all, err := filepath.Glob(units + "/leat*")
	if err != nil || len(all) != 6 {
		t.Fatalf("units %v, %v", all, err)
	}
	for _, unit := range all {
		out, _ := exec.Command(analyze, "verify", unit).CombinedOutput()
		for line := range strings.Lines(string(out)) {
			if !strings.Contains(line, "/usr/bin/leat is not executable") {
				t.Errorf("%s: %s", unit, line)
			}
		}
	}
	for _, unit := range []string{"leat.service", "leat@.service"} {
		if out, err := exec.Command(analyze, "security", "--offline=true", "--threshold=15", filepath.Join(units, unit)).CombinedOutput(); err != nil {
			t.Errorf("exposure of %s above 1.5: %v\n%s", unit, err, out)
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

func TestComposedServicesFindTheirFilesAndOpenNothingToTheWorld(t *testing.T) {
	compose := document(t, read(t, "container/compose.yml"))[0]
	services := at(t, compose, "services").(map[string]any)
	if len(services) < 5 {
		t.Fatalf("%d services", len(services))
	}
	head, _, _ := strings.Cut(read(t, "container/compose.yml"), "\nname: leat\n")
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
		if service["ports"] != nil || service["network_mode"] != "host" {
			t.Errorf("%s publishes ports: the addresses of the samples are loopback's", name)
		}
	}
	for name, local := range map[string]string{"prometheus": "--web.listen-address=127.0.0.1:9090", "alertmanager": "--web.listen-address=127.0.0.1:9093"} {
		if !slices.Contains(at(t, compose, "services "+name+" command").([]any), any(local)) {
			t.Errorf("%s listens to the world", name)
		}
	}
	if secret := at(t, compose, "secrets broker-password file").(string); !strings.Contains(head, strings.TrimPrefix(secret, "./")) {
		t.Errorf("the first lines do not say how %s is made", secret)
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
	rules, n := "groups:\n  - name: dashboards\n    rules:\n", 0
	for _, panels := range dashboards(t) {
		for _, p := range panels {
			for _, target := range p.Targets {
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
