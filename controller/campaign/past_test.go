package campaign

import (
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"leat/controller"
	"leat/controller/sim"
	"leat/dosing"
	"leat/safety/ledger"
)

// recordedNight plays a drawn night as a daemon would live it and returns what it
// would have on disk.
func recordedNight(t *testing.T, s *Scene) (*Farm, *Past) {
	t.Helper()
	farm, err := sim.New(s.Settings, s.Topics, s.Wires, s.Options)
	if err != nil {
		t.Fatal(err)
	}
	store := &ledger.Memory{}
	n, err := sim.PrepareNight(s.Settings, s.Topics, s.Feeds, farm, store, evening)
	if err != nil {
		t.Fatal(err)
	}
	past := &Past{Rows: store, Readings: make([][]PastMinute, len(s.Settings.Safety.Inputs))}
	sums := make([]struct {
		at       time.Time
		sum, num float64
	}, len(past.Readings))
	n.Tap = func(topic string, body []byte) []byte {
		for i := range s.Feeds {
			v, err := strconv.ParseFloat(string(body), 64)
			if s.Feeds[i].Topic != topic || err != nil {
				continue
			}
			in := s.Feeds[i].Input
			sum, minute := &sums[in], n.Now().Wall.Truncate(time.Minute)
			if !sum.at.Equal(minute) && sum.num > 0 {
				past.Readings[in] = append(past.Readings[in], PastMinute{At: sum.at, Mean: sum.sum / sum.num})
				sum.sum, sum.num = 0, 0
			}
			sum.at, sum.sum, sum.num = minute, sum.sum+v, sum.num+1
		}
		return body
	}
	n.Begin()
	n.Run(s.Options.Rest, nil)
	n.Arm()
	n.Run(s.Hours, nil)
	orders := map[ledger.OrderID]ledger.Entry{}
	if _, _, err := ledger.Verify(store, func(e ledger.Entry) error {
		past.Last = e.At.Wall
		switch e.Kind {
		case ledger.EntryIntent:
			orders[e.Order] = e
		case ledger.EntrySettlement:
			past.Doses = append(past.Doses, PastDose{At: e.At.Wall, Tank: orders[e.Order].Tank, Pump: orders[e.Order].Pump, Volume: e.Volume})
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	return &Farm{Name: "own", Settings: s.Settings, Topics: s.Topics, Wires: s.Wires, Feeds: s.Feeds, Past: past}, past
}

func TestARecordedNightIsTakenApartIntoWhatDisturbedIt(t *testing.T) {
	set := standard
	set.hours = 11
	s, err := set.Scene(6)
	if err != nil {
		t.Fatal(err)
	}
	plant := &s.Options.Plants[0]
	// What CO2 does is part of the estimate, so it stands still here; and the buffer
	// is told as it is, which is what the acid's balance rests on.
	plant.CO2Exchange, plant.TopUp.DIC, plant.BaseFlux, plant.Uptake, plant.Evaporation = 0, 0.8*plant.TopUp.DIC, 0.06, 0.02, 0.01
	farm, past := recordedNight(t, s)
	windows := past.windows(farm)
	if len(windows) != 1 {
		t.Fatalf("11 hours hold %d nights, want 1", len(windows))
	}
	got, start, err := past.estimate(farm, 0, windows[0])
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("flux %.4f of %.4f meq/L/h, uptake %.4f of %.4f mS/cm/h, evaporation %.4f of %.4f /h, start pH %.2f EC %.2f", got.BaseFlux, plant.BaseFlux,
		got.Uptake, plant.Uptake, got.Evaporation, plant.Evaporation, start.PH, start.EC)
	for _, c := range []struct {
		what            string
		got, want, part float64
	}{{"base flux", got.BaseFlux, plant.BaseFlux, 0.35}, {"uptake", got.Uptake, plant.Uptake, 0.35}, {"evaporation", got.Evaporation, plant.Evaporation, 0.15}} {
		if !(math.Abs(c.got-c.want) <= c.part*c.want) {
			t.Errorf("%s is told as %.4f, was %.4f", c.what, c.got, c.want)
		}
	}
}

func TestANightFromARecordGoesOnWhereItEndedAndLeavesItAlone(t *testing.T) {
	set := standard
	set.hours = 11
	s, err := set.Scene(6)
	if err != nil {
		t.Fatal(err)
	}
	farm, past := recordedNight(t, s)
	rows := past.Rows.Len()
	state, err := ledger.Replay(past.Rows, dosing.Instant{Wall: past.Last}, false)
	if err != nil {
		t.Fatal(err)
	}
	learned := state.Learned[ledger.Of{Tank: "tank", Quantity: dosing.QuantityPH}].Scale
	if learned.Mean == 0 || len(state.Doses) == 0 {
		t.Fatal("the recorded night taught nothing or dosed nothing")
	}
	night, err := farm.scene(1, 0)
	if err != nil {
		t.Fatal(err)
	}
	told := false
	p, err := night.run(func(time.Duration, controller.Notice) { told = true })
	if err != nil || !told {
		t.Fatal(err)
	}
	if first := p.trace.Minutes[0].Estimate.LnBuffer; math.Abs(first-learned.Mean) > 0.1 {
		t.Errorf("begins with ln(scale) %.2f, the record says %.2f", first, learned.Mean)
	}
	if len(p.trace.Orders) == 0 || p.trace.Orders[0].ID.Epoch != state.LastEpoch+1 {
		t.Error("no dose of the run after the recorded one")
	}
	if found := Check(p.trace); len(found) > 0 {
		t.Errorf("%v", found[0])
	}
	if past.Rows.Len() != rows {
		t.Errorf("the record has %d rows in place of %d", past.Rows.Len(), rows)
	}
	past.Readings = make([][]PastMinute, len(past.Readings))
	if _, err := farm.scene(1, 0); err == nil || !strings.Contains(err.Error(), "ten hours") {
		t.Errorf("a record without readings: %v", err)
	}
}
