package report_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"leat/controller/diary"
	"leat/controller/report"
	"leat/dosing"
	"leat/safety/ledger"
)

// zone is that of the farm: two hours east in summer.
var zone = time.FixedZone("farm", 2*3600)

// at is a time of the evening of 4 March 2031 or, before noon, of the morning after.
func at(clock string) time.Time {
	day := "2031-03-04 "
	if clock < "12" {
		day = "2031-03-05 "
	}
	t, err := time.ParseInLocation("2006-01-02 15:04", day+clock, zone)
	if err != nil {
		panic(err)
	}
	return t
}

// past is a night of one tank with acid and two stocks, one of unknown contents: pH in
// band but for an hour, EC in band.
func past() *diary.Past {
	p := &diary.Past{From: at("18:00"), To: at("08:00"), First: at("17:00"), Last: at("09:00"), Zone: zone, Minutes: map[string]diary.Minutes{},
		Station: &diary.Station{Name: "row", Zone: "farm",
			Tanks: []diary.Tank{{Name: "pond", Litres: 2300, PH: []string{"pond/ph", "pond/ph spare"}, EC: []string{"pond/ec"}}},
			Pumps: []diary.Pump{{Name: "acid", Liquid: "nitric acid 38 %", Role: "acid", Holds: map[string]float64{"NO3-N": 100}},
				{Name: "grow", Liquid: "grow mix", Role: "stock", Holds: map[string]float64{"NO3-N": 50, "K": 80}},
				{Name: "odd", Liquid: "kelp", Role: "stock"}}}}
	for m := range 14 * 60 {
		when, pH := p.From.Add(time.Duration(m)*time.Minute), 5.85
		if m >= 60 && m < 120 {
			pH = 6.05
		}
		p.Minutes["pond/ph"] = append(p.Minutes["pond/ph"], diary.Minute{At: when, Count: 60, Low: pH - 0.01, Mean: pH, Top: pH + 0.01})
		p.Minutes["pond/ec"] = append(p.Minutes["pond/ec"], diary.Minute{At: when, Count: 60, Low: 1.8, Mean: 1.8, Top: 1.8})
	}
	tell(p, "17:00", diary.KindRun, diary.RunBegins, 0)
	tell(p, "17:00", diary.KindSetpoint, diary.PH, 5.8)
	tell(p, "17:00", diary.KindSetpoint, diary.EC, 1.8)
	tell(p, "17:00", diary.KindWant, "none", 0)
	return p
}

func tell(p *diary.Past, clock string, kind diary.Kind, name string, value float64) {
	p.Events = append(p.Events, diary.Event{At: at(clock), Tank: "pond", Kind: kind, Name: name, Value: value})
}

var orders uint32

func dose(p *diary.Past, clock, pump string, ml float64, outcome ledger.Outcome, counted float64) {
	orders++
	id := ledger.OrderID{Epoch: 1, Number: orders}
	e := ledger.Entry{Kind: ledger.EntryIntent, At: dosing.Instant{Wall: at(clock)}, Tank: "pond", Pump: pump, Order: id, Volume: dosing.FromMillilitres(ml)}
	p.Entries = append(p.Entries, e)
	if outcome != ledger.OutcomeOpen {
		e.Kind, e.Outcome, e.Volume, e.Cause = ledger.EntrySettlement, outcome, dosing.FromMillilitres(counted), "no report came"
		p.Entries = append(p.Entries, e)
	}
}

func of(t *testing.T, p *diary.Past) (*report.Report, *report.Tank) {
	t.Helper()
	r := report.Of(p, "the night")
	if len(r.Tanks) != 1 {
		t.Fatalf("tanks %+v", r.Tanks)
	}
	return r, &r.Tanks[0]
}

func near(t *testing.T, what string, got *float64, want float64) {
	t.Helper()
	if got == nil || math.Abs(*got-want) > 1e-9 {
		t.Errorf("%s: %v, want %v", what, got, want)
	}
}

func TestTheVerdictIsOneSentence(t *testing.T) {
	p := past()
	for range 3 {
		dose(p, "19:20", "acid", 42, ledger.OutcomeConfirmed, 42)
	}
	tell(p, "19:00", diary.KindWant, "acid", 0)
	for _, flood := range [][2]string{{"19:05", "19:15"}, {"19:30", "19:40"}} {
		tell(p, flood[0], diary.KindInterlock, "flood", 1)
		tell(p, flood[1], diary.KindInterlock, "flood", 0)
	}
	tell(p, "20:00", diary.KindWant, "none", 0)
	r, _ := of(t, p)
	if want := "In band pH 93 %, EC 100 %; 126 mL acid in 3 doses; 2 holds, both flood."; r.Verdict != want {
		t.Errorf("verdict %q\n     want %q", r.Verdict, want)
	}
}

