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

// season is a ledger of ten days of acid, 20 and 24 mL a day in turn, refilled on the
// fifth with 1 L; the stock was never refilled.
func season(days int, more ...ledger.Entry) *report.Stocks {
	station := &diary.Station{Name: "row", Pumps: []diary.Pump{{Name: "acid", Liquid: "nitric acid 38 %", Role: "acid", Container: 1000}, {Name: "grow", Role: "stock"}}}
	last := at("18:00")
	c := report.NewStockCounter(station, last.AddDate(0, 0, -days), last)
	number := uint32(0)
	for day := days; day > 0; day-- {
		for k := range 2 {
			when := last.Add(-time.Duration(day)*24*time.Hour + time.Duration(1+k)*time.Hour)
			number++
			e := ledger.Entry{Kind: ledger.EntryIntent, At: dosing.Instant{Wall: when}, Pump: "acid", Order: ledger.OrderID{Epoch: 1, Number: number},
				Volume: dosing.FromMillilitres(10 + 2*float64(day%2))}
			_ = c.Follow(e)
			e.Kind, e.Outcome = ledger.EntrySettlement, ledger.OutcomeConfirmed
			_ = c.Follow(e)
		}
		if day == days/2+1 {
			for _, e := range more {
				_ = c.Follow(e)
			}
		}
	}
	return c.End()
}

func refill(pump string, litres float64) ledger.Entry {
	return ledger.Entry{Kind: ledger.EntryChange, Change: ledger.ChangeRefill, At: dosing.Instant{Wall: at("17:00")}, Pump: pump,
		Volume: dosing.FromMillilitres(1000 * litres), Text: "B7", Note: "38 %", By: "ada"}
}

func TestAContainerHoldsItsRefillLessWhatWasDosedSince(t *testing.T) {
	r := season(10, refill("acid", 1))
	acid, grow := r.Stocks[0], r.Stocks[1]
	near(t, "left", acid.Left, 1000-3*24-2*20)
	if acid.Batch != "B7" || acid.By != "ada" || acid.Note != "38 %" {
		t.Errorf("refill %+v", acid)
	}
	if grow.Left != nil || grow.Lasts != nil || !strings.Contains(r.Verdict, "1 of 2 containers no refill was entered") {
		t.Errorf("%q, %+v", r.Verdict, grow)
	}
}

func TestDaysToEmptyComeWithTheirDoubt(t *testing.T) {
	r := season(10, refill("acid", 1))
	lasts := r.Stocks[0].Lasts
	near(t, "a day", r.Stocks[0].PerDay, 22)
	if lasts == nil || math.Abs(lasts.Days-*r.Stocks[0].Left/22) > 1e-9 || !(lasts.Min < lasts.Days && lasts.Days < lasts.Max) {
		t.Fatalf("lasts %+v", lasts)
	}
	// Ten days that differ by a tenth say more than two, whose spread nobody knows.
	few := season(2, refill("acid", 1)).Stocks[0].Lasts
	if few == nil || (few.Max-few.Min)/few.Days < 2*(lasts.Max-lasts.Min)/lasts.Days {
		t.Errorf("two days: %+v, ten days: %+v", few, lasts)
	}
	if !strings.HasPrefix(r.Verdict, "Acid runs out first, in 40 days (") {
		t.Errorf("verdict %q", r.Verdict)
	}
}

func TestLessThanADayForecastsNothing(t *testing.T) {
	station := &diary.Station{Pumps: []diary.Pump{{Name: "acid"}}}
	c := report.NewStockCounter(station, at("18:00"), at("22:00"))
	_ = c.Follow(refill("acid", 1))
	if r := c.End(); r.Stocks[0].PerDay != nil || !strings.Contains(r.Verdict, "No whole day") {
		t.Errorf("%q, %+v", r.Verdict, r.Stocks[0])
	}
}

func TestAContainerIsNeverLessThanEmpty(t *testing.T) {
	r := season(10, refill("acid", 0.05))
	if left := *r.Stocks[0].Left; left != 0 || r.Stocks[0].Lasts.Days != 0 {
		t.Errorf("left %v, %+v", left, r.Stocks[0].Lasts)
	}
}

