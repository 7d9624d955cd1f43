package desk

import (
	"io"
	"net/url"
	"strings"
	"testing"

	"leat/controller"
	"leat/controller/config"
)

func TestAPersonIsLedThroughTheReplacementOfAPump(t *testing.T) {
	var asked []string
	files := []config.Report{ // as the person writes them
		{OK: true, Pumps: []config.PumpReport{{Name: "acid", PerMinute: 120, Node: "row", OnTime: 20, HourlyCap: 200}}},
		{Faults: config.Faults{{File: "f.toml", Problem: "moves the tank too far"}}},
		{OK: true, Pumps: []config.PumpReport{{Name: "acid", PerMinute: 98.3, Node: "row", OnTime: 25, HourlyCap: 200}}},
	}
	guide := PumpCalibration{Pump: "acid", Config: "f.toml", Check: func() (config.Report, error) {
		now := files[0]
		files = files[1:]
		return now, nil
	}, Tanks: []string{"north", "south"}, New: true, Ask: func(tank string, form url.Values) (controller.Answer, error) {
		asked = append(asked, strings.TrimSpace(form.Get("do")+" "+tank+form.Get("runs")))
		return controller.Answer{Accepted: form.Get("runs") != "60=1", Text: "said"}, nil
	}}
	var out strings.Builder
	if err := guide.Guide(strings.NewReader("60=1\n\n60=98,5\n60=98.1\n60=98.3\n\n\n\n\n"), &out); err != nil {
		t.Fatal(err)
	}
	want := "maintenance north, maintenance south, new-tube, pump-rate 60=1, pump-rate 60=98.5, 60=98.1, 60=98.3, resume north, resume south"
	if got := strings.Join(asked, ", "); got != want {
		t.Errorf("asked\n%s\nwant\n%s", got, want)
	}
	last := 0
	for _, words := range []string{"Step 1 of 5", "Step 2 of 5", "Step 3 of 5", `f.toml says 120 mL/min. Write rate = "98.3 mL/min"`, "moves the tank too far",
		"sizing passes", "Step 4 of 5", "At node row set for pump acid: longest run 25 s", "Step 5 of 5"} {
		at := strings.Index(out.String(), words)
		if at < last {
			t.Errorf("%q does not come, or not in its turn:\n%s", words, out.String())
		}
		last = max(last, at)
	}
}

// Whoever gives up half-way leaves tanks that dose nothing, and is told so.
func TestAReplacementThatIsGivenUpLeavesItsTanksInMaintenance(t *testing.T) {
	var asked []string
	guide := PumpCalibration{Pump: "acid", Config: "f.toml", Tanks: []string{"north"}, New: true,
		Check: func() (config.Report, error) {
			return config.Report{OK: true, Pumps: []config.PumpReport{{Name: "acid", PerMinute: 10}}}, nil
		},
		Ask: func(_ string, form url.Values) (controller.Answer, error) {
			asked = append(asked, form.Get("do"))
			return controller.Answer{Accepted: true}, nil
		}}
	err := guide.Guide(strings.NewReader("60=98.5\n60=98.1\n60=98.3\nx\n"), io.Discard)
	if err == nil || !strings.Contains(err.Error(), "stay in maintenance") || asked[len(asked)-1] == "resume" {
		t.Errorf("%v; asked %v", err, asked)
	}
}
