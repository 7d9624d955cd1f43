package controller

import (
	"strings"
	"testing"
	"time"

	"leat/dosing"
	"leat/safety"
	"leat/safety/alarm"
)

// tanksAt is a station of tanks that are held, at 01:30.
func tanksAt(names ...string) *View {
	v := &View{At: dosing.Instant{Wall: time.Date(2031, 3, 4, 1, 30, 0, 0, time.UTC), Up: 3 * time.Hour},
		Pumps: []PumpView{{Name: "acid-north", Role: dosing.RoleAcid, Reagent: "nitric acid"}, {Name: "lye", Role: dosing.RoleBase}, {Name: "calcium", Role: dosing.RoleStock, Reagent: "calcium nitrate"}}}
	for _, name := range names {
		v.Tanks = append(v.Tanks, TankView{Name: name, Mode: safety.ModeArmed, Fit: true, LeavesWarn: alarm.NotInSight, LeavesHarm: alarm.NotInSight,
			PH: SetpointView{Working: 5.8}, EC: SetpointView{Working: 1.8},
			Inputs: []InputView{{Quantity: dosing.QuantityPH, Present: true, Value: 5.82, Quality: dosing.QualityGood}, {Quantity: dosing.QuantityEC, Present: true, Value: 1.79, Quality: dosing.QualityGood}}})
	}
	return v
}

// trip lets an interlock of the table stand in a tank since 01:24, and its alarm if it
// calls a person.
func (v *View) trip(tank int, cause safety.Cause, scope safety.Scope, pump string, state alarm.State) {
	row, t := safety.Of(cause), &v.Tanks[tank]
	since := dosing.Instant{Wall: v.At.Wall.Add(-6 * time.Minute)}
	t.Holds = append(t.Holds, HoldView{Cause: cause, Action: row.Action, Scope: scope, Pump: pump, Since: since, Text: row.Text, Clears: row.Clears})
	if state != alarm.Normal {
		t.Alarms = append(t.Alarms, AlarmView{Cause: cause, State: state, Priority: row.Priority, Text: row.Text, Advice: row.Advice, Since: since})
	}
}

func TestTheVerdictNamesWhatCannotBeDoneWhySinceWhenAndUntilWhenThatIsSafe(t *testing.T) {
	v := tanksAt("north", "south")
	v.trip(0, safety.CauseNoResponse, safety.ScopePump, "acid-north", alarm.Unacknowledged)
	v.Tanks[0].Leaving, v.Tanks[0].LeavesWarn, v.Tanks[0].LeavesHarm = dosing.QuantityPH, 4*time.Hour+8*time.Minute, 9*time.Hour
	v.Judge()
	d := v.Tanks[0].Verdict
	row := safety.Of(safety.CauseNoResponse)
	if want := "Cannot lower pH: " + headline(row.Text) + " (acid-north) since 01:24; pH leaves its band at about 05:30."; d.Standing != StandingTonight || d.Text != want || !strings.HasPrefix(row.Advice, d.Step) || d.Step == "" {
		t.Errorf("%s: %s %s\nwant %s", d.Standing, d.Text, d.Step, want)
	}
	if want := "north needs you tonight: cannot lower pH; pH leaves its band at about 05:30. The other tank is well."; v.Verdict.Text != want || v.Verdict.Step != d.Step {
		t.Errorf("together: %s\nwant %s", v.Verdict.Text, want)
	}
	v.Tanks[0].Alarms[0].State = alarm.Latched
	v.Judge()
	if text := v.Tanks[0].Verdict.Text; !strings.Contains(text, ", acknowledged;") {
		t.Errorf("once acknowledged: %s", text)
	}
}

func TestAllWellIsSaidOfTanksInControlAloneAndWaitsAreSmallPrint(t *testing.T) {
	v := tanksAt("north", "south")
	v.trip(1, safety.CauseFlood, safety.ScopeTank, "", alarm.Normal)
	v.Tanks[1].Mode = safety.ModeHolding
	v.Judge()
	if v.Verdict.Text != "Both tanks are well. Nothing for you to do." || v.Verdict.Standing != StandingWell {
		t.Errorf("%s: %s", v.Verdict.Standing, v.Verdict.Text)
	}
	if d := v.Tanks[1].Verdict; d.Standing != StandingWell || !strings.Contains(d.Wait, "flood") || strings.Contains(d.Text, "flood") {
		t.Errorf("a flood: %+v", d)
	}
}

func TestWhatIsOutsideItsHarmBandIsNamedAndWhatIsForTomorrowCallsNobody(t *testing.T) {
	v := tanksAt("north", "south")
	v.trip(0, safety.CauseNoResponse, safety.ScopePump, "acid-north", alarm.Unacknowledged)
	v.Tanks[0].Inputs[0].Value, v.Tanks[0].LeavesHarm = 6.63, 0
	v.Judge()
	if !strings.HasSuffix(v.Tanks[0].Verdict.Text, "; pH is outside its harm band.") || v.CropWords(&v.Tanks[0]) != "pH is outside its harm band now." {
		t.Errorf("%s %s", v.Tanks[0].Verdict.Text, v.CropWords(&v.Tanks[0]))
	}
	v = tanksAt("north", "south")
	v.trip(1, safety.CauseNodeClock, safety.ScopeTank, "", alarm.Unacknowledged)
	v.Tanks[1].Holds = nil
	v.Judge()
	v.Tanks[0].Alarms = v.Tanks[1].Alarms
	both := *v
	both.Judge()
	if text := both.Verdict.Text; !strings.HasSuffix(text, " One more tank has something for tomorrow.") {
		t.Error(text)
	}
	calling := *v
	calling.Tanks = append([]TankView(nil), v.Tanks...)
	calling.trip(0, safety.CauseNoResponse, safety.ScopePump, "acid-north", alarm.Unacknowledged)
	calling.Judge()
	if text := calling.Verdict.Text; !strings.HasPrefix(text, "north needs you tonight") || !strings.HasSuffix(text, " One more tank has something for tomorrow.") {
		t.Error(text)
	}
	v.Tanks[0].Alarms = nil
	v.Judge()
	if text := v.Verdict.Text; !strings.HasPrefix(text, "south, for tomorrow: ") || !strings.HasSuffix(text, ". The other tank is well.") {
		t.Error(text)
	}
}

