package campaign

import (
	"bytes"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"leat/controller/sim"
)

var testCommand = regexp.MustCompile(`^go test (\./[a-z/]+) -run '?([^']+)'?$`)
var testName = regexp.MustCompile(`(?m)^func (Test\w+)\(`)

func TestEveryRuleHasASentenceACheckerOrATestThatIsThere(t *testing.T) {
	last := 0
	for _, r := range Rules() {
		if r.Number <= last {
			t.Errorf("rule %d stands after %d", r.Number, last)
		}
		last = r.Number
		if r.Name == "" || !strings.HasSuffix(r.Text, ".") {
			t.Errorf("rule %d is called %q and says %q", r.Number, r.Name, r.Text)
		}
		if (r.check != nil) != (r.By == byNights) {
			t.Errorf("rule %d is checked by %q", r.Number, r.By)
		}
		if !strings.HasPrefix(r.By, "go test") {
			continue
		}
		command := testCommand.FindStringSubmatch(r.By)
		if command == nil {
			t.Fatalf("rule %d: %q is no command of a test", r.Number, r.By)
		}
		for _, wanted := range strings.Split(command[2], "|") {
			if !testIsThere(t, command[1], wanted) {
				t.Errorf("rule %d: no test of %s is called %q", r.Number, command[1], wanted)
			}
		}
	}
}

func testIsThere(t *testing.T, folder, wanted string) bool {
	files, err := filepath.Glob(filepath.Join("..", "..", folder, "*_test.go"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no tests in %s: %v", folder, err)
	}
	for _, path := range files {
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		for _, found := range testName.FindAllSubmatch(text, -1) {
			if strings.Contains(string(found[1]), wanted) {
				return true
			}
		}
	}
	return false
}

func TestTheTablesAreToldWhole(t *testing.T) {
	var out bytes.Buffer
	if err := WriteRules(&out); err != nil {
		t.Fatal(err)
	}
	text := out.String()
	for _, r := range rules {
		if !strings.Contains(text, r.Name+". "+r.Text) {
			t.Errorf("rule %d is not told", r.Number)
		}
	}
	for _, f := range sim.Faults() {
		if !strings.Contains(text, "  "+f.Name+": "+f.Text+"\n") {
			t.Errorf("fault %s is not told", f.Name)
		}
	}
	for i := range rows {
		r := &rows[i]
		told := strings.Contains(text, r.why)
		for _, n := range r.named {
			told = told && strings.Contains(text, "     named by "+n.String()+"\n")
		}
		for _, played := range r.played {
			told = told && strings.Contains(text, played)
		}
		if !told {
			t.Errorf("row %d is not told", r.number)
		}
	}
}
