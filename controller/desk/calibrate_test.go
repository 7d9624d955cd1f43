package desk

import (
	"net/url"
	"strings"
	"testing"

	"leat/controller"
)

func TestAPersonIsLedThroughACalibrationAndBackToDosing(t *testing.T) {
	var asked []string
	waited := 0
	guide := Calibration{Probe: "ph", Wait: func() { waited++ }, Ask: func(form url.Values) (controller.Answer, error) {
		asked = append(asked, strings.TrimSpace(form.Get("do")+" "+form.Get("step")+" "+form.Get("standard")+" "+form.Get("celsius")))
		return controller.Answer{Accepted: true, Again: form.Get("standard") == "7.00" && waited < 2, Text: "said"}, nil
	}}
	var out strings.Builder
	if err := guide.Guide(strings.NewReader("7.00\n21,5\n4.01\n\n\n\n"), &out); err != nil {
		t.Fatal(err)
	}
	want := "calibrate begin, calibrate read 7.00 21.5, calibrate read 7.00 21.5, calibrate read 7.00 21.5, calibrate read 4.01 21.5, calibrate accept, resume"
	if got := strings.Join(asked, ", "); got != want {
		t.Errorf("asked\n%s\nwant\n%s", got, want)
	}
}

func TestAnEndedInputGivesACalibrationUp(t *testing.T) {
	var asked []string
	guide := Calibration{Probe: "ph", Ask: func(form url.Values) (controller.Answer, error) {
		asked = append(asked, form.Get("step"))
		return controller.Answer{Accepted: true}, nil
	}}
	if err := guide.Guide(strings.NewReader(""), &strings.Builder{}); err != nil || strings.Join(asked, " ") != "begin cancel" {
		t.Errorf("asked %q (%v)", asked, err)
	}
}
