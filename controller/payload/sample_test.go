package payload

import (
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"
	"unsafe"

	"leat/controller"
	"leat/dosing"
	"leat/dosing/blend"
	"leat/safety"
	"leat/safety/alarm"
	"leat/safety/ledger"
)

const samples = "../../testdata/payload"

func sample(t testing.TB, name string) []byte {
	t.Helper()
	body, err := os.ReadFile(filepath.Join(samples, name))
	if err != nil {
		t.Fatal(err)
	}
	return body
}

var (
	sampleTime = time.Date(2026, 1, 1, 2, 3, 4, 0, time.UTC)
	sampleNow  = dosing.Instant{Wall: sampleTime.Add(20 * time.Second), Up: time.Hour}
	since      = dosing.Instant{Wall: time.Date(2026, 1, 1, 1, 59, 0, 0, time.UTC)}

	sampleOrder = OrderMessage{ID: ledger.OrderID{Epoch: 7, Number: 123}, Outlet: "north", Volume: 12_500 * dosing.Microlitre,
		Run: 7500 * time.Millisecond, Boot: "a1b2", BeforeTick: 123456 * time.Millisecond, Expires: sampleTime}
	sampleDone = controller.Report{Order: ledger.OrderID{Epoch: 7, Number: 123}, Phase: controller.PhaseDone,
		Run: 7500 * time.Millisecond, Volume: 12_500 * dosing.Microlitre}
	sampleRefused = controller.Report{Order: ledger.OrderID{Epoch: 7, Number: 123}, Phase: controller.PhaseRefused, Cause: "order is for another boot"}
	sampleLast    = controller.Report{Order: ledger.OrderID{Epoch: 7, Number: 122}, Phase: controller.PhaseDone,
		Run: 7400 * time.Millisecond, Volume: 12_300 * dosing.Microlitre}
	sampleBeat  = controller.Heartbeat{Boot: "a1b2", Tick: 2 * time.Minute, Idle: true, Epoch: 7, Last: &sampleLast}
	sampleFirst = controller.Heartbeat{Boot: "a1b2", Tick: 2 * time.Second, Idle: true}
	sampleAsk   = Ask{Value: 5.9, Until: "06:00", Confirm: "k3f9", Note: "seedlings moved in", By: "Ona"}

	sampleTank = controller.TankView{Name: "reservoir", Mode: safety.ModeHolding, Cause: safety.CauseCirculationOff,
		Reason: "Holding: the circulation pump stands still.", Next: "Doses go on one mixing time after the water moves again.",
		Stocks: []controller.StockView{{Pump: "acid", Left: 3200 * dosing.Millilitre, Known: true, Lasting: dosing.Lasting{PerDay: 410, Days: 7.8, Low: 6.1, High: 9.5}}, {Pump: "calcium", Left: -1}},
		Inputs: []controller.InputView{
			{Name: "ph", Quantity: dosing.QuantityPH, Present: true, Value: 6.0213, Age: 1200 * time.Millisecond, Quality: dosing.QualityGood},
			{Name: "ec", Quantity: dosing.QuantityEC, Present: true, Value: 1.8, Age: 61500 * time.Millisecond, Retained: true},
			{Name: "redox", Quantity: dosing.QuantityRedox, NotFitted: "no disinfectant is used here"},
			{Name: "level", Quantity: dosing.QuantityLevel},
		},
		Holds: []controller.HoldView{{Cause: safety.CauseCirculationOff, Action: safety.Hold, Scope: safety.ScopeTank, Since: since,
			Text: "Circulation is off.", Clears: "one mixing time of good flow"}},
		LeavesWarn: 90 * time.Minute, LeavesHarm: -1, Fit: true}
	sampleAlarm = controller.AlarmView{Cause: safety.CauseCirculationOff, State: alarm.Unacknowledged, Priority: safety.PriorityTonight,
		Text: "Circulation is off.", Advice: "Look at the pump and its fuse.", Since: since}
	samplePH = controller.SetpointView{Working: 5.85, Final: 5.9, Source: "mqtt", Min: 5, Max: 7, AdvisedMin: 5.5, AdvisedMax: 6.3,
		Confirm: 0.3, By: "mqtt:Ona", At: sampleTime, Until: time.Date(2026, 1, 1, 6, 0, 0, 0, time.UTC)}
	sampleEC = controller.SetpointView{Working: 1.8, Final: 1.8, Source: "file", Min: 0.3, Max: 4, AdvisedMin: 0.8, AdvisedMax: 2.8, Confirm: 0.4}

	sampleCalibration = CalibrationAsk{Calibrating: controller.Calibrating{Probe: "ph", Step: "read", Standard: "4.01", Celsius: 21.5}, By: "Ada"}
	sampleEntered     = CalibrationAsk{Calibrating: controller.Calibrating{Probe: "ph", Step: "entered", Celsius: 22, Found: "7.00=7.02, 4.01=4.05"}, Note: "fresh buffers", By: "Ada"}
	sampleAnalysis    = AnalysisAsk{Sampled: sampleTime, Note: "sampled before the flood", By: "lab", Analysis: blend.Analysis{Alkalinity: 0.25, PH: 5.8, EC: 1.82,
		Content: blend.Content{blend.NO3: 12.5, blend.K: 7, blend.Ca: 2.875}, Stated: [blend.SubstanceCount]bool{blend.NO3: true, blend.K: true, blend.Ca: true}}}
	sampleIons = &controller.IonsView{Recipe: "lettuce", Analysed: sampleTime,
		Ions: []controller.IonView{{Name: "NO3-N", Macro: true, Amount: 12.4521, Off: 0.5219, Target: 12.1, Milligrams: 14.007, Acid: 0.81},
			{Name: "Fe", Amount: 0.03987, Off: 0.0021, Target: 0.04, Milligrams: 55.845}},
		Shares:         []controller.ShareView{{Pump: "calcium", Share: 0.241}, {Pump: "potassium-nitrate", Share: 0.759}},
		AmmoniumAdvice: "NH4 6 → 8 % of N: about half the acid", Wanted: time.Date(2026, 1, 9, 0, 0, 0, 0, time.UTC), Advice: "an analysis is wanted by 9 January: after that K may be 15 % off"}

	answerAccepted = controller.Answer{Accepted: true, Quantity: dosing.QuantityPH, Text: "pH moves from 5.8 to 5.9, at most 0.3 an hour",
		Old: 5.8, New: 5.9, Min: 5, Max: 7, By: "mqtt:Ona"}
	answerRefused = controller.Answer{Quantity: dosing.QuantityPH, Text: "58 is outside 5 to 7; did you mean 5.8?",
		Old: 5.8, New: 58, Min: 5, Max: 7, By: "mqtt:Ona"}
	answerConfirm = controller.Answer{Quantity: dosing.QuantityEC, Text: "a step of 0.6 mS/cm needs confirmation: send it again with confirm",
		Old: 1.8, New: 2.4, Min: 0.3, Max: 4, Confirm: "k3f9", By: "mqtt"}
)