func TestInBandIsAgainstTheSetpointAsItWas(t *testing.T) {
	p := past()
	_, tank := of(t, p)
	near(t, "pH in band", tank.PH.InBand, 13.0/14)
	near(t, "pH in the warn band", tank.PH.InWarn, 13.0/14) // 6.05 is a quarter off
	near(t, "EC in band", tank.EC.InBand, 1)
	// She wanted 6.0 in the hour in which it was 6.05.
	tell(p, "19:00", diary.KindSetpoint, diary.PH, 6.0)
	tell(p, "20:00", diary.KindSetpoint, diary.PH, 5.8)
	_, tank = of(t, p)
	if tank.PH.InBand == nil || *tank.PH.InBand < 1-2.0/840 {
		t.Errorf("pH in band %v although the setpoint had gone along", tank.PH.InBand)
	}
	if len(tank.PH.Set) != 3 || tank.PH.Set[0].At != p.From || tank.PH.Set[1].Value != 6.0 {
		t.Errorf("setpoints %+v", tank.PH.Set)
	}
}

func TestJustOutOfBandIsNotYetOutOfTheWarnBand(t *testing.T) {
	p := past()
	for m := 300; m < 384; m++ { // a tenth of the night
		p.Minutes["pond/ph"][m].Mean = 5.95
	}
	_, tank := of(t, p)
	near(t, "pH in band", tank.PH.InBand, 13.0/14-0.1)
	near(t, "pH in the warn band", tank.PH.InWarn, 13.0/14)
}

func TestMinutesNobodyMeasuredCountForNeitherSide(t *testing.T) {
	p := past()
	p.Minutes["pond/ph"] = p.Minutes["pond/ph"][:420]
	p.Minutes["pond/ec"] = nil
	_, tank := of(t, p)
	near(t, "pH in band", tank.PH.InBand, 360.0/420)
	if tank.PH.Known != 0.5 || tank.EC.InBand != nil || tank.EC.Known != 0 {
		t.Errorf("pH known %v, EC %v known %v", tank.PH.Known, tank.EC.InBand, tank.EC.Known)
	}
}

func TestTheSpareProbeIsJudgedWhereTheFirstWasNotRead(t *testing.T) {
	p := past()
	p.Minutes["pond/ph spare"], p.Minutes["pond/ph"] = p.Minutes["pond/ph"], nil
	_, tank := of(t, p)
	near(t, "pH in band", tank.PH.InBand, 13.0/14)
}

func TestAnInterlockWithheldSomethingOnlyWhileItWasWanted(t *testing.T) {
	p := past()
	tell(p, "01:00", diary.KindInterlock, "flood", 1) // nothing is wanted
	tell(p, "01:20", diary.KindInterlock, "flood", 0)
	tell(p, "02:00", diary.KindInterlock, "flood", 1)
	tell(p, "02:10", diary.KindWant, "acid", 0)
	tell(p, "02:40", diary.KindInterlock, "flood", 0)
	tell(p, "02:50", diary.KindWant, "none", 0)
	_, tank := of(t, p)
	if len(tank.Withheld) != 1 {
		t.Fatalf("withheld %+v", tank.Withheld)
	}
	s := tank.Withheld[0]
	if s.From != at("02:10") || s.To != at("02:40") || s.Cause != "flood" || s.Want != "acid" || !strings.Contains(s.Text, "flood is in progress") {
		t.Errorf("withheld %+v", s)
	}
}

func TestEveryInterlockThatStoodIsKnownWhateverWasWanted(t *testing.T) {
	p := past()
	for _, e := range []struct {
		clock, cause string
		value        float64
	}{{"01:00", "flood", 1}, {"01:20", "flood", 0}, {"01:30", "incompatible-wait", 1}, {"02:30", "incompatible-wait", 0}, {"03:00", "ph-stale", 1}, {"03:10", "circulation-off", 1}, {"03:20", "ph-stale", 0}, {"03:40", "circulation-off", 0}} {
		tell(p, e.clock, diary.KindInterlock, e.cause, e.value)
	}
	_, tank := of(t, p)
	var all []string
	for _, s := range tank.Stood {
		all = append(all, s.Cause+" "+s.From.Format("15:04")+" to "+s.To.Format("15:04"))
	}
	if got, want := strings.Join(all, ", "), "flood 01:00 to 01:20, ph-stale 03:00 to 03:10, circulation-off 03:10 to 03:40"; got != want || len(tank.Withheld) != 0 {
		t.Errorf("stood %s, want %s; withheld %+v", got, want, tank.Withheld)
	}
}

