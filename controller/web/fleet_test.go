package web

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"leat/controller"
	"leat/dosing"
	"leat/safety"
	"leat/safety/alarm"
)

// inNeed is a station in which a person is needed now, is due by day, or neither.
func inNeed(change func(*controller.View)) *controller.View {
	v := sampleView()
	v.Tanks[0].Mode, v.Tanks[0].Holds, v.Tanks[0].Alarms = safety.ModeArmed, nil, nil
	change(v)
	v.Judge()
	return v
}

func TestStationsAreListedByNeedWithWhatIsHeldAndWhatIsDueToday(t *testing.T) {
	row := safety.Of(safety.CauseNoResponse)
	hold := func(v *controller.View) {
		v.Tanks[0].Holds = []controller.HoldView{{Cause: row.Cause, Action: row.Action, Scope: row.Scope, Since: v.At, Text: row.Text}}
	}
	called := inNeed(func(v *controller.View) {
		hold(v)
		v.Tanks[0].Alarms = []controller.AlarmView{{Cause: row.Cause, State: alarm.Unacknowledged, Priority: safety.PriorityNow, Text: row.Text, Advice: row.Advice, Since: v.At}}
	})
	due := inNeed(func(v *controller.View) {
		v.Pumps[0].Left, v.Pumps[0].Lasts = 100*dosing.Millilitre, controller.StockView{Known: true, Lasting: dosing.Lasting{Days: 0.4}}
		v.Tanks[0].Inputs[0].Calibration = &controller.CalibrationView{Due: v.At.Wall.Add(3 * time.Hour)}
	})
	h := newHouse(t, func(o *Options) {
		o.Stations = func() []Station {
			return []Station{{Name: "a-well", View: inNeed(func(*controller.View) {})}, {Name: "b-elsewhere", Owner: "shed-1"}, {Name: "c-due", View: due},
				{Name: "d-called", View: called}, {Name: "e-failed", Trouble: "disk I/O error"}}
		}
	})
	rows := (&fleet{h.Server}).rows()
	var order []string
	for _, r := range rows {
		order = append(order, r.Name)
	}
	if got := strings.Join(order, " "); !strings.HasPrefix(got, "e-failed d-called") || !strings.HasSuffix(got, "b-elsewhere") {
		t.Errorf("the order is %s", got)
	}
	for _, r := range rows {
		switch r.Name {
		case "d-called":
			if r.Alarms != 1 || len(r.Held) != 1 || r.Held[0].Cause != "no-response" || r.Held[0].Tank != "north" {
				t.Errorf("d-called: %+v", r)
			}
		case "c-due":
			if len(r.Due) != 2 || r.Due[0].What != "north/"+due.Tanks[0].Inputs[0].Name || r.Due[1].What != due.Pumps[0].Name {
				t.Errorf("c-due: %+v", r.Due)
			}
		case "e-failed":
			if r.Runs || r.Path != "" || r.Trouble == "" {
				t.Errorf("e-failed: %+v", r)
			}
		}
	}
	answer, err := (*api).stations(h.Server.api, nil, Token{})
	if err != nil {
		t.Fatal(err)
	}
	text, err := json.Marshal(answer)
	if err != nil || !strings.Contains(string(text), `"station":"e-failed"`) || strings.Contains(string(text), "Told") {
		t.Errorf("the API says %s (%v)", text, err)
	}
}
