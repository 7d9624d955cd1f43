package metrics

import (
	"io"
	"maps"
	"math"
	"net/http/httptest"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus/testutil"

	"leat/controller"
	"leat/dosing"
	"leat/safety"
	"leat/safety/alarm"
	"leat/safety/ledger"
)

// farmView is a snapshot of a farm of two tanks, nine pumps' worth of which two are
// shown.
func farmView() *controller.View {
	inputs := func() []controller.InputView {
		return []controller.InputView{
			{Name: "ph-1", Quantity: dosing.QuantityPH, Present: true, Value: 5.83, Age: 4 * time.Second, Quality: dosing.QualityGood},
			{Name: "ec-1", Quantity: dosing.QuantityEC, Present: true, Value: 1.62, Age: 5 * time.Second, Quality: dosing.QualityMaintenanceRequired},
			{Name: "warmth", Quantity: dosing.QuantityTemperature, Present: true, Value: 21.5, Age: 5 * time.Second, Quality: dosing.QualityGood},
			{Name: "level", Quantity: dosing.QuantityLevel, Present: true, Value: 1380, Age: 9 * time.Second, Quality: dosing.QualityGood},
			{Name: "redox", Quantity: dosing.QuantityRedox, NotFitted: "no disinfection here"},
			{Name: "flow", Quantity: dosing.QuantityCirculation, Present: true, Value: 1, Age: 2 * time.Second, Quality: dosing.QualityGood},
		}
	}
	v := &controller.View{At: dosing.Instant{Up: 2 * time.Hour}, Station: "row", Epoch: 7, LinkUp: true, Ledger: safety.LedgerReady}
	for _, name := range []string{"main", "nursery"} {
		v.Tanks = append(v.Tanks, controller.TankView{Name: name, Mode: safety.ModeArmed, Inputs: inputs(), Fit: true,
			PH:      controller.SetpointView{Working: 5.8, Final: 5.9},
			EC:      controller.SetpointView{Working: 1.6, Final: 1.8},
			Settled: controller.SettledView{Known: true, PH: 5.81, EC: 1.61, AcidInTransit: 0.02, ECInTransit: 0.01, BufferScale: 1.1},
			Holds: []controller.HoldView{
				{Cause: safety.CauseMixingWait, Action: safety.Hold, Since: dosing.Instant{Up: 119 * time.Minute}},
			},
			Alarms:     []controller.AlarmView{{Cause: safety.CauseECStale, State: alarm.Unacknowledged, Priority: safety.PriorityTonight}},
			LeavesWarn: 3 * time.Hour, LeavesHarm: alarm.NotInSight})
	}
	v.Tanks[0].Withheld[safety.CauseMixingWait] = 12
	acid := controller.PumpView{Name: "acid", Role: dosing.RoleAcid, Hour: 20 * dosing.Millilitre, Day: 100 * dosing.Millilitre,
		HourlyCap: 80 * dosing.Millilitre, DailyCap: 400 * dosing.Millilitre, Left: 5 * dosing.Litre}
	acid.Doses[ledger.OutcomeConfirmed], acid.Volume[ledger.OutcomeConfirmed] = 9, 99*dosing.Millilitre
	acid.Doses[ledger.OutcomeUncertain], acid.Volume[ledger.OutcomeUncertain] = 1, 10*dosing.Millilitre
	v.Pumps = []controller.PumpView{acid, {Name: "stock-1", Role: dosing.RoleStock, Left: -1}}
	v.Nodes = []controller.NodeView{{Name: "row-1", Seen: true, Age: time.Second}, {Name: "row-2"}}
	return v
}

func newTestMetrics(v *controller.View) *Metrics {
	m := New("row", func() *controller.View { return v }, "1.2.3")
	m.Stand(Host{Copies: func() (time.Time, bool, bool) { return time.Time{}, false, true }, Certificates: map[string]string{"page": "none.pem"}, Head: func() (uint64, [32]byte, bool) { return 12, [32]byte{0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff}, true }})
	return m
}

func compare(t *testing.T, m *Metrics, want string, names ...string) {
	t.Helper()
	if err := testutil.GatherAndCompare(m.registry, strings.NewReader(want), names...); err != nil {
		t.Error(err)
	}
}

