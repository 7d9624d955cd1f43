package main

import (
	"testing"
	"time"

	"leat/controller/config"
	"leat/controller/desk"
	"leat/controller/sim"
	"leat/dosing"
	"leat/safety"
	"leat/safety/ledger"
)

// leat check says how large a dose may be as commissioned, the page how large it may be now.
// On a fresh night they are the same for a stock, by the same limit; the first dose of acid
// and base is smaller, and the page says by which limit.
func TestTheLargestDoseOfCheckIsThatOfThePageOnAFreshNight(t *testing.T) {
	for _, c := range []struct {
		file, pump string
		ph         float64
	}{{ownFarm, "acid", 6.05}, {ownFarm, "base", 5.98}, {ownFarm, "feed-a", 6}, {"../../deploy/leat.toml", "acid-north", 5.8}, {"../../deploy/leat.toml", "calcium", 5.8}} {
		report, err := config.CheckFile(c.file)
		if err != nil || !report.OK {
			t.Fatal(err, report.Faults)
		}
		farm, err := desk.FarmOf(c.file)
		if err != nil {
			t.Fatal(err)
		}
		water, err := sim.New(farm.Settings, farm.Topics, farm.Wires, sim.Options{Seed: 3, StartPH: c.ph, StartECShare: 0.8})
		if err != nil {
			t.Fatal(err)
		}
		n, err := sim.PrepareNight(farm.Settings, farm.Topics, farm.Feeds, water, &ledger.Memory{}, time.Date(2031, 3, 4, 18, 0, 0, 0, time.UTC))
		if err != nil {
			t.Fatal(err)
		}
		n.Begin()
		n.Run(20*time.Minute, nil)
		said := map[string]config.Effect{}
		for i := range report.Pumps {
			said[report.Pumps[i].Name] = report.Pumps[i].Effects[0]
		}
		n.Arm()
		for _, p := range n.Core.View(n.Now()).Pumps {
			if p.Name != c.pump {
				continue
			}
			now, check := p.Largest[0], said[p.Name]
			// Off the setpoint the water buffers less: the page may say less, never more.
			part, same := now.Most.Millilitres()/check.LargestML, now.By.String() == check.LargestBy
			if first := now.By == safety.CauseUnconfirmed || now.By == safety.CauseEffectCap; p.Role != dosing.RoleStock && first {
				part, same = max(part, 0.9), true
			}
			if !same || !(part > 0.85 && part < 1.01) {
				t.Errorf("%s: the page says %s by %s (%s), leat check %.3g mL by %s", p.Name, now.Most, now.By, now.Words, check.LargestML, check.LargestBy)
			}
			delete(said, p.Name)
		}
		if _, left := said[c.pump]; left {
			t.Errorf("no pump %q", c.pump)
		}
	}
}