func TestOfInterlocksThatStandTogetherTheRootIsNamed(t *testing.T) {
	p := past()
	tell(p, "02:00", diary.KindWant, "stock", 0)
	for _, cause := range []string{"ec-stale", "circulation-off", "mixing-wait"} {
		tell(p, "02:00", diary.KindInterlock, cause, 1)
	}
	_, tank := of(t, p)
	if len(tank.Withheld) != 1 || tank.Withheld[0].Cause != "circulation-off" || tank.Withheld[0].To != at("08:00") {
		t.Errorf("withheld %+v", tank.Withheld)
	}
}

func TestWhatCannotReachTheWantedLiquidIsNotBlamed(t *testing.T) {
	p := past()
	tell(p, "02:00", diary.KindWant, "acid", 0)
	p.Events = append(p.Events, diary.Event{At: at("02:00"), Tank: "pond", Kind: diary.KindInterlock, Name: "no-response", Pump: "grow", Value: 1})
	tell(p, "02:00", diary.KindInterlock, "ec-high", 1) // of the nutrients
	_, tank := of(t, p)
	if len(tank.Withheld) != 0 {
		t.Errorf("withheld %+v", tank.Withheld)
	}
	tell(p, "03:00", diary.KindWant, "stock", 0)
	_, tank = of(t, p)
	if len(tank.Withheld) != 1 || tank.Withheld[0].From != at("03:00") {
		t.Errorf("withheld %+v", tank.Withheld)
	}
}

func TestWhatOnlySpacesDosesIsSummedUntilAPersonWouldAsk(t *testing.T) {
	p := past()
	tell(p, "02:00", diary.KindWant, "stock", 0)
	tell(p, "02:00", diary.KindInterlock, "incompatible-wait", 1)
	tell(p, "02:02", diary.KindInterlock, "incompatible-wait", 0)
	tell(p, "03:00", diary.KindInterlock, "daily-cap", 1)
	tell(p, "07:00", diary.KindInterlock, "daily-cap", 0)
	_, tank := of(t, p)
	if len(tank.Withheld) != 1 || tank.Withheld[0].Cause != "daily-cap" || tank.Withheld[0].Held != 4*3600 {
		t.Errorf("withheld %+v", tank.Withheld)
	}
	if len(tank.Waits) != 1 || tank.Waits[0].Cause != "incompatible-wait" || tank.Waits[0].Held != 120 {
		t.Errorf("waits %+v", tank.Waits)
	}
}

func TestTheTimeInWhichTheWaterMixesBelongsToTheFlood(t *testing.T) {
	p := past()
	tell(p, "02:00", diary.KindWant, "acid", 0)
	tell(p, "02:10", diary.KindInterlock, "flood", 1)
	tell(p, "02:40", diary.KindInterlock, "flood", 0)
	tell(p, "02:40", diary.KindInterlock, "mixing-wait", 1)
	tell(p, "02:44", diary.KindInterlock, "mixing-wait", 0)
	_, tank := of(t, p)
	if len(tank.Withheld) != 1 || tank.Withheld[0].To != at("02:44") || tank.Withheld[0].Mixing != 240 {
		t.Errorf("withheld %+v", tank.Withheld)
	}
}

func TestADaemonThatDiedIsBelievedUpToItsLastWord(t *testing.T) {
	p := past()
	tell(p, "02:00", diary.KindWant, "acid", 0)
	tell(p, "02:00", diary.KindInterlock, "ph-stale", 1)
	for input, minutes := range p.Minutes { // it wrote nothing from 03:00 to 04:00
		p.Minutes[input] = append(append(diary.Minutes(nil), minutes[:540]...), minutes[600:]...)
	}
	p.Events = append(p.Events, diary.Event{At: at("04:00"), Kind: diary.KindRun, Name: diary.RunBegins})
	tell(p, "04:00", diary.KindWant, "none", 0)
	r, tank := of(t, p)
	if len(r.Silent) != 1 || r.Silent[0].From != at("03:00") || r.Silent[0].To != at("04:00") {
		t.Errorf("not running %+v", r.Silent)
	}
	if len(tank.Withheld) != 1 || tank.Withheld[0].To != at("03:00") {
		t.Errorf("withheld %+v", tank.Withheld)
	}
}