func TestReadingIsShownWithItsUnitAndAge(t *testing.T) {
	compare(t, newTestMetrics(farmView()), `
# HELP leat_reading_millisiemens_per_centimetre Last EC reading at 25 °C; NaN when it is stale, invalid or never came.
# TYPE leat_reading_millisiemens_per_centimetre gauge
leat_reading_millisiemens_per_centimetre{probe="ec-1",station="row",tank="main"} 1.62
leat_reading_millisiemens_per_centimetre{probe="ec-1",station="row",tank="nursery"} 1.62
# HELP leat_reading_ph Last pH reading; NaN when it is stale, invalid or never came.
# TYPE leat_reading_ph gauge
leat_reading_ph{probe="ph-1",station="row",tank="main"} 5.83
leat_reading_ph{probe="ph-1",station="row",tank="nursery"} 5.83
`, "leat_reading_ph", "leat_reading_millisiemens_per_centimetre")
}

// samples are the values of one metric by its labels as text, the station's apart: every
// series has it.
func samples(t *testing.T, m *Metrics, name string) map[string]float64 {
	t.Helper()
	families, err := m.registry.Gather()
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]float64{}
	for _, f := range families {
		if f.GetName() != name {
			continue
		}
		for _, metric := range f.GetMetric() {
			var labels []string
			station := ""
			for _, l := range metric.GetLabel() {
				if l.GetName() == "station" {
					station = l.GetValue()
					continue
				}
				labels = append(labels, l.GetValue())
			}
			if station != "row" {
				t.Errorf("%s is of station %q, want row", name, station)
			}
			value := metric.GetGauge().GetValue()
			if metric.GetCounter() != nil {
				value = metric.GetCounter().GetValue()
			}
			out[strings.Join(labels, " ")] = value
		}
	}
	return out
}

func TestStaleUnfitAndRetainedReadingsLoseTheirValueAndKeepTheirAge(t *testing.T) {
	for name, spoil := range map[string]func(*controller.InputView){
		"stale":    func(in *controller.InputView) { in.Age = 3 * time.Minute },
		"invalid":  func(in *controller.InputView) { in.Quality = dosing.QualityFailure },
		"retained": func(in *controller.InputView) { in.Retained = true },
	} {
		v := farmView()
		in := &v.Tanks[0].Inputs[0]
		spoil(in)
		m := newTestMetrics(v)
		// Labels come sorted by name: probe, quantity, tank.
		if got := samples(t, m, "leat_reading_ph")["ph-1 main"]; !math.IsNaN(got) {
			t.Errorf("%s: value %v, want NaN", name, got)
		}
		if got := samples(t, m, "leat_reading_age_seconds")["ph-1 ph main"]; got != in.Age.Seconds() {
			t.Errorf("%s: age %v, want %v", name, got, in.Age.Seconds())
		}
	}
}

func TestProbeThatNeverSpokeIsAsOldAsTheDaemon(t *testing.T) {
	v := farmView()
	v.Tanks[0].Inputs[0] = controller.InputView{Name: "ph-1", Quantity: dosing.QuantityPH}
	m := newTestMetrics(v)
	if got := samples(t, m, "leat_reading_ph")["ph-1 main"]; !math.IsNaN(got) {
		t.Errorf("value %v, want NaN", got)
	}
	if got := samples(t, m, "leat_reading_age_seconds")["ph-1 ph main"]; got != 7200 {
		t.Errorf("age %v, want the uptime of 7200 s", got)
	}
}

func TestWaivedInputIsNotShown(t *testing.T) {
	if got := samples(t, newTestMetrics(farmView()), "leat_reading_millivolts"); len(got) != 0 {
		t.Errorf("a probe that is not fitted is shown: %v", got)
	}
}

