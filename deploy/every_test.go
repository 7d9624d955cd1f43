package deploy_test

import (
	"bytes"
	"io/fs"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"leat/controller/app/apptest"
)

// tried says for each file of this folder which test executes or validates it. A file without a row, a row without a
// file and a test that is not there are faults.
var tried = map[string]string{
	"leat.toml":                 "TestCheckOfTheSampleAndTheMinimalFileFindsNoFault",
	"minimal.toml":              "TestCheckOfTheSampleAndTheMinimalFileFindsNoFault",
	"leat.schema.json":          "TestSchemaForEditorsIsThatOfTheLayout",
	"asyncapi.yml":              "TestDocumentIsValidAsyncAPI",
	"routes.md":                 "TestTheListOfRoutesAndRolesIsThatOfTheCode",
	"glossary.md":               "TestTheGlossaryIsThatOfTheCode",
	"RUNBOOK.md":                "TestRunbookIsThatOfTheTableAndTheRules",
	"RUNBOOK-notes.md":          "TestEveryCauseThatCallsAtOnceHasHandWrittenHelp",
	"SAFETY.md":                 "TestEveryTestThatTheSafetyCaseNamesIsThere",
	"first-day.md":              "TestNewcomerComesFromThePackageToAnArmedTank",
	"choosing.md":               "TestNewcomerComesFromThePackageToAnArmedTank",
	"sizing.md":                 "TestNewcomerComesFromThePackageToAnArmedTank",
	"backup.md":                 "TestNewcomerComesFromThePackageToAnArmedTank",
	"node.md":                   "TestNodeContractGivesTheCautions",
	"*.md":                      "TestEveryLinkOfTheGuidesLeadsSomewhere",
	"plant.py":                  "TestAPlantOfTheUsersOwnIsHeldInBand",
	"abroad/*":                  "TestProxyPassesThePageByTLSAndNoMetrics",
	"alertmanager/*":            "TestAlertmanagerAcceptsTheExampleAndRoutesByPriority",
	"prometheus/federation.yml": "TestPrometheusAcceptsTheRulesAndTheirTests",
	"prometheus/*":              "TestNewcomerComesFromThePackageToAnArmedTank",
	"mosquitto/*":               "TestNewcomerComesFromThePackageToAnArmedTank",
	"systemd/*":                 "TestEveryUnitOfThePackageIsOneThatSystemdTakes",
	"package/*":                 "TestNewcomerComesFromThePackageToAnArmedTank",
	"container/compose.yml":     "TestComposedServicesFindTheirFilesAndOpenNothingToTheWorld",
	"kubernetes/leat.yml":       "TestClusterDocumentsHaveNoFieldThatKubernetesHasNot",
	"kubernetes/strict/*":       "TestClusterDocumentsHaveNoFieldThatKubernetesHasNot",
	"grafana/*":                 "TestEveryQueryOfTheDashboardsShowsSomethingOfADemoNight",
	"grafana/provisioning/*":    "TestDashboardsAreProvisionedFromWhereTheyAreMounted",
	"nats/leat-nats.conf":       "TestTheSampleOfALedgerServerSyncsEachRow",
	"node/*":                    "TestEveryBranchOfThePumpNodeIsPlayed",
	"pictures/*":                "TestThePicturesOfThePagesAreTakenByOneCommand",
}

func TestEveryFileOfThisFolderIsExecutedOrValidatedByATest(t *testing.T) {
	tests := testsOfTheRepository(t)
	used := map[string]bool{}
	err := filepath.WalkDir(".", func(name string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() || strings.HasSuffix(name, "_test.go") || name == "deploy.go" {
			return err
		}
		name = filepath.ToSlash(name)
		found := false
		for pattern, test := range tried {
			if pattern == name || strings.HasSuffix(pattern, "/*") && strings.HasPrefix(name, strings.TrimSuffix(pattern, "*")) {
				found, used[pattern] = true, true
			} else if match, _ := path.Match(pattern, name); match {
				found, used[pattern] = true, true
			}
			if !tests[test] {
				t.Errorf("%s: no test %s", pattern, test)
			}
		}
		if !found {
			t.Errorf("no test executes or validates deploy/%s: write one, and its row here", name)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	for pattern := range tried {
		if !used[pattern] {
			t.Errorf("%s names no file", pattern)
		}
	}
}

var testFunction = regexp.MustCompile(`(?m)^func (Test\w+)\(t \*testing\.T\)`)

func testsOfTheRepository(t *testing.T) map[string]bool {
	t.Helper()
	tests := map[string]bool{}
	err := filepath.WalkDir("..", func(name string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() || !strings.HasSuffix(name, "_test.go") {
			return err
		}
		text, err := os.ReadFile(name)
		for _, m := range testFunction.FindAllSubmatch(text, -1) {
			tests[string(m[1])] = true
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return tests
}

var link = regexp.MustCompile(`\]\(([^)#:]+)\)`)

func TestEveryLinkOfTheGuidesLeadsSomewhere(t *testing.T) {
	guides, err := filepath.Glob("*.md")
	if err != nil || len(guides) < 10 {
		t.Fatalf("%v, %v", guides, err)
	}
	for _, guide := range guides {
		for _, m := range link.FindAllStringSubmatch(read(t, guide), -1) {
			if _, err := os.Stat(m[1]); err != nil {
				t.Errorf("%s: %v", guide, err)
			}
		}
	}
}

// The outside judge is Kubernetes' own published types.
func TestClusterDocumentsHaveNoFieldThatKubernetesHasNot(t *testing.T) {
	if !apptest.Real() {
		t.Skip("LEAT_REAL=1 fetches Kubernetes' types and reads the documents into them")
	}
	out, err := exec.Command("go", "-C", "kubernetes/strict", "run", ".", "../leat.yml").CombinedOutput()
	if err != nil || bytes.Count(out, []byte("is sound")) != 4 {
		t.Errorf("%v %s", err, out)
	}
	wrong := filepath.Join(t.TempDir(), "wrong.yml")
	if err := os.WriteFile(wrong, []byte(strings.Replace(read(t, "kubernetes/leat.yml"), "replicas:", "replica:", 1)), 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command("go", "-C", "kubernetes/strict", "run", ".", wrong).CombinedOutput(); err == nil || !bytes.Contains(out, []byte("replica")) {
		t.Errorf("a wrong field is taken: %s", out)
	}
}

// No Grafana runs here: the folder of its dashboards, their source of data and the mounts agree.
func TestDashboardsAreProvisionedFromWhereTheyAreMounted(t *testing.T) {
	compose := read(t, "container/compose.yml")
	folder := at(t, document(t, read(t, "grafana/provisioning/dashboards/leat.yml"))[0], "providers 0 options path").(string)
	if !strings.Contains(compose, "../grafana:"+folder+":ro") {
		t.Errorf("nothing is mounted at %s", folder)
	}
	source := document(t, read(t, "grafana/provisioning/datasources/leat.yml"))[0]
	if url := at(t, source, "datasources 0 url").(string); !strings.Contains(compose, "--web.listen-address="+strings.TrimPrefix(url, "http://")) {
		t.Errorf("no Prometheus listens at %s", url)
	}
	uid := at(t, source, "datasources 0 uid").(string)
	for _, name := range []string{"farm", "tank", "daemon"} {
		if !strings.Contains(read(t, "grafana/leat-"+name+".json"), `"`+uid+`"`) {
			t.Errorf("dashboard %s asks another source than %s", name, uid)
		}
	}
}