func TestADaemonThatWasStoppedIsToldAsNotRunning(t *testing.T) {
	p := past()
	p.Events = append(p.Events, diary.Event{At: at("22:00"), Kind: diary.KindRun, Name: diary.RunEnds},
		diary.Event{At: at("23:30"), Kind: diary.KindRun, Name: diary.RunBegins})
	p.Last = at("07:00")
	r, _ := of(t, p)
	if len(r.Silent) != 2 || r.Silent[0].From != at("22:00") || r.Silent[0].To != at("23:30") || r.Silent[1].From != at("07:00") {
		t.Errorf("not running %+v", r.Silent)
	}
}

func TestDosesAreSummedByLiquidAsTheLedgerCountsThem(t *testing.T) {
	p := past()
	dose(p, "19:00", "acid", 10, ledger.OutcomeConfirmed, 9.5)
	dose(p, "20:00", "acid", 10, ledger.OutcomeUncertain, 10)
	dose(p, "21:00", "acid", 10, ledger.OutcomeWithdrawn, 0)
	dose(p, "22:00", "grow", 40, ledger.OutcomeConfirmed, 40)
	dose(p, "23:00", "odd", 7, ledger.OutcomeOpen, 0)
	hand := func(kind ledger.ChangeKind, name string) {
		p.Entries = append(p.Entries, ledger.Entry{Kind: ledger.EntryChange, Change: kind, At: dosing.Instant{Wall: at("23:10")}, Tank: "pond", Pump: "grow",
			Volume: dosing.FromMillilitres(5), Text: name, By: "ada"})
	}
	hand(ledger.ChangeHandDose, "H1-1")
	hand(ledger.ChangeHandDose, "H1-2")
	hand(ledger.ChangeHandVoid, "H1-2")
	dose(p, "08:00", "odd", 7, ledger.OutcomeOpen, 0) // under way: not yet in doubt
	p.Last = at("08:05")
	_, tank := of(t, p)
	acid, grow, odd := tank.Liquids[0], tank.Liquids[1], tank.Liquids[2]
	if acid.Count != 2 || acid.ML != 19.5 || acid.Uncertain != 1 || acid.Withdrawn != 1 {
		t.Errorf("acid %+v", acid)
	}
	if grow.Count != 1 || grow.ML != 40 || grow.Hand != 1 || grow.HandML != 5 {
		t.Errorf("grow %+v", grow)
	}
	if odd.Count != 2 || odd.Uncertain != 1 || len(tank.Uncertain) != 2 {
		t.Errorf("odd %+v, uncertain %+v", odd, tank.Uncertain)
	}
	// 19.5 mL of 100 mg and 45 mL of 50 mg; what kelp holds nobody stated.
	if len(tank.Nutrients) != 2 || tank.Nutrients[0].Symbol != "NO3-N" || math.Abs(tank.Nutrients[0].Grams-4.2) > 1e-9 || math.Abs(tank.Nutrients[1].Grams-3.6) > 1e-9 {
		t.Errorf("nutrients %+v", tank.Nutrients)
	}
	if len(tank.Unstated) != 1 || tank.Unstated[0] != "odd" {
		t.Errorf("not stated: %v", tank.Unstated)
	}
}

func TestAnAlarmIsToldFromItsFirstWordToItsEnd(t *testing.T) {
	p := past()
	alarm := func(clock, cause, state string) {
		p.Events = append(p.Events, diary.Event{At: at(clock), Tank: "pond", Kind: diary.KindAlarm, Name: cause, Text: state})
	}
	alarm("17:10", "leak", "unacknowledged")
	alarm("17:20", "leak", "normal") // before the night
	alarm("22:00", "circulation-off", "unacknowledged")
	alarm("22:30", "circulation-off", "acknowledged")
	alarm("23:00", "circulation-off", "normal")
	alarm("07:00", "ph-stale", "unacknowledged")
	_, tank := of(t, p)
	if len(tank.Alarms) != 2 || tank.Alarms[0].From != at("22:00") || tank.Alarms[0].To != at("23:00") || tank.Alarms[0].State != "acknowledged" ||
		!tank.Alarms[1].To.IsZero() || tank.Alarms[1].Advice == "" {
		t.Errorf("alarms %+v", tank.Alarms)
	}
}

