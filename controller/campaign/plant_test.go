package campaign

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// program finds a program that runs or makes a plant; LEAT_REAL=1 makes it mandatory.
func program(t *testing.T, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		if os.Getenv("LEAT_REAL") == "1" {
			t.Fatalf("%s is missing; install it, or run without LEAT_REAL=1", name)
		}
		t.Skipf("%s is missing: this plant is not played", name)
	}
	return path
}

// secondWater compiles the water that was written apart from the simulated farm.
func secondWater(t *testing.T) string {
	t.Helper()
	into := filepath.Join(t.TempDir(), "water")
	out, err := exec.Command(program(t, "gcc"), "-O2", "-std=c99", "-Wall", "-Wextra", "-Werror", "-o", into,
		filepath.Join("..", "..", "testdata", "plant", "water.c"), "-lm").CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	return into
}

func TestASecondWaterIsHeldInBand(t *testing.T) {
	r := short(t, Options{Nights: 3, Seed: 501, Workers: 2, Plant: secondWater(t), Stderr: os.Stderr})
	if !(r.PH.InBandMean > 0.9) || !(r.EC.InBandMean > 0.9) {
		t.Errorf("in band: pH %.3f, EC %.3f of the time", r.PH.InBandMean, r.EC.InBandMean)
	}
	if r.Harm != nil {
		t.Errorf("no fault began, and doses did harm: %+v", *r.Harm)
	}
}

// A probe that goes on seeing the water of an hour ago is what doses do most harm under;
// the program hands over the water without them.
func TestWhatDosesDoUnderAFaultOfTheSecondWaterIsReported(t *testing.T) {
	r := short(t, Options{Nights: 4, Seed: 500, Workers: 2, Plant: secondWater(t) + " -fault held", Stderr: os.Stderr})
	if r.Harm == nil || r.Harm.Nights != 4 {
		t.Fatalf("want the harm of four nights, got %+v", r.Harm)
	}
	if !(r.Harm.PHMax > 0.1) {
		t.Errorf("doses into water that the probe does not see did no harm at all (%.3f pH): the twin is not another water", r.Harm.PHMax)
	}
}

func TestAPlantOfTheUsersOwnIsHeldInBand(t *testing.T) {
	command := program(t, "python3") + " " + filepath.Join("..", "..", "deploy", "plant.py")
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
	interpreter := program(t, "python3")
	for name, text := range map[string]string{
		"no JSON":      "print('hello', flush=True)",
		"no pH":        "print('{\"ec\":1,\"celsius\":20,\"litres\":100}', flush=True)",
		"a wild pH":    "print('{\"ph\":55,\"ec\":1,\"celsius\":20,\"litres\":100}', flush=True)",
		"not a number": "print('{\"ph\":NaN,\"ec\":1,\"celsius\":20,\"litres\":100}', flush=True)",
		"half a twin":  "print('{\"ph\":6,\"ec\":1,\"celsius\":20,\"litres\":100,\"twin\":{\"ph\":6}}', flush=True)",
		"a wild probe": "print('{\"ph\":6,\"ec\":1,\"celsius\":20,\"litres\":100,\"seen\":{\"ph\":-1,\"ec\":1}}', flush=True)",
		"silence":      "pass",
	} {
		file := filepath.Join(t.TempDir(), "plant.py")
		if err := os.WriteFile(file, []byte(text+"\n"), 0o600); err != nil {
			t.Fatal(err)
		}
		_, err := Rehearse(context.Background(), Options{Set: "standard", Nights: 1, Faults: "none", Workers: 1, Plant: interpreter + " " + file})
		if err == nil || !strings.Contains(err.Error(), "plant") {
			t.Errorf("%s: want an error that names the plant, got %v", name, err)
		}
	}
}
