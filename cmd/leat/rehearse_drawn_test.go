package main

import (
	"encoding/json"
	"strings"
	"testing"
	"time"
)

// Farms that nobody chose: their configurations were drawn outside this repository, as far
// as leat check passes them.
const drawnFarms = "../../testdata/config/drawn/"

func TestEachTankOfARowGetsItsTurn(t *testing.T) {
	code, out, errs := rehearse("-config", drawnFarms+"three_tanks.toml", "-seed", "20060", "-night", "3", "-trace")
	if code != 0 {
		t.Fatalf("exit code %d: %s", code, errs)
	}
	// Both tanks stand half a pH off until two hours have gone; a dose of either does .1 pH.
	given := map[string]int{}
	for _, line := range strings.Split(out, "\n") {
		words := strings.Fields(line)
		if len(words) < 5 || words[4] != "open" {
			continue
		}
		if at, err := time.ParseDuration(words[0]); err == nil && at >= 40*time.Minute && at < 80*time.Minute {
			given[words[1]]++
		}
	}
	if given["acid-t1"] == 0 || 2*given["acid-t2"] < given["acid-t1"] {
		t.Errorf("doses of acid from minute 40 to 80: %v", given)
	}
}

func TestDrawnFarmsAreHeld(t *testing.T) {
	for _, farm := range []struct{ name, seed, night string }{
		{"phosphoric_acid", "20210", "1"}, // its ammonium stock stood at the hourly cap, and all others waited for it
		{"quick_tanks", "20050", "0"},     // top-up ate the acid that was to be answered
	} {
		code, out, errs := rehearse("-config", drawnFarms+farm.name+".toml", "-seed", farm.seed, "-night", farm.night, "-json")
		if code != 0 {
			t.Fatalf("%s: exit code %d: %s", farm.name, code, errs)
		}
		var night struct {
			Scores []struct {
				PH, EC struct{ InBand float64 }
			}
		}
		if err := json.Unmarshal([]byte(out), &night); err != nil || len(night.Scores) == 0 {
			t.Fatalf("%s: %v in %.300s", farm.name, err, out)
		}
		for tank, s := range night.Scores {
			if s.PH.InBand < 0.95 || s.EC.InBand < 0.95 {
				t.Errorf("%s, tank %d: pH in band %.3f, EC %.3f", farm.name, tank, s.PH.InBand, s.EC.InBand)
			}
		}
	}
}
