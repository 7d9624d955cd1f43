package payload

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"leat/controller"
	"leat/dosing"
)

// What a node delivered may never read as less: an absent volume is not zero.
func TestReportOfAnEndedDoseMustStateItsVolume(t *testing.T) {
	for _, body := range []string{
		`{"order":"7-000123","phase":"done"}`,
		`{"order":"7-000123","phase":"done","run_ms":7500}`,
		`{"order":"7-000123","phase":"done","run_ms":7500,"volume_ml":null}`,
		`{"order":"7-000123","phase":"stopped","volume_ml":3}`,
		`{"order":"7-000123","phase":"done","run_ms":7500,"volume_ml":"12.5"}`,
		`{"order":"7-000123","phase":"done","run_ms":7500,"volume_ml":-1}`,
		`{"order":"7-000123","phase":"done","run_ms":7500,"volume_ml":1e300}`,
		`{"order":"7-000123","phase":"done","run_ms":-1,"volume_ml":1}`,
		`{"order":"7-000123","phase":"done","run_ms":1.5,"volume_ml":1}`,
		`{"order":"7-000123","phase":"done","run_ms":1e12,"volume_ml":1}`,
		`{"order":"7-000123","phase":"finished","run_ms":7500,"volume_ml":12.5}`,
		`{"order":"7-000123","phase":"unknown","run_ms":7500,"volume_ml":12.5}`,
		`{"order":"7-123","phase":"done","run_ms":7500,"volume_ml":12.5}`,
		`{"order":"0-000123","phase":"done","run_ms":7500,"volume_ml":12.5}`,
		`{"order":"+7-000123","phase":"done","run_ms":7500,"volume_ml":12.5}`,
		`{"order":7,"phase":"done","run_ms":7500,"volume_ml":12.5}`,
		`{"phase":"done","run_ms":7500,"volume_ml":12.5}`,
		`{"order":"7-000123","run_ms":7500,"volume_ml":12.5}`,
		`{"order":"7-000123","phase":"done","run_ms":7500,"volume_ml":12.5,"volume_ml":0}`,
		`{"order":"7-000123","phase":"done","run_ms":7500,"volume_ml":12.5,"cause":"a\nb"}`,
		`{"order":"7-000123","phase":"done","run_ms":7500,"volume_ml":12.5,"cause":"` + strings.Repeat("x", longestNote+1) + `"}`,
		`[]`, `"done"`, ``,
	} {
		if r, err := ParseReport([]byte(body)); err == nil {
			t.Errorf("%s: got %+v", body, r)
		}
	}
	r, err := ParseReport([]byte(`{"order":"7-000123","phase":"accepted","rssi":-60}`))
	if err != nil || r.Phase != controller.PhaseAccepted || r.Volume != 0 {
		t.Errorf("a node may say more than asked: got %+v, %v", r, err)
	}
}

func TestDeliveredVolumeIsRoundedUpAndOrderedVolumeDown(t *testing.T) {
	for _, c := range []struct {
		ml       string
		up, down dosing.Volume
	}{
		{"0.29", 290, 290}, {"12.3", 12_300, 12_300}, {"0.001", 1, 1}, {"0.0001", 1, 0}, {"1.0005", 1001, 1000}, {"0", 0, 0},
		{"1e7", 10_000 * dosing.Litre, 10_000 * dosing.Litre}, {"8.192", 8192, 8192},
	} {
		report, err := ParseReport([]byte(`{"order":"7-000123","phase":"done","run_ms":1,"volume_ml":` + c.ml + `}`))
		if err != nil || report.Volume != c.up {
			t.Errorf("%s mL delivered: got %d µL, %v, want %d", c.ml, report.Volume, err, c.up)
		}
		order, err := ParseOrder([]byte(`{"order":"7-000123","outlet":"","volume_ml":` + c.ml + `,"run_ms":1,"boot":"a","before_tick_ms":1}`))
		if (err == nil) != (c.down > 0) || order.Volume != c.down {
			t.Errorf("%s mL ordered: got %d µL, %v, want %d", c.ml, order.Volume, err, c.down)
		}
	}
	// Every volume a pump can be told comes back to the microlitre.
	for v := dosing.Volume(0); v < 2*dosing.Litre; v += 997 {
		body := AppendReport(nil, controller.Report{Order: sampleDone.Order, Phase: controller.PhaseDone, Volume: v})
		if back, err := ParseReport(body); err != nil || back.Volume != v {
			t.Fatalf("%s: got %d µL, %v, want %d", body, back.Volume, err, v)
		}
	}
}

