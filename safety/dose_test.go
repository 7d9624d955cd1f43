package safety

import (
	"math"
	"strings"
	"testing"
	"time"

	"leat/dosing"
)

func TestUncertainDoseCountsTowardDailyCap(t *testing.T) {
	f := newFarm(t, func(s *Settings) { s.Caps[calciumPump].PerDay = 60 * dosing.Millilitre })
	key := f.open(0, calciumPump, 50*dosing.Millilitre)
	f.pass(20 * time.Second)
	f.w.Doubted(f.now, 0, calciumPump)
	f.pass(5 * time.Minute)
	f.w.Closed(f.now, 0, calciumPump, key, FateUnknown, 0)
	f.pass(10 * time.Second)
	f.wantCause("with 50 mL uncertain", f.judge(1, calciumPump, 11*dosing.Millilitre), CauseDailyCap)
}

func TestAStockThatWasHardlyUsedMayStillGiveItsSmallestDose(t *testing.T) {
	f := newFarm(t)
	f.w.Demand(calciumPump, dosing.Millilitre/100, dosing.Millilitre/10)
	f.w.Used(calciumPump, 6*24*time.Hour, dosing.Millilitre/10)
	f.pass(time.Second)
	smallest := f.w.settings.Pumps[calciumPump].MinDose
	if hour, day := f.w.HourlyCap(calciumPump), f.w.DailyCap(calciumPump); hour != smallest || day != smallest {
		t.Errorf("caps of %s an hour and %s a day, smallest dose %s", hour, day, smallest)
	}
}

func TestMultiplesOfRecentUseBindOnlyAfterThreeDaysAndNeverBelowTwiceTheDemand(t *testing.T) {
	f := newFarm(t)
	f.w.Demand(acidPump, 20*dosing.Millilitre, 240*dosing.Millilitre)
	f.w.Used(acidPump, 2*24*time.Hour, 480*dosing.Millilitre)
	f.pass(time.Second)
	if f.w.HourlyCap(acidPump) != 200*dosing.Millilitre {
		t.Errorf("after two days the hour cap is %s", f.w.HourlyCap(acidPump))
	}
	f.w.Used(acidPump, 2*24*time.Hour, 672*dosing.Millilitre)
	// 1152 mL in 4 days: 12 mL/h and 288 mL a day.
	if got := f.w.HourlyCap(acidPump); got < 47*dosing.Millilitre || got > 48*dosing.Millilitre {
		t.Errorf("hour cap %s, want 4 × 12 mL", got)
	}
	if got := f.w.DailyCap(acidPump); got < 860*dosing.Millilitre || got > 864*dosing.Millilitre {
		t.Errorf("day cap %s, want 3 × 288 mL", got)
	}
	f.w.Demand(acidPump, 40*dosing.Millilitre, 480*dosing.Millilitre)
	if got := f.w.HourlyCap(acidPump); got != 80*dosing.Millilitre {
		t.Errorf("hour cap %s, want twice the demand", got)
	}
	f.w.Demand(acidPump, dosing.Litre, dosing.Litre)
	if got := f.w.HourlyCap(acidPump); got != 200*dosing.Millilitre {
		t.Errorf("hour cap %s: demand widened the absolute cap", got)
	}
	f.w.Demand(acidPump, 20*dosing.Millilitre, 240*dosing.Millilitre)
	f.w.Fill(acidPump, 100*dosing.Millilitre, f.now.Up+time.Hour)
	if got := f.w.HourlyCap(acidPump); got != 200*dosing.Millilitre {
		t.Errorf("during a fill the hour cap is %s", got)
	}
	f.w.ByHand(dosing.Dose{Tank: 0, Pump: acidPump, Volume: 100 * dosing.Millilitre, Up: f.now.Up})
	if got := f.w.HourlyCap(acidPump); got > 60*dosing.Millilitre {
		t.Errorf("with its budget spent the hour cap is %s", got)
	}
	f.w.Fill(acidPump, 100*dosing.Millilitre, f.now.Up+time.Second)
	f.pass(2 * time.Second)
	if got := f.w.HourlyCap(acidPump); got > 60*dosing.Millilitre {
		t.Errorf("after its end the hour cap is %s", got)
	}
	f.w.Demand(acidPump, 0, 0)
	if got := f.w.HourlyCap(acidPump); got != 200*dosing.Millilitre {
		t.Errorf("without a demand the hour cap is %s: a pump that was never needed would starve", got)
	}
}