// forgeOrder fills a controller.Order for this test alone: everywhere else only the
// core makes one, after gate and ledger.
func forgeOrder(fields map[string]any) controller.Order {
	var o controller.Order
	v := reflect.ValueOf(&o).Elem()
	for name, value := range fields {
		f := v.FieldByName(name)
		reflect.NewAt(f.Type(), unsafe.Pointer(f.UnsafeAddr())).Elem().Set(reflect.ValueOf(value))
	}
	return o
}

func TestEverySampleIsBuiltToTheByte(t *testing.T) {
	order := forgeOrder(map[string]any{"id": sampleOrder.ID, "volume": sampleOrder.Volume, "run": sampleOrder.Run, "boot": sampleOrder.Boot,
		"before": sampleOrder.BeforeTick, "expires": sampleOrder.Expires.Add(999 * time.Millisecond)})
	built := map[string][]byte{
		"order.json":               AppendOrder(nil, order, "north"),
		"report_done.json":         AppendReport(nil, sampleDone),
		"report_refused.json":      AppendReport(nil, sampleRefused),
		"heartbeat.json":           new(HeartbeatWriter).Write(sampleBeat),
		"heartbeat_first.json":     new(HeartbeatWriter).Write(sampleFirst),
		"lease.json":               AppendLease(nil, 7, 4711),
		"stop_pump.json":           AppendStop(nil, 7, "acid"),
		"stop_all.json":            AppendStop(nil, 7, ""),
		"supply.json":              AppendSupply(nil, 7),
		"fit.json":                 AppendFit(nil, true, ""),
		"fit_not.json":             AppendFit(nil, false, "pH 4.2 by both probes"),
		"answer_accepted.json":     AppendAnswer(nil, answerAccepted),
		"answer_refused.json":      AppendAnswer(nil, answerRefused),
		"answer_confirm.json":      AppendAnswer(nil, answerConfirm),
		"setpoint_ph.json":         AppendSetpoint(nil, dosing.QuantityPH, samplePH),
		"setpoint_ec.json":         AppendSetpoint(nil, dosing.QuantityEC, sampleEC),
		"state.json":               AppendState(nil, &sampleTank, sampleTime),
		"alarm.json":               AppendAlarm(nil, sampleAlarm),
		"ions.json":                AppendIons(nil, sampleIons),
		"analysis_ask.json":        AppendAnalysis(nil, sampleAnalysis),
		"calibration_ask.json":     AppendCalibration(nil, sampleCalibration),
		"calibration_entered.json": AppendCalibration(nil, sampleEntered),
		"analysis_answer.json":     AppendWord(nil, controller.Answer{Accepted: true, Text: "analysis taken; the shares of the stocks follow it", By: "mqtt (says lab)"}),
	}
	for name, body := range built {
		if want := string(sample(t, name)); string(body) != want {
			t.Errorf("%s\n got %s\nwant %s", name, body, want)
		}
	}
}

