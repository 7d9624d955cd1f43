package config

import (
	"strings"
	"testing"
)

func compared(t *testing.T, old, new string) (changes, refusals string) {
	t.Helper()
	base := good(t, "plain.toml")
	c, r := Compare(parsed(t, base), parsed(t, changed(t, base, old, new)))
	return strings.Join(c, "\n"), strings.Join(r, "\n")
}

func TestReloadOfTheSameFileChangesNothing(t *testing.T) {
	base := good(t, "plain.toml")
	if c, r := Compare(parsed(t, base), parsed(t, base)); len(c)+len(r) != 0 {
		t.Errorf("changes %q, refusals %q", c, r)
	}
}

func TestReloadTakesLimitsSetpointsAndLogLevel(t *testing.T) {
	for _, c := range []struct{ old, new, want string }{
		{`hourly_cap = "4 L"`, `hourly_cap = "3 L"`, `caps of pump "feed-b": per hour 4000 mL → 3000 mL`},
		{`value = "pH 6.0"`, `value = "pH 5.9"`, `tank "beds": pH setpoint: value 6 → 5.9`},
		{`level = "warn"`, `level = "debug"`, "log level: warn → debug"},
		{`noise = "0.02 pH"`, `noise = "0.03 pH"`, `input "ph": noise 0.02 → 0.03`},
	} {
		changes, refusals := compared(t, c.old, c.new)
		if refusals != "" || !strings.Contains(changes, c.want) {
			t.Errorf("%s: changes %q, refusals %q", c.new, changes, refusals)
		}
	}
}

func TestReloadRefusesWiringAndBroker(t *testing.T) {
	for _, c := range []struct{ old, new, want string }{
		{`url = "mqtts://broker.example:8883"`, `url = "mqtts://other.example:8883"`, "the broker"},
		{`channel = "a"`, `channel = "e"`, "the channels of the pumps"},
		{`topic = "probes/7/ph"`, `topic = "probes/8/ph"`, "the topics"},
		{`compensation = "ISO 7888"`, `compensation = "none"`, "the inputs"},
		{`name = "bank"`, `name = "bench"`, "the nodes"},
		{`folder = "records"`, `folder = "elsewhere"`, "the state folder"},
		{`name = "feed-b"`, `name = "feed-c"`, `pump "feed-b"`},
	} {
		_, refusals := compared(t, c.old, c.new)
		if !strings.Contains(refusals, c.want) || !strings.Contains(refusals, "restart") {
			t.Errorf("%s: refusals %q", c.new, refusals)
		}
	}
}

// A slower pump needs longer runs for the same dose. A node that is set to the old ones
// refuses every order that is longer.
func TestReloadThatNeedsLongerRunsSaysWhichNodesToSet(t *testing.T) {
	base := good(t, "plain.toml")
	slower := changed(t, base, `on_time_limit = "30s"`, `on_time_limit = "40s"`)
	_, refusals := Compare(parsed(t, base), parsed(t, slower))
	said := strings.Join(refusals, "\n")
	for _, want := range []string{"set node", "node_max_on_time", "was set to 30s"} {
		if !strings.Contains(said, want) {
			t.Errorf("%q does not say %q", said, want)
		}
	}
	told := changed(t, slower, `on_time_limit = "40s"`, "on_time_limit = \"40s\"\nnode_max_on_time = \"60s\"")
	if changes, refusals := Compare(parsed(t, base), parsed(t, told)); len(refusals) > 0 || !strings.Contains(strings.Join(changes, "\n"), "its node allows") {
		t.Errorf("the node is set, and still %q; changes %q", refusals, changes)
	}
	faster := changed(t, base, `on_time_limit = "30s"`, `on_time_limit = "20s"`)
	if _, refusals := Compare(parsed(t, base), parsed(t, faster)); len(refusals) > 0 {
		t.Errorf("shorter runs are refused: %q", refusals)
	}
}

func TestReloadNeverShowsAPassword(t *testing.T) {
	base := changed(t, good(t, "plain.toml"), `prefix = "farm"`, "user = \"leat\"\npassword_env = \"LEAT_BROKER\"")
	a, err := Parse("farm.toml", []byte(base), vault(0o600, ""))
	if err != nil {
		t.Fatal(err)
	}
	other := vault(0o600, "")
	other.Variable = func(string) (string, bool) { return "swordfish", true }
	b, err := Parse("farm.toml", []byte(base), other)
	if err != nil {
		t.Fatal(err)
	}
	changes, refusals := Compare(a, b)
	if len(refusals) == 0 || strings.Contains(strings.Join(append(changes, refusals...), " "), "swordfish") {
		t.Errorf("changes %q, refusals %q", changes, refusals)
	}
}

func TestNamesOfSettingsAreSaidInWords(t *testing.T) {
	for name, want := range map[string]string{"PerHour": "per hour", "ECPerML": "EC per mL", "AcidPerML": "acid per mL", "Volume": "volume", "PH": "PH", "DeadTime": "dead time"} {
		if got := words(name); got != want {
			t.Errorf("%s is said as %q, want %q", name, got, want)
		}
	}
}
