package controller_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"leat/controller"
	"leat/controller/config"
	"leat/deploy"
	"leat/dosing"
	"leat/safety"
	"leat/safety/ledger"
)

func (s *stage) wish(q dosing.Quantity, value float64, change func(*controller.Request)) controller.Answer {
	r := controller.Request{Kind: controller.RequestSetpoint, Tank: north, Quantity: q, Value: value, By: "Ada", From: "page", Role: controller.RoleOperate}
	if change != nil {
		change(&r)
	}
	return s.Ask(r)
}

func TestFiftyEightIsRefusedNotClamped(t *testing.T) {
	s := newStage(t, &scenario{})
	for _, value := range []float64{58, 4.2, 7.01, -5.8, math.NaN(), math.Inf(1), math.Inf(-1), 0} {
		a := s.wish(dosing.QuantityPH, value, nil)
		if a.Accepted || a.Confirm != "" || a.Min != 5 || a.Max != 7 {
			t.Errorf("%g: %+v", value, a)
		}
	}
	if a := s.wish(dosing.QuantityPH, 58, nil); !strings.Contains(a.Text, "did you mean 5.8") {
		t.Errorf("58: %q", a.Text)
	}
	if a := s.wish(dosing.QuantityEC, 1800, nil); a.Accepted || !strings.Contains(a.Text, "did you mean 1.8") {
		t.Errorf("EC 1800: %+v", a)
	}
	if v := s.view(north).PH; v.Final != 5.8 || v.Working != 5.8 {
		t.Errorf("setpoint %+v after refusals", v)
	}
}

func TestAcceptedSetpointMovesAlongItsRamp(t *testing.T) {
	s := newStage(t, &scenario{})
	a := s.wish(dosing.QuantityPH, 5.95, nil)
	if !a.Accepted || a.Old != 5.8 || a.New != 5.95 {
		t.Fatalf("%+v", a)
	}
	for minute := 1; minute <= 40; minute++ {
		s.pass(time.Minute)
		want := min(5.8+0.3*float64(minute)/60, 5.95)
		if got := s.view(north).PH.Working; math.Abs(got-want) > 0.001 {
			t.Fatalf("after %d min %.4f, want %.4f", minute, got, want)
		}
	}
}

func TestUndoingASetpointIsAChangeOfItsOwnAndItsEndIsRepeated(t *testing.T) {
	s := newStage(t, &scenario{})
	if v := s.view(north).PH; v.Undoable {
		t.Errorf("nothing was changed, and %g may be brought back", v.Before)
	}
	a := s.wish(dosing.QuantityPH, 5.9, func(r *controller.Request) { r.Until = "2 h" })
	if !a.Accepted || !strings.Contains(a.Text, ", in 2 h 0 min, then 5.8 as in the configuration") {
		t.Fatalf("%+v", a)
	}
	v := s.view(north).PH
	if !v.Undoable || v.Before != 5.8 || !v.BeforeUntil.IsZero() {
		t.Fatalf("to be brought back: %+v", v)
	}
	if a := s.wish(dosing.QuantityPH, v.Before, nil); !a.Accepted || a.Old != 5.9 {
		t.Errorf("brought back: %+v", a)
	}
	if v := s.view(north).PH; v.Final != 5.8 || v.Before != 5.9 || v.BeforeUntil.IsZero() {
		t.Errorf("afterwards: %+v", v)
	}
	s.wish(dosing.QuantityPH, 5.9, func(r *controller.Request) { r.Until = "1 h" })
	s.pass(61 * time.Minute)
	if v := s.view(north).PH; v.Undoable {
		t.Errorf("its time is over, and %g may be brought back", v.Before)
	}
}

func TestLargeStepWantsASecondYes(t *testing.T) {
	s := newStage(t, &scenario{})
	a := s.wish(dosing.QuantityPH, 6.2, nil)
	if a.Accepted || a.Confirm == "" {
		t.Fatalf("a step of 0.4: %+v", a)
	}
	for _, wrong := range []struct {
		value float64
		token string
	}{{6.2, "00000000"}, {6.25, a.Confirm}} {
		if b := s.wish(dosing.QuantityPH, wrong.value, func(r *controller.Request) { r.Confirm = wrong.token }); b.Accepted || !strings.Contains(b.Text, "too late or was of another") {
			t.Errorf("%g with token %q: %+v", wrong.value, wrong.token, b)
		}
	}
	a = s.wish(dosing.QuantityPH, 6.2, nil)
	s.pass(3 * time.Minute)
	if b := s.wish(dosing.QuantityPH, 6.2, func(r *controller.Request) { r.Confirm = a.Confirm }); b.Accepted {
		t.Error("a token of three minutes ago was taken")
	}
	a = s.wish(dosing.QuantityPH, 6.2, nil)
	if b := s.wish(dosing.QuantityPH, 6.2, func(r *controller.Request) { r.Confirm = a.Confirm }); !b.Accepted {
		t.Errorf("%+v", b)
	}
}