func TestRecentUseFadesOverAWeek(t *testing.T) {
	var u use
	u.pass(0)
	for day := range 40 {
		u.add(dosing.Litre)
		u.pass(time.Duration(day+1) * 24 * time.Hour)
	}
	mean := u.volume.Litres() / (u.span.Hours() / 24)
	if u.span > 8*24*time.Hour || math.Abs(mean-1) > 0.01 {
		t.Errorf("%s in %s", u.volume, u.span)
	}
}

func TestTheBudgetOfAFillIsUsedUpByWhatThePumpGives(t *testing.T) {
	f := newFarm(t, func(s *Settings) { s.Tanks[0].BufferScale = 50 })
	f.w.Demand(acidPump, 10*dosing.Millilitre, 240*dosing.Millilitre)
	f.w.Used(acidPump, 4*24*time.Hour, 480*dosing.Millilitre)
	f.w.Fill(acidPump, 60*dosing.Millilitre, f.now.Up+time.Hour)
	f.dose(0, acidPump, 40*dosing.Millilitre)
	if got := f.w.HourlyCap(acidPump); got != 200*dosing.Millilitre {
		t.Errorf("with 20 mL of its budget left the hour cap is %s", got)
	}
	f.dose(0, acidPump, 20*dosing.Millilitre)
	if got := f.w.HourlyCap(acidPump); got > 30*dosing.Millilitre {
		t.Errorf("with its budget spent by doses the hour cap is %s", got)
	}
}

// A machine may have run for a month before leat began on it, and its uptime may step back.
func TestOnlyTheTimeThatLeatSawIsARecordOfUse(t *testing.T) {
	var u use
	u.pass(30 * 24 * time.Hour)
	if u.span != 0 {
		t.Errorf("at the start a record of %s", u.span)
	}
	u.pass(30*24*time.Hour + 10*time.Hour)
	u.pass(30*24*time.Hour + 5*time.Hour)
	u.pass(30*24*time.Hour + 10*time.Hour)
	if u.span != 10*time.Hour {
		t.Errorf("10 h, of which 5 h passed twice by an uptime that stepped back: a record of %s", u.span)
	}
}

func TestOneOrderOfAStationAtATime(t *testing.T) {
	f := newFarm(t)
	f.open(0, acidPump, 2*dosing.Millilitre)
	v := f.judge(1, calciumPump, 5*dosing.Millilitre)
	f.wantCause("another tank", v, CauseDoseOpen)
	if !strings.Contains(v.Detail, "2 mL of acid") {
		t.Errorf("detail %q", v.Detail)
	}
}

func TestTheSecondJudgementDoesNotCountTheDoseAgainstItself(t *testing.T) {
	f := newFarm(t, func(s *Settings) {
		s.Caps[acidPump].PerHour = 5 * dosing.Millilitre
		s.Caps[acidPump].PerDay = 5 * dosing.Millilitre
	})
	f.w.Aim(0, dosing.Target{PH: 5.5, EC: 2})
	plan := dosing.Plan{Tank: 0, Pump: acidPump, Volume: 5 * dosing.Millilitre, Reason: dosing.ReasonPHHigh}
	key := f.open(0, acidPump, plan.Volume)
	if v := f.g.Recheck(f.now, plan, key); !v.Allowed {
		t.Errorf("%+v", v)
	}
	if v := f.g.Recheck(f.now, plan, key+1); v.Allowed || v.Cause != CauseDoseOpen {
		t.Errorf("another key: %+v", v)
	}
	more := plan
	more.Volume++
	if v := f.g.Recheck(f.now, more, key); v.Allowed {
		t.Errorf("another volume: %+v", v)
	}
	elsewhere := plan
	elsewhere.Tank = 1
	if v := f.g.Recheck(f.now, elsewhere, key); v.Allowed {
		t.Errorf("another tank: %+v", v)
	}
	f.set(0, dosing.QuantityLeak, 1)
	f.send(f.input(0, dosing.QuantityLeak), 1, 0, false)
	if v := f.g.Recheck(f.now, plan, key); v.Allowed || v.Cause != CauseLeak {
		t.Errorf("a leak since: %+v", v)
	}
	none := newFarm(t)
	v := none.g.Recheck(none.now, plan, 5)
	if v.Allowed || v.Cause != CauseDoseOpen || v.Detail == "" {
		t.Errorf("never counted: %+v", v)
	}
}