func TestOrderWithoutAnEndIsNone(t *testing.T) {
	for _, body := range []string{
		`{"order":"7-000123","outlet":"","volume_ml":0,"run_ms":7500,"boot":"a1b2","before_tick_ms":1}`,
		`{"order":"7-000123","outlet":"","volume_ml":1,"run_ms":0,"boot":"a1b2","before_tick_ms":1}`,
		`{"order":"7-000123","outlet":"","volume_ml":1,"boot":"a1b2","before_tick_ms":1}`,
		`{"order":"7-000123","outlet":"","volume_ml":1,"run_ms":1,"before_tick_ms":1}`,
		`{"order":"7-000123","outlet":"","volume_ml":1,"run_ms":1,"boot":"","before_tick_ms":1}`,
		`{"order":"7-000123","outlet":"","volume_ml":1,"run_ms":1,"boot":"a1b2"}`,
		`{"order":"7-000123","outlet":"","volume_ml":1,"run_ms":1,"boot":"a1b2","before_tick_ms":1,"expires":"soon"}`,
		`{"order":"7-000123","outlet":7,"volume_ml":1,"run_ms":1,"boot":"a1b2","before_tick_ms":1}`,
	} {
		if m, err := ParseOrder([]byte(body)); err == nil || m != (OrderMessage{}) {
			t.Errorf("%s: got %+v, %v", body, m, err)
		}
	}
	if m, err := ParseOrder(AppendOrder(nil, controller.Order{}, "")); err == nil {
		t.Errorf("the zero order is taken: %+v", m)
	}
}

func TestHeartbeatWithoutBootTickOrIdleIsRefused(t *testing.T) {
	for _, body := range []string{
		`{"tick_ms":1,"idle":true}`, `{"boot":"","tick_ms":1,"idle":true}`, `{"boot":"a","idle":true}`, `{"boot":"a","tick_ms":1}`,
		`{"boot":"a","tick_ms":1,"idle":1}`, `{"boot":"a","tick_ms":1,"idle":null}`, `{"boot":"a","tick_ms":-1,"idle":true}`,
		`{"boot":"a","tick_ms":1e18,"idle":true}`, `{"boot":"a","tick_ms":1,"idle":true,"last":5}`, `{"boot":"a","tick_ms":1,"idle":true,"last":{}}`,
		`{"boot":"a","tick_ms":1,"idle":true,"last":{"order":"7-000122","phase":"done"}}`,
	} {
		if h, err := ParseHeartbeat([]byte(body)); err == nil || h != (controller.Heartbeat{}) {
			t.Errorf("%s: got %+v, %v", body, h, err)
		}
	}
	if h, err := ParseHeartbeat([]byte(`{"boot":"a","tick_ms":4294967419,"idle":false,"last":null}`)); err != nil || h.Last != nil || h.Tick != 4294967419*time.Millisecond {
		t.Errorf("tick beyond 2³² ms: got %+v, %v", h, err)
	}
}

func TestLeaseStopAndSupplyNeedTheirEpoch(t *testing.T) {
	for _, body := range []string{`{}`, `{"epoch":0,"beat":1,"cut":true}`, `{"epoch":-1,"beat":1,"cut":true}`, `{"epoch":1.5,"beat":1,"cut":true}`,
		`{"epoch":4294967296,"beat":1,"cut":true}`, `{"epoch":"7","beat":1,"cut":true}`, `7`} {
		if _, _, err := ParseLease([]byte(body)); err == nil {
			t.Errorf("lease %s is taken", body)
		}
		if _, _, err := ParseStop([]byte(body)); err == nil {
			t.Errorf("stop %s is taken", body)
		}
		if _, err := ParseSupply([]byte(body)); err == nil {
			t.Errorf("supply %s is taken", body)
		}
	}
	if _, _, err := ParseLease([]byte(`{"epoch":7}`)); err == nil {
		t.Error("a lease without a beat is taken")
	}
	if _, err := ParseSupply([]byte(`{"epoch":7,"cut":false}`)); err == nil {
		t.Error("the supply can be closed again from afar")
	}
	if _, _, err := ParseFit([]byte(`{"cause":""}`)); err == nil {
		t.Error("fit is taken from a payload that does not say so")
	}
}