func TestEverySampleIsReadBack(t *testing.T) {
	read := map[string]func([]byte) (any, error){
		"order.json":               func(b []byte) (any, error) { return ParseOrder(b) },
		"report_done.json":         func(b []byte) (any, error) { return ParseReport(b) },
		"report_refused.json":      func(b []byte) (any, error) { return ParseReport(b) },
		"heartbeat.json":           func(b []byte) (any, error) { return ParseHeartbeat(b) },
		"heartbeat_first.json":     func(b []byte) (any, error) { return ParseHeartbeat(b) },
		"ask_number.txt":           func(b []byte) (any, error) { return ParseAsk(b) },
		"ask.json":                 func(b []byte) (any, error) { return ParseAsk(b) },
		"analysis_ask.json":        func(b []byte) (any, error) { return ParseAnalysis(b) },
		"calibration_ask.json":     func(b []byte) (any, error) { return ParseCalibration(b) },
		"calibration_entered.json": func(b []byte) (any, error) { return ParseCalibration(b) },
		"analysis_list.txt":        func(b []byte) (any, error) { return ParseAnalysis(b) },
		"lease.json":               func(b []byte) (any, error) { e, n, err := ParseLease(b); return [2]uint64{uint64(e), n}, err },
		"stop_pump.json":           func(b []byte) (any, error) { e, p, err := ParseStop(b); return stop{e, p}, err },
		"stop_all.json":            func(b []byte) (any, error) { e, p, err := ParseStop(b); return stop{e, p}, err },
		"supply.json":              func(b []byte) (any, error) { return ParseSupply(b) },
		"fit.json":                 func(b []byte) (any, error) { f, c, err := ParseFit(b); return fit{f, c}, err },
		"fit_not.json":             func(b []byte) (any, error) { f, c, err := ParseFit(b); return fit{f, c}, err },
	}
	want := map[string]any{
		"order.json": sampleOrder, "report_done.json": sampleDone, "report_refused.json": sampleRefused,
		"heartbeat.json": sampleBeat, "heartbeat_first.json": sampleFirst,
		"calibration_ask.json": sampleCalibration, "calibration_entered.json": sampleEntered,
		"analysis_ask.json": sampleAnalysis, "analysis_list.txt": AnalysisAsk{Analysis: sampleAnalysis.Analysis},
		"ask_number.txt": Ask{Value: 5.9}, "ask.json": sampleAsk,
		"lease.json": [2]uint64{7, 4711}, "stop_pump.json": stop{7, "acid"}, "stop_all.json": stop{7, ""}, "supply.json": uint32(7),
		"fit.json": fit{true, ""}, "fit_not.json": fit{false, "pH 4.2 by both probes"},
	}
	for name, parse := range read {
		got, err := parse(sample(t, name))
		if err != nil || !reflect.DeepEqual(got, want[name]) {
			t.Errorf("%s: got %+v, %v, want %+v", name, got, err, want[name])
		}
	}
}

type stop struct {
	epoch uint32
	pump  string
}

type fit struct {
	fit   bool
	cause string
}

// A sample that nothing reads or builds would rot.
func TestEverySampleIsUsed(t *testing.T) {
	entries, err := os.ReadDir(samples)
	if err != nil {
		t.Fatal(err)
	}
	tests, err := filepath.Glob("*_test.go")
	if err != nil {
		t.Fatal(err)
	}
	var source strings.Builder
	for _, name := range tests {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		source.Write(text)
	}
	for _, entry := range entries {
		if !strings.Contains(source.String(), `"`+entry.Name()+`"`) {
			t.Errorf("no test names the sample %s", entry.Name())
		}
	}
	if len(entries) < 20 {
		t.Errorf("found only %d samples", len(entries))
	}
}