func TestAnAlarmThatIsKeptQuietForAWhileIsOneAlarm(t *testing.T) {
	p := past()
	for _, a := range [][2]string{{"22:00", "unacknowledged"}, {"22:10", "suppressed-by-design"}, {"22:20", "unacknowledged"}, {"22:30", "shelved"}, {"23:00", "normal"}} {
		p.Events = append(p.Events, diary.Event{At: at(a[0]), Tank: "pond", Kind: diary.KindAlarm, Name: "buffer-scale", Text: a[1]})
	}
	p.Events = append(p.Events, diary.Event{At: at("01:00"), Tank: "pond", Kind: diary.KindAlarm, Name: "leak", Text: "suppressed-by-design"})
	_, tank := of(t, p)
	if len(tank.Alarms) != 1 || tank.Alarms[0].From != at("22:00") || tank.Alarms[0].To != at("23:00") {
		t.Errorf("alarms %+v", tank.Alarms)
	}
}

func TestAnInterlockThatStandsOnIsOneStretchThoughWhatIsWantedComesAndGoes(t *testing.T) {
	p := past()
	tell(p, "01:00", diary.KindInterlock, "circulation-off", 1)
	for _, w := range [][2]string{{"02:00", "acid"}, {"02:10", "none"}, {"02:40", "unknown"}, {"02:50", "none"}, {"04:30", "acid"}, {"04:40", "none"}} {
		tell(p, w[0], diary.KindWant, w[1], 0)
	}
	_, tank := of(t, p)
	if len(tank.Withheld) != 2 || tank.Withheld[0].To != at("02:50") || tank.Withheld[0].Held != 20*60 {
		t.Errorf("withheld %+v", tank.Withheld)
	}
}

func TestATimeThatRanWhenItWasSaidIsNotToldAfterwards(t *testing.T) {
	p := past()
	tell(p, "02:00", diary.KindWant, "acid", 0)
	for _, detail := range []string{"a moment so far", "dosing may begin in 7 min", "after a flood the water must mix; 2 min to go"} {
		p.Events = append(p.Events, diary.Event{At: at("02:00"), Tank: "pond", Kind: diary.KindInterlock, Name: "circulation-off", Value: 1, Text: "It stands. (" + detail + ")"})
		_, tank := of(t, p)
		if len(tank.Withheld) != 1 || strings.Contains(tank.Withheld[0].Text, detail) {
			t.Errorf("%s: %+v", detail, tank.Withheld)
		}
	}
	p.Events = append(p.Events, diary.Event{At: at("02:00"), Tank: "pond", Kind: diary.KindInterlock, Name: "circulation-off", Value: 1, Text: "It stands. (8 L/min of 40)"})
	if _, tank := of(t, p); !strings.Contains(tank.Withheld[0].Text, "8 L/min of 40") {
		t.Errorf("the evidence is lost: %+v", tank.Withheld)
	}
}

func TestEveryChangeIsToldWithWhoMadeIt(t *testing.T) {
	p := past()
	p.Entries = append(p.Entries,
		ledger.Entry{Kind: ledger.EntryChange, Change: ledger.ChangeSetpoint, At: dosing.Instant{Wall: at("20:00")}, Tank: "pond", Quantity: dosing.QuantityPH, Old: 5.8, Value: 5.9, By: "ada", From: "page", Note: "seedlings"},
		ledger.Entry{Kind: ledger.EntryChange, Change: ledger.ChangeLearned, At: dosing.Instant{Wall: at("21:00")}, Tank: "pond", Value: 0.1},
		ledger.Entry{Kind: ledger.EntryChange, Change: ledger.ChangeSettings, At: dosing.Instant{Wall: at("22:00")}, Text: "c41d"})
	r, tank := of(t, p)
	if len(tank.Changes) != 1 || tank.Changes[0].By != "ada" || tank.Changes[0].What != "setpoint ph 5.8 → 5.9" || tank.Changes[0].Note != "seedlings" {
		t.Errorf("changes %+v", tank.Changes)
	}
	if len(r.Changes) != 1 {
		t.Errorf("of the station: %+v", r.Changes)
	}
}

func TestWhatWasAskedAndRefusedIsTold(t *testing.T) {
	p := past()
	p.Deeds = []diary.Deed{{Wall: at("20:00"), Who: "ada", From: "page", What: "signed in"},
		{Wall: at("20:01"), Who: "ada", From: "page", What: "setpoint refused", Detail: "pH 58 is outside 5 to 7"}}
	r, _ := of(t, p)
	if len(r.Refused) != 1 || r.Refused[0].What != "setpoint" || r.Refused[0].By != "ada" || r.Refused[0].Note != "pH 58 is outside 5 to 7" || r.Refused[0].At != at("20:01") {
		t.Errorf("refused %+v", r.Refused)
	}
}