func TestWhatWasNotDeliveredStaysInTheContainer(t *testing.T) {
	station := &diary.Station{Pumps: []diary.Pump{{Name: "acid"}}}
	c := report.NewStockCounter(station, at("18:00"), at("22:00"))
	_ = c.Follow(refill("acid", 1))
	e := ledger.Entry{Kind: ledger.EntryIntent, At: dosing.Instant{Wall: at("19:00")}, Pump: "acid", Order: ledger.OrderID{Epoch: 1, Number: 1}, Volume: dosing.FromMillilitres(10)}
	_ = c.Follow(e)
	near(t, "while it is open", c.End().Stocks[0].Left, 990)
	e.Kind, e.Outcome, e.Volume = ledger.EntrySettlement, ledger.OutcomeWithdrawn, 0
	_ = c.Follow(e)
	near(t, "when it was withdrawn", c.End().Stocks[0].Left, 1000)
}

func TestBeforeTheFirstDayAContainerLastsAsLongAsAUsualCropTakes(t *testing.T) {
	// 1 L of acid of which a usual crop takes 25 mL a day, 4 L of a stock and 80 mL: 40 and 50 days. Of the
	// base nothing is foreseen.
	station := &diary.Station{Name: "row", Pumps: []diary.Pump{{Name: "acid", Liquid: "nitric acid 38 % 1:10", Role: "acid", Parts: 10, Usual: 25},
		{Name: "grow", Role: "stock", Usual: 80, Salts: map[string]float64{"potassium nitrate": 100}}, {Name: "base", Role: "base", Parts: 1}}}
	last := at("18:00")
	c := report.NewStockCounter(station, last.Add(-2*time.Hour), last)
	for _, e := range []ledger.Entry{refill("acid", 1), refill("grow", 4)} {
		_ = c.Follow(e)
	}
	r := c.End()
	for i, want := range []float64{40, 50} {
		if l := r.Stocks[i].Lasts; l == nil || math.Abs(l.Days-want) > 1e-9 || !(l.Min < want/4 && l.Max > 1.75*want) {
			t.Errorf("%s lasts %+v; by hand %g days, known to half or double at best", r.Stocks[i].Pump, l, want)
		}
	}
	if r.Stocks[2].PerDay != nil || r.Stocks[2].Lasts != nil {
		t.Errorf("the base: %+v", r.Stocks[2])
	}
	if !r.Usual || r.Days != 0 || !strings.Contains(r.Verdict, "no whole day with doses is on record yet: the forecast is that of a usual crop, which drinks 35 %") {
		t.Errorf("%+v", r)
	}
	// Ten weeks take 80 mL · 70 = 5.6 L of the stock on the mean. What is bought for is 1 + 1.645 · 0.5 · √(1 + 1/70) = 1.828 times
	// that: 10.238 L, of which 4 are there. So 6.238 L of 100 g/L: 0.624 kg. Of the acid 25 · 70 = 1.75 L, 3.199 L, 2.199 L more: 0.220 L as labelled.
	s, err := report.ShoppingOf(r, station, 10)
	if err != nil || len(s.Buy) != 2 {
		t.Fatalf("%+v, %v", s, err)
	}
	if math.Abs(s.Make[1].Need-5.6) > 1e-9 || math.Abs(s.Buy[1].KG-0.6238) > 0.0005 || math.Abs(s.Buy[0].Litres-0.2199) > 0.0005 {
		t.Errorf("%+v of %+v; by hand 0.624 kg and 0.220 L", s.Buy, s.Make)
	}
	if s.Make[2].Why == "" || !strings.Contains(s.Verdict, "usual crop") || strings.Contains(s.Verdict, "what is in it") {
		t.Errorf("%q, %+v", s.Verdict, s.Make[2])
	}
}

func TestADayOnRecordTakesThePlaceOfTheUsualCrop(t *testing.T) {
	station := &diary.Station{Name: "row", Pumps: []diary.Pump{{Name: "acid", Role: "acid", Usual: 500}}}
	last := at("18:00")
	c := report.NewStockCounter(station, last.AddDate(0, 0, -2), last)
	for _, e := range []ledger.Entry{refill("acid", 1), {Kind: ledger.EntryIntent, At: dosing.Instant{Wall: last.Add(-3 * time.Hour)}, Pump: "acid", Order: ledger.OrderID{Epoch: 1, Number: 1}, Volume: 20 * dosing.Millilitre}} {
		_ = c.Follow(e)
	}
	if r := c.End(); r.Usual || r.Days != 1 || *r.Stocks[0].PerDay != 20 || strings.Contains(r.Verdict, "usual") {
		t.Errorf("%+v", r)
	}
}
