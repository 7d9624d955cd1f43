package diary_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"leat/controller"
	"leat/controller/diary"
	"leat/dosing"
	"leat/safety"
	"leat/safety/alarm"
)

var evening = time.Date(2031, 3, 4, 19, 0, 0, 0, time.UTC)

// pond is a view of one tank, in the given second of a run.
func pond(second int, change func(*controller.TankView)) *controller.View {
	up := time.Duration(second) * time.Second
	t := controller.TankView{Name: "pond", PH: controller.SetpointView{Working: 5.8, Final: 5.8}, EC: controller.SetpointView{Working: 1.8, Final: 1.8},
		Settled: controller.SettledView{Known: true}}
	if change != nil {
		change(&t)
	}
	return &controller.View{At: dosing.Instant{Wall: evening.Add(up), Up: up}, Tanks: []controller.TankView{t}}
}

func said(events []diary.Event) string {
	var all []string
	for _, e := range events {
		all = append(all, strings.Join(strings.Fields(fmt.Sprintf("%s %s %s %g %s", e.Kind, e.Name, e.Pump, e.Value, map[bool]string{true: e.Text}[e.Kind == diary.KindAlarm])), " "))
	}
	return strings.Join(all, "; ")
}

func TestOnlyChangesAreWritten(t *testing.T) {
	w := diary.NewWriter(&diary.Station{Name: "row"})
	if got, want := said(w.Follow(pond(1, nil))),
		"run begins 0; station 0; setpoint ph 5.8; setpoint ec 1.8; want none 0; drift ph 0; drift ec 0"; got != want {
		t.Errorf("a run begins with\n  %s, want\n  %s", got, want)
	}
	if got := said(w.Follow(pond(2, nil))); got != "" {
		t.Errorf("nothing changed, and %s is written", got)
	}
	flood := func(v *controller.TankView) {
		v.Holds = []controller.HoldView{{Cause: safety.CauseFlood, Action: safety.Hold, Scope: safety.ScopeTank},
			{Cause: safety.CauseDoseOpen, Action: safety.Hold}, {Cause: safety.CauseDosingBlockedLong, Action: safety.Run}}
		v.Alarms = []controller.AlarmView{{Cause: safety.CauseFlood, State: alarm.Unacknowledged}}
	}
	if got := said(w.Follow(pond(3, flood))); got != "interlock flood 1; alarm flood 0 unacknowledged" {
		t.Errorf("a flood begins: %s", got)
	}
	if got := said(w.Follow(pond(4, nil))); got != "interlock flood 0; alarm flood 0 normal" {
		t.Errorf("a flood ends: %s", got)
	}
	if got := said(w.End(evening)); got != "run ends 0" {
		t.Errorf("the end: %s", got)
	}
}

func TestASetpointOnItsRampIsWrittenInSteps(t *testing.T) {
	w := diary.NewWriter(&diary.Station{})
	w.Follow(pond(0, nil))
	rows := 0
	var last diary.Event
	for second := 1; second <= 600; second++ { // 5.8 to 6.0
		for _, e := range w.Follow(pond(second, func(v *controller.TankView) {
			v.PH.Working, v.PH.Final = min(5.8+float64(second)*0.2/590, 6.0), 6.0
		})) {
			if e.Kind == diary.KindSetpoint {
				rows, last = rows+1, e
			}
		}
	}
	if rows < 19 || rows > 21 || last.Value != 6.0 {
		t.Errorf("%d rows, the last %+v", rows, last)
	}
}

func TestWhatIsWantedIsLookedAtOnceAMinute(t *testing.T) {
	w := diary.NewWriter(&diary.Station{})
	w.Follow(pond(0, nil))
	rows := 0
	for second := 1; second <= 600; second++ {
		for _, e := range w.Follow(pond(second, func(v *controller.TankView) {
			v.Wants = []dosing.Role{dosing.RoleNone, dosing.RoleAcid}[second%2]
		})) {
			if e.Kind == diary.KindWant {
				rows++
			}
		}
	}
	if rows > 10 {
		t.Errorf("%d rows in ten minutes", rows)
	}
	blind := said(w.Follow(pond(700, func(v *controller.TankView) { v.Settled.Known = false })))
	if !strings.Contains(blind, "want unknown") {
		t.Errorf("blind: %s", blind)
	}
}

func TestWaterIsWrittenByWhatCameSince(t *testing.T) {
	w := diary.NewWriter(&diary.Station{})
	w.Follow(pond(0, func(v *controller.TankView) { v.ToppedUp = 7 })) // of a run before the reader's time
	sum := 0.0
	for second := 1; second <= 300; second++ {
		for _, e := range w.Follow(pond(second, func(v *controller.TankView) { v.ToppedUp = 7 + dosing.Litres(second)/10 })) {
			if e.Kind == diary.KindTopUp {
				sum += e.Value
			}
		}
	}
	if sum < 29.9 || sum > 30.1 {
		t.Errorf("%.2f L of 30", sum)
	}
}

func TestWhatStandsIsSaidAgainWithinADay(t *testing.T) {
	w := diary.NewWriter(&diary.Station{Name: "row"})
	stands := func(v *controller.TankView) {
		v.Holds = []controller.HoldView{{Cause: safety.CauseObserving, Action: safety.Hold}}
	}
	newest := map[string]time.Time{}
	for second := 0; second <= 3*24*3600; second += 60 {
		v := pond(second, stands)
		for _, e := range w.Follow(v) {
			newest[e.Kind.String()+e.Name] = e.At
		}
		for _, what := range []string{"station", "setpointph", "wantnone", "interlockobserving"} {
			if v.At.Wall.Sub(newest[what]) >= diary.SaidAgain {
				t.Fatalf("%s: last said at %s, now %s", what, newest[what], v.At.Wall)
			}
		}
	}
}

func TestStationReadsBackAsWritten(t *testing.T) {
	s := &diary.Station{Name: "row", Zone: "Europe/Vienna", Tanks: []diary.Tank{{Name: "pond", PH: []string{"pond/ph"}}},
		Pumps: []diary.Pump{{Name: "acid", Holds: map[string]float64{"NO3-N": 1.5}}}}
	back, err := diary.ReadStation(s.Text())
	if err != nil || back.Text() != s.Text() || back.Pumps[0].Holds["NO3-N"] != 1.5 {
		t.Errorf("%+v, %v", back, err)
	}
	if _, err := diary.ReadStation("{"); err == nil {
		t.Error("half a station is read")
	}
	for k := diary.KindRun; k < diary.KindCount; k++ {
		if back, ok := diary.ParseKind(k.String()); !ok || back != k {
			t.Errorf("%s reads back as %s", k, back)
		}
	}
}
