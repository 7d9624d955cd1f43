// Package apptest is what the tests of the daemon stand on: a configuration of a
// small farm that mixes within seconds, that farm as a client of a broker, Debian's
// mosquitto as a process, and the daemon as a process that can be killed. Nothing
// that is shipped imports it.
package apptest

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"leat/controller/config"
)

// Settling is the wait after a start of the small farm, one mixing time of its
// tank: θ + 4τ with θ = τ = 1 s.
const Settling = 5 * time.Second

// small is a tub of 20 L in which a dose of two seconds shows after one. Doses are
// small, so that a test of minutes never reaches a setpoint or a cap.
const small = `
[station]
name = "bench"
control_period = "1s"
start_settling = "5s"
stop = { not_fitted = "a test" }
drip_tray = { not_fitted = "a test" }

[storage]
folder = "STATE"

[page]
listen = "127.0.0.1:0"

[broker]
url = "BROKER"

[[node]]
name = "pumps"

[[pump]]
name = "acid"
role = "acid"
reagent = "nitric acid"
strength = "2 %"
rate = "6 mL/min"
min_dose = "0.02 mL"
dose_cap = "0.2 mL"

[[pump]]
name = "feed-a"
role = "stock"
salts = { "calcium nitrate tetrahydrate" = "90 g/L", "potassium nitrate" = "40 g/L" }
share = "50 %"
rate = "12 mL/min"
min_dose = "0.05 mL"
dose_cap = "0.4 mL"

[[pump]]
name = "feed-b"
role = "stock"
salts = { "monopotassium phosphate" = "25 g/L", "magnesium sulfate heptahydrate" = "50 g/L", "potassium nitrate" = "30 g/L" }
share = "50 %"
rate = "12 mL/min"
min_dose = "0.05 mL"
dose_cap = "0.4 mL"

[[tank]]
name = "tub"
volume = "20 L"
dead_time = "1s"
time_constant = "1s"

[tank.input.ph]
every = "1s"
compensation = "Nernst"

[tank.input.ec]
every = "1s"
compensation = "linear 2.0 %/K"

[tank.input.temperature]
every = "1s"

[tank.input.level]
every = "1s"

[tank.input.circulation]
every = "1s"

[tank.input.leak]
not_fitted = "a test"

[tank.input.flood]
not_fitted = "a test"

[tank.input.top_up]
not_fitted = "a test"

[tank.input.sample_flow]
not_fitted = "a test"

[tank.input.redox]
not_fitted = "a test"
`

// Config writes the small farm's configuration into a folder of the test and
// returns its path. Changes are pairs of old and new text; an old text that is not
// there fails the test.
func Config(t testing.TB, broker string, changes ...string) string {
	t.Helper()
	folder := t.TempDir()
	text := strings.NewReplacer("STATE", filepath.Join(folder, "state"), "BROKER", broker).Replace(small)
	path := filepath.Join(folder, "leat.toml")
	Rewrite(t, path, text, changes...)
	return path
}

// Rewrite writes text with changes to path.
func Rewrite(t testing.TB, path, text string, changes ...string) {
	t.Helper()
	for i := 0; i+1 < len(changes); i += 2 {
		if !strings.Contains(text, changes[i]) {
			t.Fatalf("the configuration holds no %q to change", changes[i])
		}
		text = strings.Replace(text, changes[i], changes[i+1], 1)
	}
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}

// Edit changes a configuration in place.
func Edit(t testing.TB, path string, changes ...string) {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	Rewrite(t, path, string(text), changes...)
}

// Load reads a configuration that must be valid.
func Load(t testing.TB, path string) *config.File {
	t.Helper()
	file, err := config.Load(path)
	if err != nil {
		t.Fatal(err)
	}
	return file
}

// State is the state folder of a configuration made by Config.
func State(path string) string { return filepath.Join(filepath.Dir(path), "state") }