// Whatever takes a tank out of control takes the good word from it.
func TestATankOutOfControlIsNeverCalledWell(t *testing.T) {
	for name, spoil := range map[string]func(v *View, t *TankView){
		"pH far off":         func(_ *View, t *TankView) { t.Inputs[0].Value = 6.4 },
		"EC far off":         func(_ *View, t *TankView) { t.Inputs[1].Value = 0.9 },
		"pH not read":        func(_ *View, t *TankView) { t.Inputs[0].Present = false },
		"pH stored":          func(_ *View, t *TankView) { t.Inputs[0].Retained = true },
		"EC of poor quality": func(_ *View, t *TankView) { t.Inputs[1].Quality = dosing.QualityFailure },
		"no inputs":          func(_ *View, t *TankView) { t.Inputs = nil },
		"not fit for plants": func(_ *View, t *TankView) { t.Fit, t.FitCause = false, "solution unconfirmed" },
		"observing":          func(_ *View, t *TankView) { t.Mode = safety.ModeObserving },
		"stopped":            func(_ *View, t *TankView) { t.Mode = safety.ModeStopped },
		"paused": func(v *View, _ *TankView) {
			v.trip(0, safety.CauseOperatorPause, safety.ScopeTank, "", alarm.Normal)
		},
		"leak, nobody called": func(v *View, _ *TankView) { v.trip(0, safety.CauseLeak, safety.ScopeTank, "", alarm.Normal) },
		"shelved":             func(v *View, _ *TankView) { v.trip(0, safety.CausePHStale, safety.ScopeTank, "", alarm.Shelved) },
		"acknowledged": func(v *View, _ *TankView) {
			v.trip(0, safety.CausePHStale, safety.ScopeTank, "", alarm.Acknowledged)
		},
		"for tomorrow": func(v *View, _ *TankView) {
			v.trip(0, safety.CauseBufferScale, safety.ScopeReagents, "", alarm.Acknowledged)
		},
	} {
		v := tanksAt("north")
		spoil(v, &v.Tanks[0])
		v.Judge()
		if d := v.Tanks[0].Verdict; d.Standing == StandingWell || d.Text == "" || v.Verdict.Standing == StandingWell || strings.Contains(v.Verdict.Text, "Nothing for you") {
			t.Errorf("%s: %s: %s; together %s", name, d.Standing, d.Text, v.Verdict.Text)
		}
	}
	if new(Verdict).Standing != StandingUnknown {
		t.Error("the verdict of nothing is not unknown")
	}
}

func TestOfSeveralTanksTheMostUrgentIsNamedFirst(t *testing.T) {
	v := tanksAt("a", "b", "c", "d")
	v.trip(1, safety.CauseCirculationOff, safety.ScopeTank, "", alarm.Unacknowledged)
	v.trip(3, safety.CauseLeak, safety.ScopeTank, "", alarm.Unacknowledged)
	v.Judge()
	if text := v.Verdict.Text; !strings.HasPrefix(text, "d and b need you now. First d: doses nothing") || strings.Contains(text, "since") {
		t.Errorf("together: %s", text)
	}
	v = tanksAt("a", "b", "c", "d")
	v.Tanks[2].Inputs[0].Value, v.Tanks[2].Wants = 6.6, dosing.RoleAcid
	v.Judge()
	if want := "c is settling by itself: pH is too high (6.6, setpoint 5.80); acid is added. The other 3 tanks are well."; v.Verdict.Text != want {
		t.Errorf("together: %s", v.Verdict.Text)
	}
}

func TestEveryCauseOfTheTableMakesOneReadableSentence(t *testing.T) {
	for _, cause := range safety.Causes() {
		row := safety.Of(cause)
		v := tanksAt("north")
		v.trip(0, cause, row.Scope, "lye", alarm.Unacknowledged)
		v.Tanks[0].LeavesWarn, v.Tanks[0].LeavesHarm = time.Hour, 2*time.Hour
		v.Judge()
		text := v.Tanks[0].Verdict.Text
		if whole := v.Verdict.Text; len([]rune(whole)) > 160 || strings.Contains(whole, "..") || !strings.HasSuffix(whole, ".") {
			t.Errorf("%s, of all tanks: %s", cause, whole)
		}
		if n := len([]rune(text)); n < 10 || n > 190 || strings.Contains(text, "..") || strings.Contains(strings.TrimSuffix(text, "."), ". ") || !strings.HasSuffix(text, ".") {
			t.Errorf("%s (%d characters): %s", cause, n, text)
		}
		if row.Priority < safety.PriorityLog && v.Tanks[0].Verdict.Step == "" {
			t.Errorf("%s calls a person and names no step", cause)
		}
	}
}