// Rows 59, 60 and 61 are the core's; here only what can be read at all passes.
func TestAskIsReadWholeOrRefused(t *testing.T) {
	for body, want := range map[string]Ask{
		"5.9": {Value: 5.9}, " 58\n": {Value: 58}, "-1": {Value: -1}, `{"value":5.9}`: {Value: 5.9},
		`{"value":5.9,"until":"2026-01-01T06:00:00+02:00"}`: {Value: 5.9, Until: "2026-01-01T06:00:00+02:00"},
		`{"value":5.9,"until":null,"note":""}`:              {Value: 5.9},
		`{"value":5.9,"note":"für Ona \u00e9"}`:             {Value: 5.9, Note: "für Ona é"},
	} {
		if got, err := ParseAsk([]byte(body)); err != nil || got != want {
			t.Errorf("%s: got %+v, %v", body, got, err)
		}
	}
	for _, body := range []string{"", "5,9", "NaN", "null", `"5.9"`, "[5.9]", `{}`, `{"value":"5.9"}`, `{"value":null}`, `{"Value":5.9}`,
		`{"value":5.9,"untill":"06:00"}`, `{"value":5.9,"until":"6:00"}`, `{"value":5.9,"until":"25:00"}`, `{"value":5.9,"until":"tomorrow"}`,
		`{"value":5.9,"until":6}`, `{"value":5.9,"note":"a\nb"}`, `{"value":5.9,"by":"a\u0000"}`, `{"value":5.9,"value":6}`,
		`{"value":5.9,"by":"` + strings.Repeat("x", longestName+1) + `"}`, strings.Repeat(" ", LargestPayload) + "5.9"} {
		if got, err := ParseAsk([]byte(body)); err == nil {
			t.Errorf("%.80s: got %+v", body, got)
		}
	}
	body := AppendRefusal(nil, refuse("write a decimal point, not a comma", "%s is no decimal number", excerpt([]byte("5,9"))))
	if got := string(body); got != `{"accepted":false,"text":"\"5,9\" is no decimal number; write a decimal point, not a comma"}` {
		t.Errorf("got %s", got)
	}
}

// encoding/json is the independent reader here.
func TestWhatPeopleWriteCannotBreakAPayload(t *testing.T) {
	for _, text := range []string{"", `"`, `\`, "a\nb\tc\rd\x00e\x1f\x7f", "</script>", "für 水", "\u2028", strings.Repeat("é", 300), `{"a":1}`} {
		var back struct {
			Text string
			By   string
		}
		body := AppendAnswer(nil, controller.Answer{Text: text, By: text})
		if err := json.Unmarshal(body, &back); err != nil || back.Text != text || back.By != text {
			t.Errorf("%q came back as %q, %v", text, back.Text, err)
		}
	}
	body := AppendAnswer(nil, controller.Answer{Text: "a\xffb"})
	if !json.Valid(body) || !strings.Contains(string(body), "a\ufffdb") {
		t.Errorf("bytes that are no UTF-8: %q", body)
	}
}

func TestNumberThatIsNoneIsWrittenAsNull(t *testing.T) {
	view := controller.SetpointView{Working: math.NaN(), Final: math.Inf(1), Min: -0.0001, Max: 1e9, AdvisedMin: 1.0006}
	body := AppendSetpoint(nil, dosing.QuantityPH, view)
	if !json.Valid(body) {
		t.Fatalf("no JSON: %s", body)
	}
	for _, want := range []string{`"working":null`, `"final":null`, `"min":0,`, `"max":1000000000,`, `"advised_min":1.001,`} {
		if !strings.Contains(string(body), want) {
			t.Errorf("%s does not hold %s", body, want)
		}
	}
}

func TestPayloadsAppendToWhatStandsThere(t *testing.T) {
	if got := string(AppendLease([]byte("x"), 7, 1)); got != `x{"epoch":7,"beat":1}` {
		t.Errorf("got %s", got)
	}
	if got := string(AppendFit(make([]byte, 0, 64), true, "")); got != `{"fit":true,"cause":""}` {
		t.Errorf("got %s", got)
	}
}
