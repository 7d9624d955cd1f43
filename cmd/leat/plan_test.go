package main

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"
)

func runPlan(args ...string) (code int, out, errs string) {
	var stdout, stderr bytes.Buffer
	code = dispatch(append([]string{"plan"}, args...), &stdout, &stderr)
	return code, stdout.String(), stderr.String()
}

func TestAPlanOfADumpTellsWhatRemainsAndWhatToAdd(t *testing.T) {
	code, out, errs := runPlan("dump", "-config", "../../deploy/leat.toml", "-tank", "north", "-litres", "350", "-json")
	if code != 0 {
		t.Fatalf("exit %d: %s", code, errs)
	}
	var plan struct {
		Share    float64            `json:"dump_share"`
		Water    float64            `json:"water_litres"`
		Before   map[string]float64 `json:"before_mg_per_l"`
		Refilled map[string]float64 `json:"refilled_mg_per_l"`
		Add      struct {
			PH     float64 `json:"ph"`
			EC     float64 `json:"ec25_ms_per_cm"`
			Stocks []struct {
				Name  string
				InAll float64 `json:"in_all"`
			}
		}
	}
	if err := json.Unmarshal([]byte(out), &plan); err != nil {
		t.Fatal(err)
	}
	litres := 0.0
	for _, s := range plan.Add.Stocks {
		litres += s.InAll / 1000
	}
	// A quarter of 1400 L is dumped: nitrate, which the source lacks, falls to three quarters.
	if plan.Share != 0.25 || plan.Refilled["NO3-N"] < 0.749*plan.Before["NO3-N"] || plan.Refilled["NO3-N"] > 0.751*plan.Before["NO3-N"] {
		t.Errorf("%g of the tank: nitrate from %g to %g", plan.Share, plan.Before["NO3-N"], plan.Refilled["NO3-N"])
	}
	if d := plan.Water + litres - 350; d > 0.5 || d < -0.5 {
		t.Errorf("%g L of water and %g L of liquids for 350 L", plan.Water, litres)
	}
	if plan.Add.PH < 5.7 || plan.Add.PH > 5.9 || plan.Add.EC < 1.75 || plan.Add.EC > 1.85 {
		t.Errorf("pH %g, EC %g", plan.Add.PH, plan.Add.EC)
	}
	_, text, _ := runPlan("fill", "-config", "../../deploy/leat.toml", "-tank", "north")
	for _, want := range []string{"Plan: dump 1400 of 1400 L", "never water into acid", "leat mode confirm-water -water source -note", "Order, each stirred in"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in:\n%s", want, text)
		}
	}
}

func TestAPlanOfMoreThanTheTankIsRefused(t *testing.T) {
	for _, args := range [][]string{{"dump", "-tank", "north", "-litres", "3500"}, {"dump", "-tank", "north"}, {"fill", "-tank", "north", "-litres", "5"}, {"dig"}} {
		if code, _, errs := runPlan(append(args, "-config", "../../deploy/leat.toml")...); code != 2 || errs == "" {
			t.Errorf("%v: exit %d, %q", args, code, errs)
		}
	}
}

func TestSeveralCropsOnOneTankAreToldWhatEachMisses(t *testing.T) {
	code, out, errs := runPlan("crops", "-crop", "lettuce:60", "-crop", "strawberry:40 %")
	if code != 0 {
		t.Fatalf("exit %d: %s", code, errs)
	}
	for _, want := range []string{"lettuce, 60 %", "strawberry, 40 %", "strength", `elements = { "NO3-N" = "`} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in:\n%s", want, out)
		}
	}
	// What it prints for the file is a recipe that leat blend reads.
	_, list, _ := strings.Cut(out, "elements = { ")
	list = strings.NewReplacer(`"`, "", " }", "", "\n", "").Replace(list)
	var blended, wrong bytes.Buffer
	if code := dispatch([]string{"blend", "-recipe", list, "-salts", "common", "-json"}, &blended, &wrong); code != 0 {
		t.Errorf("leat blend of %q: exit %d: %s", list, code, wrong.String())
	}
	for _, args := range [][]string{{"crops"}, {"crops", "-crop", "lettuce"}, {"crops", "-crop", "lettuce:0", "-crop", "steiner"}, {"crops", "-crop", "lettuce:much", "-crop", "steiner"}} {
		if code, _, errs := runPlan(args...); code != 2 || errs == "" {
			t.Errorf("%v: exit %d, %q", args, code, errs)
		}
	}
}

func TestAPlanOfADilutionSaysHowMuchWaterAndWhetherToDump(t *testing.T) {
	code, out, errs := runPlan("dilute", "-config", "../../testdata/config/good/valve.toml", "-tank", "big", "-from-ec", "2.1", "-json")
	if code != 0 {
		t.Fatalf("exit %d: %s", code, errs)
	}
	var plan struct {
		Add  float64 `json:"add_litres_without_dumping"`
		Dump float64 `json:"dump_litres"`
	}
	if err := json.Unmarshal([]byte(out), &plan); err != nil {
		t.Fatal(err)
	}
	// 3150 L from 2.1 to 1.9 with water of 0.35: 3150·0.2/1.55 added, or 3150·0.2/1.75 in place of what is dumped.
	if d := plan.Add - 406.5; d > 0.5 || d < -0.5 {
		t.Errorf("add %g L", plan.Add)
	}
	if d := plan.Dump - 360; d > 0.5 || d < -0.5 {
		t.Errorf("dump %g L", plan.Dump)
	}
	_, text, _ := runPlan("dilute", "-config", "../../testdata/config/good/valve.toml", "-tank", "big", "-from-ec", "2.1")
	if !strings.Contains(text, "Dump 360 L and fill in as much water") {
		t.Error(text)
	}
	if _, text, _ = runPlan("dilute", "-config", "../../testdata/config/good/valve.toml", "-tank", "big", "-from-ec", "1.95"); !strings.Contains(text, "Nothing has to be dumped") {
		t.Error(text)
	}
	if code, _, errs := runPlan("dilute", "-config", "../../testdata/config/good/valve.toml", "-tank", "big", "-from-ec", "1.5"); code != 2 || !strings.Contains(errs, "nothing to dilute") {
		t.Errorf("exit %d: %s", code, errs)
	}
}
