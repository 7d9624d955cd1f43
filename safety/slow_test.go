package safety

import (
	"strings"
	"testing"
	"time"

	"leat/dosing"
)

// pondBasin is a basin that is told of a pond with 60 % of its water.
func pondBasin() *basin {
	b := newBasin()
	b.tank.Slow, b.tank.Exchange = 0.6, time.Hour
	b.responses = NewResponses(b.pumps, b.tank, evenBuffer(0.5))
	return b
}

// feed gives small doses of both stocks by turns, each worth 0.01 mS/cm as commissioned,
// which truly do so many times as much, and returns the first finding.
func (b *basin) feed(a, other float64) (Finding, bool) {
	b.wait(30 * time.Minute)
	worth := 0.01 * float64(b.tank.Quick()) / b.pumps[nightStockA].ECPerML
	for i := range 24 {
		pump, times := nightStockA, a
		if i%2 == 1 {
			pump, times = nightStockB, other
		}
		b.dose(pump, worth, 0, times*0.01)
		if f, found := b.wait(4 * time.Minute); found {
			return f, true
		}
	}
	return b.wait(30 * time.Minute)
}

func TestStocksThatAllDoMoreInAPondFarmAreNotStopped(t *testing.T) {
	// The quick share was told half as large again as it is.
	if f, found := pondBasin().feed(1.5, 1.5); found {
		t.Errorf("all stocks do 1.5 times what they should: %+v", f)
	}
}

func TestAStrongStockStandsOutBesideTheOthersInAPondFarm(t *testing.T) {
	f, found := pondBasin().feed(5, 1.2)
	if !found || f.Cause != CauseTooStrong || f.Pump != nightStockA {
		t.Errorf("a stock five times too strong beside one of 1.2: %+v %v", f, found)
	}
}

func TestAllStocksTooStrongAtOnceAskForThePondsThatNobodyStated(t *testing.T) {
	f, found := newBasin().feed(3.3, 3.3)
	if !found || f.Cause != CauseTooStrong || !strings.Contains(f.Detail, "state its zones") {
		t.Errorf("all stocks do 3.3 times what they should: %+v %v", f, found)
	}
}

func TestThePumpIsNotBlamedForWhatTheWaterDoes(t *testing.T) {
	weak := Situation{LnBuffer: 0.6, ECGain: 1, Answered: 5}
	for _, x := range []struct {
		name   string
		change func(*Situation)
		says   string
	}{
		{"all alike", func(s *Situation) { s.ECGain = 0.6 }, "all fall alike"},
		{"all alike, with a pond", func(s *Situation) { s.ECGain, s.Slow = 0.6, 0.5 }, "a larger quick share"},
		{"carbonate", func(s *Situation) { s.Acid, s.Base = Usual{Known: true, Does: 0.5}, Usual{Known: true, Does: 1} }, "carbonate takes up acid and not base"},
		{"base alone", func(s *Situation) { s.Acid, s.Base = Usual{Known: true, Does: 1}, Usual{Known: true, Does: 0.5} }, "it is the base alone"},
		{"acid and base", func(s *Situation) { s.Acid, s.Base = Usual{Known: true, Does: 0.6}, Usual{Known: true, Does: 0.55} }, "a pH probe that answers slowly"},
		{"only acid was given, hard water came in", func(s *Situation) { s.Acid, s.Alkaline = Usual{Known: true, Does: 0.6}, true }, "carbonate, which the top-up brings"},
		{"only acid was given", func(s *Situation) { s.Acid = Usual{Known: true, Does: 0.6} }, "a worn tube, a slow pH probe or water that buffers more"},
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
	if len(n.announced) != 1 || n.announced[0].Cause != CauseBufferScale || !strings.Contains(n.announced[0].Text, "exchange_time") {
		t.Fatalf("announced %v, want buffer-scale that asks for the zones", n.announced)
	}
	s.ECGain = 1 // a weak buffer alone is learned and no alarm
	n.pass(time.Hour)
	if n.state(CauseBufferScale) != AlarmReturnedUnacknowledged {
		t.Errorf("state %s once the stocks do what they should", n.state(CauseBufferScale))
	}
}

func TestDosesAreJudgedByTheQuickWater(t *testing.T) {
	largest := func(slow float64) dosing.Volume {
		f := newFarm(t, func(s *Settings) { s.Tanks[0].Slow, s.Tanks[0].Exchange, s.Tanks[0].Least = slow, time.Hour, 950 })
		f.pass(10 * time.Minute)
		most, cause := f.g.Largest(f.now, 0, calciumPump)
		if cause != CauseNone {
			t.Fatalf("slow %g: %s", slow, cause)
		}
		return most
	}
	if one, two := largest(0), largest(0.6); two > one*41/100 || two < one*39/100 {
		t.Errorf("%s of stock at once in one water, %s where 60 %% are slow", one, two)
	}
}
