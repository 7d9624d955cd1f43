package report_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"leat/controller/diary"
	"leat/controller/report"
	"leat/dosing"
	"leat/dosing/blend"
	"leat/safety/ledger"
)

// ionsRecord is the record of an account that holds so much potassium, mmol/L, and nothing else.
func ionsRecord(potassium string) string {
	row := func(k string) string {
		cells := make([]string, blend.Carbon)
		cells[blend.K] = k
		return strings.Join(cells, ",")
	}
	rows := []string{"ions-1", row(potassium)}
	for range 11 {
		rows = append(rows, row(""))
	}
	return strings.Join(append(rows, "", "", "", "1", ""), ";")
}

// drunk is eight days in which plants took potassium: of a tank of 1000 L that held 6 and holds
// 5 mmol/L, was topped up with 400 L that bring 10 mg/L, and was given 2 kg of it.
type drunk struct{ past *diary.Past }

func newDrunk() *drunk {
	begin := time.Date(2031, 3, 4, 0, 0, 0, 0, time.UTC)
	end := begin.AddDate(0, 0, 8)
	p := &diary.Past{From: begin, To: end, First: begin, Last: end, Zone: time.UTC, Minutes: map[string]diary.Minutes{},
		Station: &diary.Station{Name: "row", Zone: "UTC", Tanks: []diary.Tank{{Name: "pond", Litres: 1000, Area: 25, Level: "pond/level", Water: map[string]float64{"K": 10}}},
			Pumps: []diary.Pump{{Name: "kno", Role: "stock", Holds: map[string]float64{"K": 40}, Tanks: []string{"pond"}}}}}
	account := func(at time.Time, k string) {
		p.Entries = append(p.Entries, ledger.Entry{Kind: ledger.EntryChange, Change: ledger.ChangeIons, Tank: "pond", At: dosing.Instant{Wall: at}, Text: ionsRecord(k)})
	}
	account(begin, "6")
	for day := range 8 {
		at := begin.AddDate(0, 0, day).Add(12 * time.Hour)
		p.Events = append(p.Events, diary.Event{At: at, Tank: "pond", Kind: diary.KindTopUp, Value: 50})
		p.Entries = append(p.Entries, ledger.Entry{Kind: ledger.EntryChange, Change: ledger.ChangeHandDose, Tank: "pond", Pump: "kno", At: dosing.Instant{Wall: at},
			Volume: dosing.FromMillilitres(6250), Text: "H1-" + at.Format("02")})
	}
	account(end.Add(-time.Second), "5")
	return &drunk{p}
}

func (d *drunk) Span() (first, last time.Time, station *diary.Station, err error) {
	return d.past.First, d.past.Last, d.past.Station, nil
}
func (d *drunk) Past(_, _ time.Time) (*diary.Past, error) { return d.past, nil }
func (d *drunk) EachEntry(func(ledger.Entry) error) error { return nil }

func TestUptakeIsWhatCameInAndIsInTheTankNoMore(t *testing.T) {
	u, err := report.ReadUptake(newDrunk())
	if err != nil {
		t.Fatal(err)
	}
	tank := u.Tanks[0]
	if tank.Untold != "" || len(tank.Taken) != 1 || tank.Taken[0].Symbol != "K" {
		t.Fatalf("%+v", tank)
	}
	k := tank.Taken[0]
	const less = 39.0983 // 1 mmol/L of 1000 L, g
	for _, of := range []struct {
		what      string
		got, want float64
	}{{"given", k.Given, 2000}, {"with water", k.Water, 4}, {"less in tank", k.Less, less}, {"taken", k.Taken, 2004 + less}, {"mg/m² a day", *k.PerArea, 1000 * (2004 + less) / 25 / 8}} {
		if math.Abs(of.got-of.want) > 0.001*of.want {
			t.Errorf("%s %v, want %v", of.what, of.got, of.want)
		}
	}
	if tank.DumpedL != 0 || math.Abs(tank.ChangesL-1000*8.0/14) > 1 {
		t.Errorf("dumped %v, whole changes %v", tank.DumpedL, tank.ChangesL)
	}
}

// What was before other water came in is not counted, and too short a time tells nothing.
func TestUptakeBeginsAfterOtherWater(t *testing.T) {
	d := newDrunk()
	at := d.past.From.AddDate(0, 0, 7)
	last := len(d.past.Entries) - 1
	d.past.Entries = append(d.past.Entries[:last:last], ledger.Entry{Kind: ledger.EntryChange, Change: ledger.ChangeConfirmed, Tank: "pond", Text: "source", At: dosing.Instant{Wall: at}}, d.past.Entries[last])
	u, err := report.ReadUptake(d)
	if err != nil || u.Tanks[0].Untold == "" || len(u.Tanks[0].Taken) != 0 {
		t.Errorf("%v %+v", err, u.Tanks[0])
	}
}

func TestUptakeOfATankWithoutRecipeIsNotTold(t *testing.T) {
	d := newDrunk()
	d.past.Station.Tanks[0].Water = nil
	u, err := report.ReadUptake(d)
	if err != nil || !strings.Contains(u.Tanks[0].Untold, "no recipe") {
		t.Errorf("%v %+v", err, u.Tanks[0])
	}
}