func TestANodeThatIsBusyNowTakesNoOrder(t *testing.T) {
	f := newFarm(t)
	f.dose(0, calciumPump, 5*dosing.Millilitre)
	f.w.Heartbeat(f.now, 1, "first", f.node[1].tick, false)
	f.w.Evaluate(f.now)
	if _, tripped := f.trip(0, CauseNodeBusy); tripped {
		t.Error("a heartbeat that lags behind the report is no fault")
	}
	v := f.judge(0, calciumPump, 5*dosing.Millilitre)
	f.wantCause("its heartbeat says busy", v, CauseNodeBusy)
	if v.Detail == "" {
		t.Error("refused without a word")
	}
}

func TestWithdrawnDoseCountsNothingAndARefusedOneInFull(t *testing.T) {
	f := newFarm(t)
	key := f.open(0, calciumPump, 50*dosing.Millilitre)
	f.w.Closed(f.now, 0, calciumPump, key, FateKnown, 0)
	if got := f.totals.Hour(calciumPump, f.now.Up); got != 0 {
		t.Errorf("withdrawn: %s", got)
	}
	f.pass(5 * time.Second)
	key = f.open(0, calciumPump, 50*dosing.Millilitre)
	f.w.Closed(f.now, 0, calciumPump, key, FateUnknown, 0)
	if got := f.totals.Hour(calciumPump, f.now.Up); got != 50*dosing.Millilitre {
		t.Errorf("refused: %s", got)
	}
	f.pass(time.Second)
	if _, tripped := f.trip(0, CauseDoseUncertain); !tripped {
		t.Error("nobody waits for a refused dose")
	}
	key = f.open(1, calciumPump, 50*dosing.Millilitre)
	f.w.Closed(f.now, 1, calciumPump, key, FateKnown, -7)
	if got := f.totals.Hour(calciumPump, f.now.Up); got != 50*dosing.Millilitre {
		t.Errorf("a report below nothing: %s", got)
	}
}

func TestALateReportEndsTheDoubtAndIsNotCountedAsAThird(t *testing.T) {
	f := newFarm(t)
	for range 4 {
		key := f.open(0, sulfatePump, 5*dosing.Millilitre)
		f.pass(20 * time.Second)
		f.w.Doubted(f.now, 0, sulfatePump)
		f.w.Doubted(f.now, 0, sulfatePump)
		f.pass(10 * time.Second)
		f.wantFree(0, "in doubt", noneFree)
		f.w.Closed(f.now, 0, sulfatePump, key, FateKnown, 5*dosing.Millilitre)
		f.pass(5 * time.Minute)
		f.wantFree(0, "reported", allFree)
	}
	if latches := f.w.NewLatches(); len(latches) != 0 {
		t.Errorf("%+v", latches)
	}
}

func TestAnUncertainDoseStaysInTransitUntilItIsSettled(t *testing.T) {
	f := newFarm(t)
	f.w.Aim(0, dosing.Target{PH: 5.5, EC: 2})
	key := f.open(0, acidPump, 5*dosing.Millilitre)
	f.pass(10 * time.Second)
	f.w.Doubted(f.now, 0, acidPump)
	f.pass(4 * time.Minute)
	if acid, _, _ := f.totals.InTransit(0, f.s.Pumps, f.s.Tanks[0].Tank, f.now.Up); math.Abs(acid-0.05) > 1e-9 {
		t.Errorf("in transit %.4f meq/L, want all of it", acid)
	}
	f.w.Closed(f.now, 0, acidPump, key, FateUnknown, 0)
	if acid, _, _ := f.totals.InTransit(0, f.s.Pumps, f.s.Tanks[0].Tank, f.now.Up); math.Abs(acid-0.05*math.Exp(-3)) > 1e-9 {
		t.Errorf("in transit %.4f meq/L, want what is unmixed four minutes after the doubt", acid)
	}
	f.silence(0, dosing.QuantityPH, true)
	f.pass(2 * time.Minute)
	if _, tripped := f.trip(0, CauseDoseUncertain); !tripped {
		t.Error("the doubt ended without a good reading")
	}
}

