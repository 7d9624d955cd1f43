package main

import (
	"crypto/sha256"
	"encoding/json"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"leat/controller/desk"
	"leat/controller/sim"
	"leat/controller/store"
)

const ownFarm = "../../testdata/config/good/plain.toml"

// livedFolder is the state folder of a daemon that ran the farm for eleven hours.
func livedFolder(t *testing.T) string {
	t.Helper()
	farm, err := desk.FarmOf(ownFarm)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	db, err := store.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	water, err := sim.New(farm.Settings, farm.Topics, farm.Wires, sim.Options{Seed: 3, StartPH: 6.2, StartECShare: 0.8})
	if err != nil {
		t.Fatal(err)
	}
	n, err := sim.PrepareNight(farm.Settings, farm.Topics, farm.Feeds, water, db, time.Date(2031, 3, 4, 18, 0, 0, 0, time.UTC))
	if err != nil {
		t.Fatal(err)
	}
	history := db.History()
	n.Tap = func(topic string, body []byte) []byte {
		for i := range farm.Feeds {
			f := &farm.Feeds[i]
			if v, err := strconv.ParseFloat(string(body), 64); err == nil && f.Topic == topic && int(f.Tank) < len(farm.Settings.Safety.Tanks) {
				history.Observe(n.Now().Wall, farm.Settings.Safety.Tanks[f.Tank].Name+"/"+farm.Settings.Safety.Inputs[f.Input].Name, v)
			}
		}
		return body
	}
	n.Begin()
	n.Run(20*time.Minute, nil)
	n.Arm()
	n.Run(11*time.Hour, nil)
	if err := history.Flush(); err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	return dir
}

func contents(t *testing.T, dir string) map[string][32]byte {
	t.Helper()
	all := map[string][32]byte{}
	for _, name := range []string{"leat.db", "leat.head"} {
		body, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		all[name] = sha256.Sum256(body)
	}
	return all
}

func TestTheOwnRecordIsRehearsedAndNotTouched(t *testing.T) {
	dir := livedFolder(t)
	before := contents(t, dir)
	code, out, errs := rehearse("-config", ownFarm, "-from", dir, "-nights", "2", "-json")
	if code != 0 {
		t.Fatalf("exit code %d: %s", code, errs)
	}
	var report struct {
		Hours float64
		PH    struct {
			InBand float64 `json:"in_band_mean"`
		}
	}
	if err := json.Unmarshal([]byte(out), &report); err != nil {
		t.Fatal(err)
	}
	if report.Hours != 20 || !(report.PH.InBand > 0.8) {
		t.Errorf("%.0f h, pH in band %.2f of the time", report.Hours, report.PH.InBand)
	}
	for name, sum := range contents(t, dir) {
		if sum != before[name] {
			t.Errorf("%s was changed", name)
		}
	}
}