func TestOnlyRaisedCausesAreShown(t *testing.T) {
	v := farmView()
	v.Tanks[0].Alarms = append(v.Tanks[0].Alarms, controller.AlarmView{Cause: safety.CauseLeak, State: alarm.ReturnedUnacknowledged},
		controller.AlarmView{Cause: safety.CauseLeak, State: alarm.Unacknowledged}) // a cause given twice would spoil the scrape
	m := newTestMetrics(v)
	for name, want := range map[string][]string{
		"leat_interlock_active":      {"mixing-wait main", "mixing-wait nursery"},
		"leat_interlock_age_seconds": {"mixing-wait main", "mixing-wait nursery"},
		"leat_alarm_state":           {"ec-stale main", "ec-stale nursery", "leak main"},
		"leat_alarm_priority":        {"ec-stale main", "ec-stale nursery"}, // what is over calls nobody
		"leat_withheld_total":        {"mixing-wait main"},
	} {
		if got := slices.Sorted(maps.Keys(samples(t, m, name))); !slices.Equal(got, want) {
			t.Errorf("%s is shown for %v, want %v", name, got, want)
		}
	}
}

func TestAlarmCarriesWhatThePhoneReads(t *testing.T) {
	row := safety.Of(safety.CauseECStale)
	want := strings.Join([]string{row.Advice, "ec-stale", "/alarm/main/ec-stale", "ec-stale", "main", row.Text}, " ")
	if got := samples(t, newTestMetrics(farmView()), "leat_alarm_info"); got[want] != 1 {
		t.Errorf("%v, want 1 for %q", got, want)
	}
}

func TestEveryOutcomeAndModeExistsFromTheStart(t *testing.T) {
	v := farmView()
	m := newTestMetrics(v)
	for name, want := range map[string]int{
		"leat_mode":                    2 * int(safety.ModeCount),
		"leat_doses_total":             2 * int(ledger.OutcomeCount),
		"leat_dosed_millilitres_total": 2 * int(ledger.OutcomeCount),
		"leat_reading_quality":         2 * 5,
		"leat_ledger_state":            6,
		"leat_messages_total":          len(messageKinds),
		"leat_config_reloads_total":    2,
	} {
		if got := len(samples(t, m, name)); got != want {
			t.Errorf("%s has %d series, want %d", name, got, want)
		}
	}
}

func TestCausesAreTheSameWordsAsEverywhere(t *testing.T) {
	m := newTestMetrics(farmView())
	if got := samples(t, m, "leat_interlock_active")["mixing-wait main"]; got != 1 {
		t.Errorf("mixing-wait of main: %v, want 1", got)
	}
	if got := samples(t, m, "leat_interlock_age_seconds")["mixing-wait main"]; got != 60 {
		t.Errorf("age of mixing-wait: %v, want 60 s", got)
	}
	if got := samples(t, m, "leat_withheld_total")["mixing-wait main"]; got != 12 {
		t.Errorf("withheld by mixing-wait: %v, want 12", got)
	}
	if got := samples(t, m, "leat_alarm_priority")["ec-stale main"]; got != 2 {
		t.Errorf("priority of ec-stale: %v, want 2 (tonight)", got)
	}
	if got := samples(t, m, "leat_alarm_state")["ec-stale main"]; got != 1 {
		t.Errorf("state of ec-stale: %v, want 1 (unacknowledged)", got)
	}
}

func TestShelvedAlarmHasNoPriority(t *testing.T) {
	v := farmView()
	v.Tanks[0].Alarms[0].State = alarm.Shelved
	if got := samples(t, newTestMetrics(v), "leat_alarm_priority")["ec-stale main"]; got != 0 {
		t.Errorf("priority %v of a shelved alarm, want 0", got)
	}
}

func TestDosesAreCountedByPumpAndOutcome(t *testing.T) {
	m := newTestMetrics(farmView())
	if got := samples(t, m, "leat_doses_total")["confirmed acid"]; got != 9 {
		t.Errorf("confirmed doses of acid: %v, want 9", got)
	}
	if got := samples(t, m, "leat_dosed_millilitres_total")["uncertain acid"]; got != 10 {
		t.Errorf("uncertain volume of acid: %v mL, want 10", got)
	}
	if got := samples(t, m, "leat_hourly_cap_used_ratio")["acid"]; got != 0.25 {
		t.Errorf("use of the hourly cap: %v, want 0.25", got)
	}
	if got := samples(t, m, "leat_hourly_cap_used_ratio")["stock-1"]; !math.IsNaN(got) {
		t.Errorf("use of no cap: %v, want NaN", got)
	}
	if got := samples(t, m, "leat_container_left_millilitres")["stock-1"]; !math.IsNaN(got) {
		t.Errorf("stock left %v where nobody knows, want NaN", got)
	}
}

