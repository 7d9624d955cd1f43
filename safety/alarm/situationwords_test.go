package alarm

import (
	"math"
	"strings"
	"testing"
	"time"

	"leat/safety"
	"leat/safety/response"
)

func TestThePumpIsNotBlamedForWhatTheWaterDoes(t *testing.T) {
	weak := Situation{LnBuffer: 0.6, ECGain: 1, Answered: 5}
	for _, x := range []struct {
		name   string
		change func(*Situation)
		says   string
	}{
		{"all alike", func(s *Situation) { s.ECGain = 0.6 }, "all fall alike"},
		{"all alike, with a pond", func(s *Situation) { s.ECGain, s.Slow = 0.6, 0.5 }, "a larger quick share"},
		{"carbonate", func(s *Situation) {
			s.Acid, s.Base = safety.Usual{Known: true, Does: 0.5}, safety.Usual{Known: true, Does: 1}
		}, "carbonate takes up acid and not base"},
		{"base alone", func(s *Situation) {
			s.Acid, s.Base = safety.Usual{Known: true, Does: 1}, safety.Usual{Known: true, Does: 0.5}
		}, "it is the base alone"},
		{"acid and base", func(s *Situation) {
			s.Acid, s.Base = safety.Usual{Known: true, Does: 0.6}, safety.Usual{Known: true, Does: 0.55}
		}, "a pH probe that answers slowly"},
		{"only acid was given, hard water came in", func(s *Situation) { s.Acid, s.Alkaline = safety.Usual{Known: true, Does: 0.6}, true }, "carbonate, which the top-up brings"},
		{"only acid was given", func(s *Situation) { s.Acid = safety.Usual{Known: true, Does: 0.6} }, "a worn tube, a slow pH probe or water that buffers more"},
	} {
		s := weak
		x.change(&s)
		if got := s.weak(); !strings.Contains(got, x.says) || !strings.Contains(got, "55 %") {
			t.Errorf("%s: %q", x.name, got)
		}
	}
}

func TestDosesThatAllDoMoreAtFirstAskForTheSlowWater(t *testing.T) {
	n := newAlarmNight()
	s := goodSituation()
	s.LnBuffer, s.ECGain = -0.6, 1.6
	n.situation = &s
	n.pass(time.Hour)
	if len(n.announced) != 1 || n.announced[0].Cause != safety.CauseBufferScale || !strings.Contains(n.announced[0].Text, "exchange_time") {
		t.Fatalf("announced %v, want buffer-scale that asks for the zones", n.announced)
	}
	s.ECGain = 1 // a weak buffer alone is learned and no alarm
	n.pass(time.Hour)
	if n.state(safety.CauseBufferScale) != ReturnedUnacknowledged {
		t.Errorf("state %s once the stocks do what they should", n.state(safety.CauseBufferScale))
	}
}

func TestZonesThatAreStatedAreNotAskedFor(t *testing.T) {
	n := newAlarmNight()
	s := goodSituation()
	s.LnBuffer, s.ECGain, s.Later = -0.6, 1.6, 0.35
	n.situation = &s
	n.pass(time.Hour)
	if len(n.announced) > 0 {
		t.Errorf("a pond of a third of the water explains 1.5 times as much at first; announced %v", n.announced)
	}
	s.LnBuffer, s.ECGain = -1.2, 2.5
	n.pass(time.Hour)
	if len(n.announced) != 1 {
		t.Errorf("and not 3 times as much; announced %v", n.announced)
	}
}

func TestWhatDosesThatDoLittlePointToIsToldInFigures(t *testing.T) {
	weak := Situation{LnBuffer: math.Log(2), ECGain: 0.9}
	both := weak
	both.Acid, both.Base = safety.Usual{Known: true, Does: 0.4}, safety.Usual{Known: true, Does: 0.8}
	base := weak
	base.Acid, base.Base = safety.Usual{Known: true, Does: 0.8}, safety.Usual{Known: true, Does: 0.4}
	alike := weak
	alike.Acid, alike.Base = safety.Usual{Known: true, Does: 0.5}, safety.Usual{Known: true, Does: 0.5}
	all := weak
	all.ECGain = 0.5
	for what, c := range map[string]struct {
		s    *Situation
		want string
	}{
		"acid":  {&both, "acid and base do 50 % of what was commissioned (acid 40, base 80 %), the stocks do 90 %: carbonate takes up acid and not base, as top-up water or a base of carbonate brings it; else the acid's tube"},
		"base":  {&base, "acid and base do 50 % of what was commissioned (acid 80, base 40 %), the stocks do 90 %: it is the base alone: its tube, or what it has lost to the air"},
		"alike": {&alike, "acid and base do 50 % of what was commissioned, one like the other, the stocks do 90 %: water that buffers more than was commissioned, or a pH probe that answers slowly (time it in two buffers)"},
		"all":   {&all, "acid and base do 50 % of what was commissioned, the stocks do 50 %: all fall alike, as with pumps that give less than they count, or more water in the tank than was stated"},
	} {
		if got := c.s.weak(); got != c.want {
			t.Errorf("%s:\n got %q\nwant %q", what, got, c.want)
		}
	}
	rich := Situation{LnBuffer: math.Log(0.5), ECGain: 1.6}
	if got, want := rich.rich(), "acid and base do 200 % and the stocks 160 % of what was commissioned, all at first more than they should: "+response.SlowWaterWords; got != want {
		t.Errorf(" got %q\nwant %q", got, want)
	}
}