func TestWaterAndDriftAreOfTheTimeAlone(t *testing.T) {
	p := past()
	tell(p, "17:30", diary.KindTopUp, "", 100)
	tell(p, "20:00", diary.KindTopUp, "", 12.5)
	tell(p, "21:00", diary.KindTopUp, "", 7.5)
	tell(p, "17:40", diary.KindDrift, diary.PH, 9)
	tell(p, "20:00", diary.KindDrift, diary.PH, 0.04)
	tell(p, "21:00", diary.KindDrift, diary.PH, 0.06)
	_, tank := of(t, p)
	if tank.TopUp != 20 {
		t.Errorf("top-up %v L", tank.TopUp)
	}
	near(t, "drift", tank.PH.Drift, 0.05)
}

func TestATimeThatTheRecordDoesNotHoldIsSaidToBeUnknown(t *testing.T) {
	p := past()
	p.Events, p.Minutes, p.Last = nil, nil, at("17:30")
	r := report.Of(p, "as asked")
	if !strings.Contains(r.Verdict, "the record ends at 2031-03-04 17:30") {
		t.Errorf("verdict %q", r.Verdict)
	}
}

func TestAnOldRecordStillTellsItsDoses(t *testing.T) {
	p := past()
	p.Station, p.Events, p.Minutes = nil, nil, nil
	dose(p, "19:00", "acid", 10, ledger.OutcomeConfirmed, 10)
	r, tank := of(t, p)
	if tank.Name != "pond" || len(tank.Liquids) != 1 || tank.Liquids[0].ML != 10 || len(r.Remarks) != 1 {
		t.Errorf("%+v, remarks %v", tank, r.Remarks)
	}
}

func TestNightIsTheOneThatEndedLastOrThatIsHalfOver(t *testing.T) {
	first := at("18:00").AddDate(0, 0, -9)
	for last, from := range map[string]string{"08:30": "18:00", "12:00": "18:00", "01:30": "18:00", "23:00": "before", "00:30": "before"} {
		p, err := report.PeriodOf("night", first, at(last))
		want := at("18:00")
		if last == "12:00" { // of the 4th: the night that ended on it
			want = want.AddDate(0, 0, -1)
		}
		if from == "before" {
			want = want.AddDate(0, 0, -1)
		}
		if err != nil || !p.From.Equal(want) || p.To.After(at(last)) {
			t.Errorf("a record that ends at %s: night %s to %s (%v), want from %s", last, p.From, p.To, err, want)
		}
	}
	// A farm in its first evening has no night before it.
	if p, _ := report.PeriodOf("", at("17:00"), at("20:00")); !p.From.Equal(at("18:00")) || !p.To.Equal(at("20:00")) {
		t.Errorf("first evening: %+v", p)
	}
	if _, err := report.PeriodOf("year", first, first); err == nil {
		t.Error("a year is taken for a period")
	}
}

func TestAWeekIsToldDayByDay(t *testing.T) {
	p := past()
	p.From = p.From.AddDate(0, 0, -6)
	dose(p, "19:00", "acid", 10, ledger.OutcomeConfirmed, 10)
	_, tank := of(t, p)
	if len(tank.Days) != 8 || tank.Days[6].Date != "2031-03-04" || tank.Days[6].ML["acid"] != 10 || tank.Days[0].PH != nil {
		t.Fatalf("days %+v", tank.Days)
	}
	near(t, "the evening's share", tank.Days[6].PH, 300.0/360)
}

func TestVolumesHaveThreeDigitsThatCount(t *testing.T) {
	for ml, want := range map[float64]string{0: "0 mL", 0.123456: "0.123 mL", 1.005: "1.00 mL", 12.345: "12.3 mL", 99.96: "100 mL", 193.754: "194 mL", 1234: "1.23 L", 12345: "12.3 L"} {
		if got := report.Volume(ml); got != want {
			t.Errorf("%v mL: %q, want %q", ml, got, want)
		}
	}
	for share, want := range map[float64]string{1: "100 %", 0.9999: "99.9 %", 0.994: "99.4 %", 0.98: "98 %", 0: "0 %", 0.0001: "0.1 %"} {
		if got := report.Percent(share); got != want {
			t.Errorf("%v: %q, want %q", share, got, want)
		}
	}
}
