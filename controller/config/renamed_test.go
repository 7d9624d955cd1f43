package config_test

import (
	"os"
	"regexp"
	"strings"
	"testing"

	"leat/controller/config"
)

// oldNames are keys as they were once called, each with the line that the sample could
// hold in its place and the name that the refusal must tell.
var oldNames = []struct{ after, line, now string }{
	{`[log]`, "[history]\nfolder = \"x\"\n\n[log]", "storage"},
	{`rearm_after_restart = false`, `arm_again = false`, "rearm_after_restart"},
	{`rearm_after_restart = false`, `decide_every = "10s"`, "control_period"},
	{`min_dose = "0.4 mL"`, `smallest_dose = "0.4 mL"`, "min_dose"},
	{`min_dose = "0.4 mL"`, `cap_per_dose = "1 mL"`, "dose_cap"},
	{`min_dose = "0.4 mL"`, `cap_per_hour = "10 mL"`, "hourly_cap"},
	{`min_dose = "0.4 mL"`, `cap_per_day = "10 mL"`, "daily_cap"},
	{`min_dose = "0.4 mL"`, `group = "acid"`, "compatibility"},
	{`min_volume = "1000 L"`, `least = "1000 L"`, "min_volume"},
	{`max_volume = "1500 L"`, `greatest = "1500 L"`, "max_volume"},
	{`time_constant = "90s"`, `lag = "90s"`, "time_constant"},
	{`time_constant = "90s"`, `coldest = "8 °C"`, "min_temperature"},
	{`time_constant = "90s"`, `warmest = "30 °C"`, "max_temperature"},
	{`value = "5.8"`, `lowest = "5"`, "min"},
	{`value = "5.8"`, `highest = "7"`, "max"},
	{`value = "1.8 mS/cm"`, `advise_low = "1 mS/cm"`, "advised_min"},
	{`value = "1.8 mS/cm"`, `advise_high = "2 mS/cm"`, "advised_max"},
	{`max_ammonium = "10 %"`, `ammonium_most = "10 %"`, "max_ammonium"},
	{`noise = "0.01 pH"`, `low = "4 pH"`, "min"},
	{`noise = "0.01 pH"`, `high = "9 pH"`, "max"},
}

func TestAKeyOfAnOlderFileIsRefusedAndItsNewNameTold(t *testing.T) {
	sample, err := os.ReadFile("../../deploy/leat.toml")
	if err != nil {
		t.Fatal(err)
	}
	key := regexp.MustCompile(`^\[?([a-z_]+)`)
	for _, old := range oldNames {
		text := strings.Replace(string(sample), "\n"+old.after, "\n"+old.line, 1)
		if text == string(sample) {
			t.Fatalf("%s: the sample has no such line", old.after)
		}
		_, err := config.Parse("leat.toml", []byte(text), config.Env{})
		name := key.FindStringSubmatch(old.line)[1]
		if err == nil || !strings.Contains(err.Error(), name+": is not a known key; it is called \""+old.now+"\" now") {
			t.Errorf("%s: %v; want %q named", name, err, old.now)
		}
	}
}
