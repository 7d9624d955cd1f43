package controller_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"leat/controller"
	"leat/controller/config"
	"leat/controller/sim"
)

// litFarm is the scenarios' farm with a lamp whose own controller tells when it burns.
func litFarm(t *testing.T) *stage {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(scenarioFolder, "farm.toml"))
	if err != nil {
		t.Fatal(err)
	}
	lit := strings.Replace(string(text), "[tank.input.redox]", "[tank.input.light]\n\n[tank.input.redox]", 1)
	lit = strings.Replace(lit, `time_constant = "90s"`, `time_constant = "90s"
day_begins = "06:00"
day_ends = "22:00"

[[tank.stage]]
name = "leaves"
from = "2026-01-01"
ec = "1.8 mS/cm"
night_ec = "1.7 mS/cm"`, 1)
	file, err := config.Parse("farm.toml", []byte(lit), config.Env{})
	if err != nil {
		t.Fatal(err)
	}
	file.Settings.Version = "farm"
	file.Settings.Tanks[0].Zones[0].Own = controller.Watering{ByDay: 4, Length: 9 * time.Minute}
	s := &stage{rig: unstarted(t, file, sim.Options{Seed: 5}), t: t, taps: map[string]func([]byte) []byte{}}
	s.start(t, evening, s.listen)
	return s
}

// lamps makes the lamps' controller say that they burn, or not.
func (s *stage) lamps(burn string) {
	s.taps[s.file.Topics.Reading(north, "light")] = func([]byte) []byte { return []byte(burn) }
}

// The lamps burn from 18:30 to 02:30, whatever the clock of the file says.
func TestTheLampsTellDayFromNight(t *testing.T) {
	s := litFarm(t)
	s.lamps("0")
	s.pass(30 * time.Minute)
	if got := s.view(north).EC.Final; got != 1.7 {
		t.Errorf("the lamps are dark, and EC goes to %.2f", got)
	}
	s.lamps("1")
	s.pass(8 * time.Hour)
	if got := s.view(north).EC.Final; got != 1.8 {
		t.Errorf("the lamps burn, and EC goes to %.2f", got)
	}
	s.lamps("0")
	s.pass(time.Minute)
	if got := s.line("bench"); !strings.Contains(got, "at 00:30, 18:30, 20:30, 22:30 for 9 min") {
		t.Errorf("the bench: %s", got)
	}
	s.pass(5 * time.Minute)
	if got := s.view(north).EC.Final; got != 1.7 {
		t.Errorf("the lamps are dark again, and EC goes to %.2f", got)
	}
	// Silent lamps leave it to the clock, here that of the last day of theirs.
	s.lamps("nothing that can be read")
	s.pass(16 * time.Hour) // 18:36
	if got := s.view(north).EC.Final; got != 1.8 {
		t.Errorf("by the clock it is day, and EC goes to %.2f", got)
	}
}