func TestNotInSightIsInfinity(t *testing.T) {
	m := newTestMetrics(farmView())
	if got := samples(t, m, "leat_leaves_harm_band_seconds")["main"]; !math.IsInf(got, 1) {
		t.Errorf("harm band: %v, want +Inf", got)
	}
	if got := samples(t, m, "leat_leaves_warn_band_seconds")["main"]; got != 10800 {
		t.Errorf("warn band: %v, want 10800 s", got)
	}
}

func TestUnknownSettledPredictionIsNoNumber(t *testing.T) {
	v := farmView()
	v.Tanks[0].Settled = controller.SettledView{}
	if got := samples(t, newTestMetrics(v), "leat_settled_ph")["main"]; !math.IsNaN(got) {
		t.Errorf("settled pH %v, want NaN", got)
	}
}

func TestHeartbeatStandsStillWhenTheLoopHangs(t *testing.T) {
	m := newTestMetrics(farmView())
	clock := time.Unix(1_800_000_000, 0)
	m.now = func() time.Time { return clock }
	m.LoopStep(time.Millisecond)
	clock = clock.Add(time.Hour) // no step
	if got := samples(t, m, "leat_heartbeat_timestamp_seconds")[""]; got != 1_800_000_000 {
		t.Errorf("heartbeat %v, want that of the last step", got)
	}
}

func TestWhatTheRimObservesIsCounted(t *testing.T) {
	m := newTestMetrics(farmView())
	m.Message("reading")
	m.Message("reading")
	m.Message("no such kind")
	m.Dropped(3)
	m.Reload(false)
	m.LedgerAppend(2 * time.Millisecond)
	messages := samples(t, m, "leat_messages_total")
	if messages["reading"] != 2 || messages["other"] != 1 {
		t.Errorf("messages %v, want 2 readings and 1 other", messages)
	}
	if got := samples(t, m, "leat_messages_dropped_total")[""]; got != 3 {
		t.Errorf("dropped %v, want 3", got)
	}
	if got := samples(t, m, "leat_config_last_reload_successful")[""]; got != 0 {
		t.Errorf("last reload %v, want 0", got)
	}
	all, err := m.registry.Gather()
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range all {
		if f.GetName() == "leat_ledger_append_seconds" {
			if h := f.GetMetric()[0].GetHistogram(); h.GetSampleCount() != 1 || h.GetSampleSum() != 0.002 || len(h.GetBucket()) != 12 || h.GetBucket()[4].GetCumulativeCount() != 1 || h.GetBucket()[3].GetCumulativeCount() != 0 {
				t.Errorf("appends %v, want one of 2 ms", h)
			}
			return
		}
	}
	t.Error("no histogram of appends")
}

func TestTwoProbesOfOneNameDoNotSpoilTheScrape(t *testing.T) {
	v := farmView()
	v.Tanks[0].Inputs = append(v.Tanks[0].Inputs, v.Tanks[0].Inputs[0])
	if _, err := newTestMetrics(v).registry.Gather(); err != nil {
		t.Error(err)
	}
}

func TestBeforeTheFirstViewTheScrapeStillAnswers(t *testing.T) {
	m := newTestMetrics(nil)
	if len(samples(t, m, "leat_heartbeat_timestamp_seconds")) != 1 {
		t.Error("no heartbeat before the first view")
	}
}

func TestHandlerServesText(t *testing.T) {
	m := newTestMetrics(farmView())
	recorder := httptest.NewRecorder()
	m.Handler().ServeHTTP(recorder, httptest.NewRequest("GET", "/metrics", nil))
	body, _ := io.ReadAll(recorder.Result().Body)
	if recorder.Code != 200 || !strings.Contains(string(body), `leat_build_info{goversion=`) || !strings.Contains(string(body), `version="1.2.3"`) {
		t.Errorf("status %d, body begins %.300s", recorder.Code, body)
	}
}

