package report_test

import (
	"strings"
	"testing"
	"time"

	"leat/controller/diary"
	"leat/controller/report"
	"leat/dosing"
	"leat/safety/ledger"
)

func TestPumpsTellTheirRatesAndTubeHours(t *testing.T) {
	l := report.NewPumpList(&diary.Station{Name: "row", Pumps: []diary.Pump{{Name: "acid", Rate: 2}, {Name: "grow", Rate: 1}}}, at("18:00"))
	dose := func(number uint32, ml float64) ledger.Entry {
		return ledger.Entry{Kind: ledger.EntryIntent, At: dosing.Instant{Wall: at("10:00")}, Pump: "acid", Order: ledger.OrderID{Epoch: 1, Number: number}, Volume: dosing.FromMillilitres(ml)}
	}
	less := dose(2, 1000)
	less.Kind, less.Outcome = ledger.EntrySettlement, ledger.OutcomeConfirmed
	for _, e := range []ledger.Entry{dose(1, 5000), {Kind: ledger.EntryChange, Change: ledger.ChangeTube, Pump: "acid", At: dosing.Instant{Wall: at("11:00")}}, dose(2, 7200), less, dose(3, 6200),
		{Kind: ledger.EntryChange, Change: ledger.ChangePumpRate, Pump: "acid", Value: 1.8, Old: 2, By: "ada", At: dosing.Instant{Wall: at("12:00").Add(time.Minute)}}} {
		if err := l.Follow(e); err != nil {
			t.Fatal(err)
		}
	}
	r := l.End()
	acid := r.Pumps[0]
	near(t, "tube hours", &acid.TubeHours, 1)
	if len(acid.Measured) != 1 || !strings.Contains(r.Verdict, "acid (-10 %)") || !strings.Contains(r.Verdict, "entered of grow") {
		t.Errorf("%q, %+v", r.Verdict, acid)
	}
}
