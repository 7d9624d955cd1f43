package report_test

import (
	"math"
	"slices"
	"testing"

	"leat/controller/diary"
	"leat/controller/report"
)

func TestShoppingIsWhatTheWeeksNeedBeyondWhatIsLeft(t *testing.T) {
	station := &diary.Station{Name: "row", Pumps: []diary.Pump{{Name: "acid", Liquid: "nitric acid 38 % 1:10", Role: "acid", Parts: 10},
		{Name: "grow", Role: "stock", Salts: map[string]float64{"potassium nitrate": 80, "magnesium sulfate": 40}}}}
	stocks := season(10, refill("acid", 0.1))
	s, err := report.ShoppingOf(stocks, station, 4)
	if err != nil || len(s.Buy) != 1 {
		t.Fatalf("%+v, %v", s, err)
	}
	// 22 mL a day on the mean, 28 days, with some more for days that differ by a tenth.
	acid := s.Make[0]
	near(t, "need of acid", &acid.Need, 0.616)
	if acid.Most < 0.63 || acid.Most > 0.68 {
		t.Errorf("at most %g L", acid.Most)
	}
	left := *stocks.Stocks[0].Left / 1000
	if buy := s.Buy[0]; math.Abs(buy.Litres-(acid.Most-left)/10) > 1e-9 || !slices.Equal(buy.For, []string{"acid"}) {
		t.Errorf("a tenth as labelled of %g L less %g: %+v", acid.Most, left, buy)
	}
	if _, err := report.ShoppingOf(stocks, station, 0); err == nil {
		t.Error("shopping for no weeks")
	}
}

func TestASaltOfSeveralStocksIsBoughtTogether(t *testing.T) {
	station := &diary.Station{Name: "row", Pumps: []diary.Pump{{Name: "acid", Role: "stock", Salts: map[string]float64{"potassium nitrate": 80}},
		{Name: "grow", Role: "stock"}}}
	stocks := season(10)
	s, err := report.ShoppingOf(stocks, station, 1)
	if err != nil {
		t.Fatal(err)
	}
	if len(s.Buy) != 1 || math.Abs(s.Buy[0].KG-s.Make[0].Most*0.08) > 1e-9 {
		t.Errorf("%+v of %+v", s.Buy, s.Make)
	}
	if s.Make[1].Why != "" {
		t.Errorf("nothing was drawn of %+v", s.Make[1])
	}
}