func TestSetpointReturnsAtItsEndAndOutlivesRestartsUntilThen(t *testing.T) {
	s := newStage(t, &scenario{})
	if a := s.wish(dosing.QuantityPH, 5.95, func(r *controller.Request) { r.Until = "20:00" }); !a.Accepted {
		t.Fatal(a.Text)
	}
	if a := s.wish(dosing.QuantityEC, 1.9, func(r *controller.Request) { r.Until = "25:99" }); a.Accepted {
		t.Error("until 25:99 was taken")
	}
	s.pass(10 * time.Minute)
	was := s.view(north).PH.Working
	s.restart(5 * time.Minute)
	v := s.view(north).PH
	if v.Final != 5.95 || v.Until.Hour() != 20 || v.By != "Ada" {
		t.Errorf("after the restart %+v", v)
	}
	if v.Working < was-0.001 || v.Working > was+0.026 {
		t.Errorf("the ramp stepped from %.3f to %.3f over a restart of 5 min", was, v.Working)
	}
	s.pass(time.Hour + 46*time.Minute)
	if v := s.view(north).PH; v.Final != 5.8 || v.Source != "file" {
		t.Errorf("after its end %+v", v)
	}
	s.pass(time.Hour)
	s.restart(time.Minute)
	if v := s.view(north).PH; v.Final != 5.8 || v.Working != 5.8 {
		t.Errorf("a restart brought an ask back whose time is over: %+v", v)
	}
}

func TestRolesAllowWhatTheyShould(t *testing.T) {
	s := newStage(t, &scenario{})
	for kind := controller.RequestNone + 1; kind < controller.RequestCount; kind++ {
		for role := controller.RoleNobody; role < kind.Needs(); role++ {
			a := s.Ask(controller.Request{Kind: kind, Tank: north, Role: role, Note: "n", Quantity: dosing.QuantityPH, Value: 5.9, Volume: 1, Cause: safety.CauseLeak, For: time.Hour})
			if a.Accepted || !strings.Contains(a.Text, "needs the role") {
				t.Errorf("%s by %s: %+v", kind, role, a)
			}
		}
	}
	if a := s.Ask(controller.Request{Kind: controller.RequestNone, Role: controller.RoleEngineer}); a.Accepted {
		t.Error("no request was accepted")
	}
	if a := s.Ask(controller.Request{Kind: controller.RequestArm, Tank: 7, Role: controller.RoleEngineer}); a.Accepted {
		t.Error("a tank that does not exist was armed")
	}
	if view := s.view(north); view.Mode != safety.ModeObserving || view.PH.Final != 5.8 {
		t.Errorf("%s, %+v", view.Mode, view.PH)
	}
}

func TestStoppedTankIsClearedWithANoteBeforeAnythingElse(t *testing.T) {
	s := dosingStage(t)
	s.must(controller.RequestStop, "")
	for _, kind := range []controller.RequestKind{controller.RequestArm, controller.RequestObserve, controller.RequestClear} {
		if a := s.ask(kind, ""); a.Accepted {
			t.Errorf("%s of a stopped tank, without a word on what was checked: %+v", kind, a)
		}
	}
	s.restart(time.Minute)
	if view := s.view(north); view.Mode != safety.ModeStopped {
		t.Errorf("a restart lifted the stop: %s", view.Reason)
	}
	s.must(controller.RequestClear, "pumps and lines looked at")
	if view := s.view(north); view.Mode != safety.ModeObserving {
		t.Errorf("cleared is not armed, but %s", view.Mode)
	}
}

func TestFailedDiskDoesNotLiftAPersonsStop(t *testing.T) {
	s := dosingStage(t)
	s.must(controller.RequestStop, "")
	s.store.FailNth(1, ledger.FaultFailed)
	s.must(controller.RequestPause, "")
	s.pass(time.Minute)
	if a := s.ask(controller.RequestArm, ""); a.Accepted {
		t.Error("armed from a stop, past the clear")
	}
}

func TestPauseEndsByItselfAndLeavesOtherWorkAlone(t *testing.T) {
	s := dosingStage(t)
	a := s.Ask(controller.Request{Kind: controller.RequestPause, Tank: north, Until: "18:30", Role: controller.RoleOperate})
	if !a.Accepted || !strings.Contains(a.Text, "18:30") {
		t.Fatalf("%+v", a)
	}
	s.pass(5 * time.Minute)
	s.must(controller.RequestMaintenance, "calibrating")
	s.pass(14 * time.Minute)
	if _, ok := s.hold(north, safety.CauseOperatorPause); ok {
		t.Error("the pause did not end")
	}
	if _, ok := s.hold(north, safety.CauseMaintenance); !ok {
		t.Fatal("the end of the pause ended the work on the probes too")
	}
	s.must(controller.RequestResume, "")
	at := s.Now().Up
	if !s.until(20*time.Minute, func() bool { return s.dosed(north, at, allPumps...) }) {
		t.Error("nothing was dosed after it")
	}
}

