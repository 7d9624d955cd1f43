package campaign

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

func python(t *testing.T) string {
	t.Helper()
	path, err := exec.LookPath("python3")
	if err != nil {
		if os.Getenv("LEAT_REAL") == "1" {
			t.Fatal("python3 is missing; install it, or run without LEAT_REAL=1")
		}
		t.Skip("python3 is missing: the example plant is not run")
	}
	return path
}

func TestAPlantOfTheUsersOwnIsHeldInBand(t *testing.T) {
	command := python(t) + " " + filepath.Join("..", "..", "deploy", "plant.py")
	r := short(t, Options{Nights: 1, Seed: 4, Workers: 1, Plant: command, Stderr: os.Stderr})
	if !(r.PH.InBandMean > 0.9) || !(r.EC.InBandMean > 0.9) {
		t.Errorf("in band: pH %.3f, EC %.3f of the time", r.PH.InBandMean, r.EC.InBandMean)
	}
	if r.Outcomes[0].Scores[0].Doses == 0 {
		t.Error("nothing was dosed: the plant stood alone")
	}
	if r.Invariants.Violations > 0 {
		t.Errorf("%v", *r.Invariants.First)
	}
}

func TestAPlantThatTalksNonsenseIsAnError(t *testing.T) {
	interpreter := python(t)
	for name, program := range map[string]string{
		"no JSON":      "print('hello', flush=True)",
		"no pH":        "print('{\"ec\":1,\"celsius\":20,\"litres\":100}', flush=True)",
		"a wild pH":    "print('{\"ph\":55,\"ec\":1,\"celsius\":20,\"litres\":100}', flush=True)",
		"not a number": "print('{\"ph\":NaN,\"ec\":1,\"celsius\":20,\"litres\":100}', flush=True)",
		"silence":      "pass",
	} {
		file := filepath.Join(t.TempDir(), "plant.py")
		if err := os.WriteFile(file, []byte(program+"\n"), 0o600); err != nil {
			t.Fatal(err)
		}
		_, err := Rehearse(context.Background(), Options{Set: "standard", Nights: 1, Faults: "none", Workers: 1, Plant: interpreter + " " + file})
		if err == nil || !strings.Contains(err.Error(), "plant") {
			t.Errorf("%s: want an error that names the plant, got %v", name, err)
		}
	}
}