// Nodes and dashboards are built from these topics.
func TestTopicsStandAsDocumented(t *testing.T) {
	topics, err := NewTopics("", "row", []string{"reservoir", "nursery"}, map[string]string{"nursery/reading/ph": "plant/7/ph"})
	if err != nil {
		t.Fatal(err)
	}
	for got, want := range map[string]string{
		topics.Reading(0, "ph"):                     "leat/row/reservoir/reading/ph",
		topics.Reading(1, "ph"):                     "plant/7/ph",
		topics.Reading(dosing.AllTanks, "stop"):     "leat/row/reading/stop",
		topics.Order("acid"):                        "leat/row/order/acid",
		topics.Report("acid"):                       "leat/row/report/acid",
		topics.Node("bench"):                        "leat/row/node/bench",
		topics.Lease():                              "leat/row/lease",
		topics.Stop():                               "leat/row/stop",
		topics.Supply():                             "leat/row/supply",
		topics.Ask(0, dosing.QuantityPH):            "leat/row/reservoir/setpoint/ph/ask",
		topics.Answer(0, dosing.QuantityEC):         "leat/row/reservoir/setpoint/ec/answer",
		topics.Setpoint(1, dosing.QuantityPH):       "leat/row/nursery/setpoint/ph",
		topics.State(0):                             "leat/row/reservoir/state",
		topics.Alarm(0, safety.CauseCirculationOff): "leat/row/reservoir/alarm/circulation-off",
		topics.Fit(1):                               "leat/row/nursery/fit",
		topics.CalibrationAsk(0):                    "leat/row/reservoir/calibration/ask", topics.CalibrationAnswer(0): "leat/row/reservoir/calibration/answer",
		topics.AnalysisAsk(0):                           "leat/row/reservoir/analysis/ask",
		topics.AnalysisAnswer(0):                        "leat/row/reservoir/analysis/answer",
		topics.Ions(1):                                  "leat/row/nursery/ions",
		topics.Online("house-2"):                        "leat/daemon/house-2/online",
		topics.State(2) + "no topic for an unknown one": "no topic for an unknown one",
	} {
		if got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
	one, err := NewTopics("farm/two/", "row", []string{"reservoir"}, nil)
	if err != nil {
		t.Fatal(err)
	}
	if got := one.Order("acid"); got != "farm/two/row/order/acid" {
		t.Errorf("a second tank would rename the pumps' topics: %q", got)
	}
}

func TestTopicsThatWouldMeetAreRefused(t *testing.T) {
	for name, build := range map[string]func() (*Topics, error){
		"wildcard":      func() (*Topics, error) { return NewTopics("", "row", []string{"a+b"}, nil) },
		"hash":          func() (*Topics, error) { return NewTopics("x/#", "row", []string{"a"}, nil) },
		"slash in name": func() (*Topics, error) { return NewTopics("", "row", []string{"a/b"}, nil) },
		"empty name":    func() (*Topics, error) { return NewTopics("", "row", []string{""}, nil) },
		"newline":       func() (*Topics, error) { return NewTopics("", "row\n", []string{"a"}, nil) },
		"broker's own":  func() (*Topics, error) { return NewTopics("$SYS", "row", []string{"a"}, nil) },
		"same names":    func() (*Topics, error) { return NewTopics("", "row", []string{"a", "a"}, nil) },
		"station's":     func() (*Topics, error) { return NewTopics("", "row", []string{"order"}, nil) },
		"daemons'":      func() (*Topics, error) { return NewTopics("", "daemon", []string{"a"}, nil) },
		"two on one": func() (*Topics, error) {
			return NewTopics("", "row", []string{"a"}, map[string]string{"order/acid": "x", "order/base": "x"})
		},
		"order on a reading": func() (*Topics, error) {
			return NewTopics("", "row", []string{"a"}, map[string]string{"order/acid": "x", "a/reading/ph": "x"})
		},
	} {
		if topics, err := build(); err == nil {
			t.Errorf("%s: got %v, want a refusal", name, topics)
		}
	}
	if _, err := NewTopics("", "row", []string{"a"}, map[string]string{"a/reading/ec": "x", "a/reading/ph": "x"}); err != nil {
		t.Errorf("one payload may carry pH and EC: %v", err)
	}
	if _, err := NewTopics("", "a", []string{"a", "b"}, nil); err != nil {
		t.Errorf("a station may carry the name of one of its tanks: their topics lie one level apart: %v", err)
	}
}