func TestPauseWithAnEndKeepsItOverARestart(t *testing.T) {
	for _, away := range []time.Duration{time.Minute, time.Hour} {
		s := dosingStage(t)
		s.Ask(controller.Request{Kind: controller.RequestPause, Tank: north, Until: "18:30", Role: controller.RoleOperate})
		s.restart(away)
		_, paused := s.hold(north, safety.CauseOperatorPause)
		if want := away == time.Minute; paused != want {
			t.Errorf("away for %s: paused %v, want %v", away, paused, want)
		}
		s.pass(20 * time.Minute)
		if _, paused := s.hold(north, safety.CauseOperatorPause); paused {
			t.Errorf("away for %s: the pause never ends", away)
		}
	}
}

func TestDoseByHandCountsLikeADose(t *testing.T) {
	s := dosingStage(t)
	before, pump := s.view(north).Settled, s.Core.View(s.Now()).Pumps[acidNorth]
	a := s.Ask(controller.Request{Kind: controller.RequestHandDose, Tank: north, Pump: acidNorth, Volume: 10 * dosing.Millilitre, Role: controller.RoleOperate})
	if !a.Accepted {
		t.Fatal(a.Text)
	}
	after := s.view(north).Settled
	if !(after.PH < before.PH-0.02) || !(after.AcidInTransit > before.AcidInTransit+0.02) {
		t.Errorf("settled %+v, before %+v", after, before)
	}
	if v := s.Core.View(s.Now()).Pumps[acidNorth]; v.Hour != pump.Hour+10*dosing.Millilitre {
		t.Errorf("hour %s, before %s", v.Hour, pump.Hour)
	}
	s.restart(time.Minute)
	if v := s.Core.View(s.Now()).Pumps[acidNorth]; v.Hour != pump.Hour+10*dosing.Millilitre {
		t.Errorf("after a restart hour %s, want %s", v.Hour, pump.Hour+10*dosing.Millilitre)
	}
	for _, volume := range []dosing.Volume{0, -1, 101 * dosing.Litre} {
		if a := s.byHand(acidNorth, volume, ""); a.Accepted || a.Confirm != "" {
			t.Errorf("%d µL by hand was taken or offered: %+v", volume, a)
		}
	}
}

func (s *stage) byHand(pump dosing.PumpID, volume dosing.Volume, confirm string) controller.Answer {
	return s.Ask(controller.Request{Kind: controller.RequestHandDose, Tank: north, Pump: pump, Volume: volume, Confirm: confirm, By: "mara", Role: controller.RoleOperate})
}

func (s *stage) void(name string) controller.Answer {
	return s.Ask(controller.Request{Kind: controller.RequestVoid, Tank: north, Entry: name, Role: controller.RoleOperate})
}

func TestAThousandMillilitresTypedForTenAreAskedTwiceMakeNoBaseRunAndCanBeVoided(t *testing.T) {
	s := dosingStage(t)
	a := s.byHand(acidNorth, dosing.Litre, "")
	if a.Accepted || a.Confirm == "" || !strings.Contains(a.Text, "expected pH -") {
		t.Fatalf("answered %+v", a)
	}
	if b := s.byHand(acidNorth, 2*dosing.Litre, a.Confirm); b.Accepted {
		t.Error("the confirmation of another volume was taken")
	}
	a = s.byHand(acidNorth, dosing.Litre, "")
	before := s.Core.View(s.Now()).Pumps[acidNorth].Day
	if a = s.byHand(acidNorth, dosing.Litre, a.Confirm); !a.Accepted {
		t.Fatal(a.Text)
	}
	base := func() (sum uint64) {
		for _, p := range s.Core.View(s.Now()).Pumps {
			if p.Role == dosing.RoleBase {
				sum += p.Doses[ledger.OutcomeConfirmed] + p.Doses[ledger.OutcomeUncertain] + p.Doses[ledger.OutcomeOpen]
			}
		}
		return sum
	}
	given := base()
	for range 30 {
		s.pass(time.Minute)
		ph, target := s.view(north).Settled, s.view(north).PH.Working
		if base() != given {
			t.Fatalf("base ran after acid was entered; settled %+v, wanted %.2f", ph, target)
		}
	}
	hands := s.view(north).Hands
	if len(hands) != 1 || hands[0].By != "mara" || hands[0].Volume != dosing.Litre {
		t.Fatalf("entries: %+v", hands)
	}
	if a := s.void("H9-9"); a.Accepted {
		t.Error("an entry that is none was voided")
	}
	if a := s.void(hands[0].Name); !a.Accepted {
		t.Fatal(a.Text)
	}
	s.pass(time.Second)
	if a := s.void(hands[0].Name); a.Accepted {
		t.Error("voided twice")
	}
	if got := s.Core.View(s.Now()).Pumps[acidNorth].Day; got >= before+dosing.Litre {
		t.Errorf("day %s after it was voided, %s before it was entered", got, before)
	}
	day := s.Core.View(s.Now()).Pumps[acidNorth].Day
	s.restart(time.Minute)
	if got := s.Core.View(s.Now()).Pumps[acidNorth].Day; got != day {
		t.Errorf("after a restart day %s, want %s", got, day)
	}
	if hands := s.view(north).Hands; len(hands) != 1 || !hands[0].Voided {
		t.Errorf("entries after a restart: %+v", hands)
	}
}