// The units of the trade, and what has none. A new metric whose name ends in
// nothing of this list needs a unit, or a line here with a reason.
var (
	unitEnd  = regexp.MustCompile(`_(ph|millisiemens_per_centimetre|celsius|litres|millilitres|millivolts|seconds|ratio|bytes|bits|ph_per_hour|millisiemens_per_centimetre_per_hour)(_total)?$`)
	unitless = map[string]string{
		"leat_build_info":                    "always 1",
		"leat_reading_switch":                "1 or 0",
		"leat_reading_quality":               "1 or 0",
		"leat_mode":                          "1 or 0",
		"leat_interlock_active":              "1 or 0",
		"leat_alarm_state":                   "number of a state",
		"leat_alarm_priority":                "number of a priority",
		"leat_alarm_info":                    "always 1",
		"leat_ledger_rows":                   "a count",
		"leat_fit_for_plants":                "1 or 0",
		"leat_node_seen":                     "1 or 0",
		"leat_broker_connected":              "1 or 0",
		"leat_ledger_state":                  "1 or 0",
		"leat_epoch":                         "a number of runs",
		"leat_config_last_reload_successful": "1 or 0",
		"leat_ledger_copy_last_successful":   "1 or 0",
		"leat_doses_total":                   "a count",
		"leat_withheld_total":                "a count",
		"leat_messages_total":                "a count",
		"leat_messages_dropped_total":        "a count",
		"leat_config_reloads_total":          "a count",
	}
)

func TestEveryMetricHasAUnitOfTheTradeInItsName(t *testing.T) {
	families, err := newTestMetrics(farmView()).registry.Gather()
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range families {
		name := f.GetName()
		if strings.HasPrefix(name, "leat_") && !unitEnd.MatchString(name) && unitless[name] == "" {
			t.Errorf("%s has no unit in its name", name)
		}
	}
}

// promlint is the linter of the Prometheus project, as in client_golang.
func TestLintIsCleanButForUnitsOfTheTrade(t *testing.T) {
	m := newTestMetrics(farmView())
	m.LoopStep(time.Millisecond)
	m.LedgerAppend(time.Millisecond)
	problems, err := testutil.GatherAndLint(m.registry)
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range problems {
		if strings.HasPrefix(p.Metric, "leat_") && unitEnd.MatchString(p.Metric) && strings.HasPrefix(p.Text, "use base unit") {
			continue
		}
		t.Errorf("%s: %s", p.Metric, p.Text)
	}
}

func TestIonsAreShownBesideTheirUncertaintyAndTarget(t *testing.T) {
	v := farmView()
	v.At.Wall = time.Date(2026, 3, 10, 12, 0, 0, 0, time.UTC)
	v.Tanks[0].Ions = &controller.IonsView{Analysed: v.At.Wall.Add(-48 * time.Hour), Ions: []controller.IonView{{Name: "K", Amount: 6.5, Off: 0.3, Target: 7.2}},
		Shares: []controller.ShareView{{Pump: "stock-1", Share: 1}}}
	compare(t, newTestMetrics(v), `
# HELP leat_blend_share_ratio Share of the stock in the blends that are begun now, by volume; no series without a recipe.
# TYPE leat_blend_share_ratio gauge
leat_blend_share_ratio{pump="stock-1",station="row",tank="main"} 1
# HELP leat_ion_millimoles_per_litre What the tank is thought to hold; no series without a recipe.
# TYPE leat_ion_millimoles_per_litre gauge
leat_ion_millimoles_per_litre{ion="K",station="row",tank="main"} 6.5
# HELP leat_ion_target_millimoles_per_litre What the recipe wants at the EC setpoint in force; 0 for an ion that it does not name.
# TYPE leat_ion_target_millimoles_per_litre gauge
leat_ion_target_millimoles_per_litre{ion="K",station="row",tank="main"} 7.2
# HELP leat_ion_uncertainty_millimoles_per_litre Standard uncertainty of it; it grows until the next analysis.
# TYPE leat_ion_uncertainty_millimoles_per_litre gauge
leat_ion_uncertainty_millimoles_per_litre{ion="K",station="row",tank="main"} 0.3
# HELP leat_ions_analysed_age_seconds Time since the last analysis; NaN when there was none.
# TYPE leat_ions_analysed_age_seconds gauge
leat_ions_analysed_age_seconds{station="row",tank="main"} 172800
`, "leat_blend_share_ratio", "leat_ion_millimoles_per_litre", "leat_ion_target_millimoles_per_litre", "leat_ion_uncertainty_millimoles_per_litre", "leat_ions_analysed_age_seconds")
}