func TestWaitsOfAnEarlierRunHoldAcrossARestart(t *testing.T) {
	f := freshFarm(t)
	f.now.Up = time.Second
	f.totals.Count(dosing.Dose{Key: 1, Tank: 0, Pump: acidPump, Volume: dosing.Millilitre, Up: f.now.Up - 2*time.Minute})
	f.pass(90 * time.Second)
	f.wantCause("base after the acid of the last run", f.judge(0, basePump, dosing.Millilitre), CauseAcidBaseChangeover)
}

func TestTheSecondJudgementCountsWhatElseCameIntoTheTankMeanwhile(t *testing.T) {
	f := newFarm(t)
	f.w.Aim(0, dosing.Target{PH: 4.5, EC: 2})
	plan := dosing.Plan{Tank: 0, Pump: acidPump, Volume: 5 * dosing.Millilitre, Reason: dosing.ReasonPHHigh}
	key := f.open(0, acidPump, plan.Volume)
	f.w.ByHand(dosing.Dose{Tank: 0, Pump: acidPump, Volume: 15 * dosing.Millilitre, Up: f.now.Up})
	if v := f.g.Recheck(f.now, plan, key); v.Allowed || v.Cause != CauseInTransitCap {
		t.Errorf("15 mL by hand meanwhile: %+v", v)
	}
}

func fateOf(known bool) Fate {
	if known {
		return FateKnown
	}
	return FateUnknown
}

func TestADoseThatItsNodeRefusesForGoodCountsInFullAndNobodyWaitsForIt(t *testing.T) {
	f := newFarm(t)
	key := f.open(0, calciumPump, 50*dosing.Millilitre)
	f.w.Closed(f.now, 0, calciumPump, key, FateRefused, 0)
	if got := f.totals.Hour(calciumPump, f.now.Up); got != 50*dosing.Millilitre {
		t.Errorf("%s count of a dose that was refused: the word may be wrong", got)
	}
	f.pass(time.Second)
	if trip, tripped := f.trip(0, CauseDoseUncertain); tripped {
		t.Errorf("%+v, though the node's word is clear", trip)
	}
}

// A service says nothing of what is in the water: concentrates must not meet after it
// either, and acid and base must not fight.
func TestAServiceEndsNoWaitThatADoseBegan(t *testing.T) {
	f := newFarm(t)
	f.dose(0, calciumPump, 20*dosing.Millilitre)
	f.w.Serviced(f.now, 0)
	f.wantCause("sulfate after calcium", f.judge(0, sulfatePump, 5*dosing.Millilitre), CauseIncompatibleWait)
}

func TestNoBudgetLiftsNoMultipleOfRecentUse(t *testing.T) {
	f := newFarm(t)
	f.w.Demand(acidPump, 20*dosing.Millilitre, 240*dosing.Millilitre)
	f.w.Used(acidPump, 4*24*time.Hour, 1152*dosing.Millilitre)
	hour, day := f.w.HourlyCap(acidPump), f.w.DailyCap(acidPump)
	f.w.Fill(acidPump, 0, f.now.Up+time.Hour)
	f.pass(time.Second)
	if got := f.w.HourlyCap(acidPump); got > hour || hour >= 200*dosing.Millilitre {
		t.Errorf("hour cap %s before and %s with a fill of nothing", hour, got)
	}
	f.w.Demand(acidPump, 20*dosing.Millilitre, 0)
	if got := f.w.DailyCap(acidPump); got <= day {
		t.Errorf("day cap %s before and %s when nobody can say what a day needs", day, got)
	}
}