func TestAnEntryByHandOfAPumpThatServesAnotherTankIsRefused(t *testing.T) {
	s := dosingStage(t)
	serves := map[string]bool{}
	for _, pour := range s.view(north).Pours {
		serves[pour.Pump] = true
	}
	refused := 0
	for i, p := range s.Core.View(s.Now()).Pumps {
		if serves[p.Name] {
			continue
		}
		refused++
		if a := s.byHand(dosing.PumpID(i), dosing.Millilitre, ""); a.Accepted || !strings.Contains(a.Text, "does not serve") {
			t.Errorf("%s: %+v", p.Name, a)
		}
	}
	if refused == 0 || len(serves) == 0 {
		t.Fatalf("%d pumps do not serve the tank, %d do", refused, len(serves))
	}
}

func TestNewConfigurationChangesCapsButNoWiring(t *testing.T) {
	s := dosingStage(t)
	s.reconfigure(func(c *controller.Settings) {
		c.Safety.Caps[acidNorth].PerHour = 1234
		c.Tanks[north].PH.Max = 6
	})
	if v := s.Core.View(s.Now()).Pumps[acidNorth]; v.HourlyCap != 1234 {
		t.Errorf("hour cap %s", v.HourlyCap)
	}
	if a := s.wish(dosing.QuantityPH, 6.1, nil); a.Accepted || a.Max != 6 {
		t.Errorf("%+v", a)
	}
	version := s.Core.View(s.Now()).Configuration
	s.reconfigure(func(c *controller.Settings) {
		c.Version = "another row"
		c.Safety.Pumps = c.Safety.Pumps[:4]
	})
	if got := s.Core.View(s.Now()).Configuration; got != version {
		t.Errorf("a configuration with other pumps was taken: %s", got)
	}
	at := s.Now().Up
	if !s.until(20*time.Minute, func() bool { return s.dosed(north, at, stocks...) }) {
		t.Error("nothing was dosed after it")
	}
}

func TestNewStrengthReachesGateAndLoopsAlike(t *testing.T) {
	s := dosingStage(t)
	largest := func() (most float64) {
		at := s.Now().Up
		s.pass(6 * time.Minute)
		for _, o := range s.orders {
			if o.pump == acidNorth && o.at.Up > at {
				most = max(most, o.ml)
			}
		}
		return most
	}
	s.reconfigure(func(c *controller.Settings) { c.Safety.Pumps[acidNorth].AcidPerML *= 10 })
	if most := largest(); most > 0.6 {
		t.Errorf("%.2f mL of an acid ten times as strong; the effect cap allows a tenth of 5.3 mL", most)
	}
}

func TestArmAgainAfterRestartOnlyWhereTheFileSaysSo(t *testing.T) {
	for _, again := range []bool{false, true} {
		s := newStage(t, &scenario{settings: func(c *controller.Settings) { c.ReArm = again }})
		s.Arm()
		s.pass(time.Minute)
		s.restart(time.Minute)
		if got := s.view(north).Mode != safety.ModeObserving; got != again {
			t.Errorf("arm again %v: %s", again, s.view(north).Mode)
		}
	}
}

func TestThirdStartInTenMinutesOnlyObserves(t *testing.T) {
	s := newStage(t, &scenario{settings: func(c *controller.Settings) { c.ReArm = true }})
	s.Arm()
	for range 3 {
		s.pass(time.Minute)
		s.restart(time.Second)
	}
	if mode := s.view(north).Mode; mode != safety.ModeObserving {
		t.Errorf("%s after four starts in ten minutes", mode)
	}
}

func TestCoreNeedsATank(t *testing.T) {
	file, err := config.Parse("sample", deploy.Sample, config.Env{})
	if err != nil {
		t.Fatal(err)
	}
	settings := file.Settings
	settings.Tanks = nil
	if _, err := controller.New(&settings, ledger.State{}, dosing.Instant{}); err == nil {
		t.Error("a core without a tank")
	}
}
