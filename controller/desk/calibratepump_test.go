package desk

import (
	"net/url"
	"strings"
	"testing"

	"leat/controller"
)

func TestAPersonIsLedThroughTheReplacementOfAPump(t *testing.T) {
	var asked []string
	guide := PumpCalibration{Pump: "acid", Config: "f.toml", Tanks: []string{"north", "south"}, New: true, Ask: func(tank string, form url.Values) (controller.Answer, error) {
		asked = append(asked, strings.TrimSpace(form.Get("do")+" "+tank+form.Get("runs")))
		return controller.Answer{Accepted: form.Get("runs") != "60=1", Text: "said"}, nil
	}}
	var out strings.Builder
	if err := guide.Guide(strings.NewReader("60=1\n\n60=98,5\n60=98.1\n60=98.3\n\n"), &out); err != nil {
		t.Fatal(err)
	}
	want := "maintenance north, maintenance south, new-tube, pump-rate 60=1, pump-rate 60=98.5, 60=98.1, 60=98.3, resume north, resume south"
	if got := strings.Join(asked, ", "); got != want {
		t.Errorf("asked\n%s\nwant\n%s", got, want)
	}
	if !strings.Contains(out.String(), "leat check -config f.toml") {
		t.Errorf("the sizing is not checked:\n%s", out.String())
	}
}
