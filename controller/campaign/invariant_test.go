package campaign

import (
	"reflect"
	"slices"
	"testing"
	"time"

	"leat/controller"
	"leat/controller/sim"
	"leat/dosing"
	"leat/safety"
	"leat/safety/ledger"
)

// aNight is a real night, short, on which violations are planted.
func aNight(t *testing.T) *Trace {
	t.Helper()
	set := standard
	set.hours = 3
	s, err := set.Scene(6)
	if err != nil {
		t.Fatal(err)
	}
	p, err := s.run(nil)
	if err != nil {
		t.Fatal(err)
	}
	if found := Check(p.trace); len(found) > 0 {
		t.Fatalf("the night has violations before one is planted: %v", found[0])
	}
	return p.trace
}

// clone is a trace in which something may be planted.
func (t *Trace) clone() *Trace {
	c := *t
	for v, i := reflect.ValueOf(&c).Elem(), 0; i < v.NumField(); i++ {
		if f := v.Field(i); f.Kind() == reflect.Slice {
			f.Set(reflect.AppendSlice(reflect.MakeSlice(f.Type(), 0, f.Len()), f))
		}
	}
	for i := range c.Replays {
		past := &c.Replays[i].Past
		past.Tanks, past.Pumps = slices.Clone(past.Tanks), slices.Clone(past.Pumps)
	}
	for i := range c.Minutes {
		c.Minutes[i].Holds = slices.Clip(c.Minutes[i].Holds)
	}
	for i := range c.Orders {
		c.Orders[i].Holds = slices.Clip(c.Orders[i].Holds)
	}
	return &c
}

// first is the first order of a role, with its place.
func first(t *testing.T, trace *Trace, role dosing.Role, from int) int {
	t.Helper()
	for i := from; i < len(trace.Orders); i++ {
		if trace.Settings.Safety.Pumps[trace.Orders[i].Pump].Role == role {
			return i
		}
	}
	t.Fatalf("the night has no dose of %s", role)
	return 0
}

// Each checker must be able to fail: one violation is planted in a night without
// any, and exactly that invariant must find it.
func TestEachInvariantFindsItsPlantedViolation(t *testing.T) {
	whole := aNight(t)
	for _, c := range []struct {
		number int
		what   string
		plant  func(t *testing.T, trace *Trace)
	}{
		{2, "an order whose intent was never durable", func(_ *testing.T, w *Trace) {
			w.Written = w.Written[1:]
		}},
		{2, "a pump that starts for an order nobody gave", func(_ *testing.T, w *Trace) {
			w.Runs = append(w.Runs, sim.Run{Order: ledger.OrderID{Epoch: 9, Number: 9}, At: w.Begins + 3*time.Hour})
		}},
		{3, "a dose of which the ledger counts a thousandth", func(t *testing.T, w *Trace) {
			id := w.Orders[first(t, w, dosing.RoleAcid, 0)].ID
			for i := range w.Settled {
				if w.Settled[i].ID == id {
					w.Settled[i].Volume /= 1000
				}
			}
		}},
		{38, "acid that runs into low water because base was said to be poured in", func(t *testing.T, w *Trace) {
			o := &w.Orders[first(t, w, dosing.RoleAcid, 0)]
			w.Hands = append(w.Hands, Debt{At: o.At - time.Second, Tank: w.Settings.Safety.Tanks[o.Tank].Name,
				Pump: w.Settings.Safety.Pumps[basePump].Name, Volume: dosing.Litre})
			o.Inputs = append([]controller.InputView(nil), o.Inputs...)
			for i := range o.Inputs {
				if o.Inputs[i].Quantity == dosing.QuantityPH {
					o.Inputs[i].Value = float64(o.Target.PH) - 0.3
				}
			}
		}},
		{40, "acid that goes in by a probe which shows nothing", func(_ *testing.T, w *Trace) {
			for i := range w.Samples {
				w.Samples[i].ShownPH = 6.1
			}
		}},
		{40, "stock that goes in by a probe which shows nothing", func(_ *testing.T, w *Trace) {
			for i := range w.Samples {
				w.Samples[i].ShownEC = 1
			}
			for i := range w.Orders {
				w.Orders[i].UnseenMost /= 5
			}
		}},
		{42, "a later word that lowers the count", func(_ *testing.T, w *Trace) {
			less := w.Settled[3]
			less.Volume, less.At = less.Volume/2, less.At+time.Minute
			w.Settled = append(w.Settled, less)
		}},
		{44, "a tank that runs over", func(_ *testing.T, w *Trace) {
			most := dosing.Litres(w.Samples[9].Litres)
			w.Settings = changed(w.Settings, func(s *controller.Settings) {
				s.Safety.Tanks[0].TopUpBand = safety.TopUpBand{Low: most / 2, High: most - 2, Overflow: most - 1}
			})
		}},
		{44, "a tank that nobody tops up", func(_ *testing.T, w *Trace) {
			most := dosing.Litres(w.Samples[9].Litres)
			w.Settings = changed(w.Settings, func(s *controller.Settings) {
				s.Safety.Tanks[0].TopUpBand = safety.TopUpBand{Low: 1.2 * most, High: 1.3 * most, Overflow: 1.4 * most}
			})
		}},
		{44, "a pulse without room", func(t *testing.T, w *Trace) {
			o := &w.Orders[first(t, w, dosing.RoleAcid, 0)]
			w.Settings = changed(w.Settings, func(s *controller.Settings) {
				p := s.Safety.Pumps[o.Pump]
				p.Role, p.AcidPerML, p.ECPerML = dosing.RoleWater, 0, 0
				s.Safety.Pumps = append(s.Safety.Pumps, p)
				s.Safety.Caps = append(s.Safety.Caps, safety.Caps{PerDose: dosing.Volume(1e12), PerHour: dosing.Volume(1e13), PerDay: dosing.Volume(1e13), OnTime: time.Hour})
				s.Safety.PumpNode = append(s.Safety.PumpNode, 0)
				s.Safety.Tanks[0].TopUpBand = safety.TopUpBand{Low: 1, High: 2, Overflow: dosing.Litres(1.1 * o.Litres)}
			})
			o.Pump, o.Volume = dosing.PumpID(len(w.Settings.Safety.Pumps)-1), dosing.FromMillilitres(200*o.Litres)
		}},
		{4, "a dose above its cap", func(t *testing.T, w *Trace) {
			o := &w.Orders[first(t, w, dosing.RoleAcid, 0)]
			w.Settings = changed(w.Settings, func(s *controller.Settings) { s.Safety.Caps[o.Pump].PerDose = o.Volume - 1 })
		}},
		{4, "a dose too large for the buffer floor", func(t *testing.T, w *Trace) {
			w.Orders[first(t, w, dosing.RoleAcid, 0)].Floor /= 40
		}},
		{5, "too much nutrient on its way", func(t *testing.T, w *Trace) {
			i := first(t, w, dosing.RoleStock, 1)
			w.Orders[i].Volume *= 1000
		}},
		{6, "more in an hour than the cap", func(t *testing.T, w *Trace) {
			w.Settings = changed(w.Settings, func(s *controller.Settings) {
				s.Safety.Caps[calciumPump].PerHour = w.Orders[first(t, w, dosing.RoleStock, 0)].Volume
			})
		}},
		{7, "a reading that is too old", func(t *testing.T, w *Trace) {
			o := &w.Orders[first(t, w, dosing.RoleAcid, 0)]
			inputs := append([]controller.InputView(nil), o.Inputs...)
			for i := range inputs {
				inputs[i].Age = 10 * time.Minute
			}
			o.Inputs = inputs
		}},
		{7, "a retained reading", func(t *testing.T, w *Trace) {
			o := &w.Orders[first(t, w, dosing.RoleStock, 0)]
			inputs := append([]controller.InputView(nil), o.Inputs...)
			for i := range inputs {
				inputs[i].Retained = true
			}
			o.Inputs = inputs
		}},
		{8, "a dose while a hold stands", func(_ *testing.T, w *Trace) {
			w.Orders[0].Holds = append(w.Orders[0].Holds, Hold{Cause: safety.CauseFlood, Action: safety.Hold, Scope: safety.ScopeTank, Text: "flood"})
		}},
		{8, "a dose while its cap was full before it", func(_ *testing.T, w *Trace) {
			o := &w.Orders[0]
			o.Holds = append(o.Holds, Hold{Cause: safety.CauseHourlyCap, Action: safety.Hold, Scope: safety.ScopePump,
				Pump: w.Settings.Safety.Pumps[o.Pump].Name, Text: "full", Since: o.Intended - time.Second})
		}},
		{8, "a dose while only observing", func(_ *testing.T, w *Trace) { w.Orders[0].Mode = safety.ModeObserving }},
		{9, "acid below the setpoint", func(t *testing.T, w *Trace) {
			o := &w.Orders[first(t, w, dosing.RoleAcid, 0)]
			o.Estimate.PH = o.Target.PH - 0.4
		}},
		{9, "stock above the setpoint", func(t *testing.T, w *Trace) {
			o := &w.Orders[first(t, w, dosing.RoleStock, 0)]
			o.Estimate.EC = o.Target.EC + 0.3
		}},
		{10, "base right after acid", func(t *testing.T, w *Trace) {
			i := first(t, w, dosing.RoleAcid, 0)
			j := first(t, w, dosing.RoleAcid, i+1)
			o := &w.Orders[j]
			o.Pump, o.Estimate.PH = basePump, o.Target.PH
			o.Volume = 1
			o.At = w.Orders[i].At + time.Minute
			o.Inputs = nil
		}},
		{10, "calcium right after sulfate", func(_ *testing.T, w *Trace) {
			at := w.Begins + 3*time.Hour
			w.Runs = append(w.Runs, sim.Run{Pump: sulfatePump, At: at, Ended: true, Order: w.Orders[0].ID},
				sim.Run{Pump: calciumPump, At: at + time.Second, Order: w.Orders[0].ID})
		}},
		{14, "a setpoint outside its bounds", func(_ *testing.T, w *Trace) { w.Samples[40].Target.PH = 9 }},
		{14, "a setpoint that jumps", func(_ *testing.T, w *Trace) {
			for i := 500; i < len(w.Samples); i++ {
				w.Samples[i].Target.PH = 6.1
			}
		}},
		{17, "pH far off after it had settled", func(_ *testing.T, w *Trace) { w.Samples[len(w.Samples)-1].PH = 4.9 }},
		{20, "an order while another is open", func(_ *testing.T, w *Trace) { w.Settled = w.Settled[1:] }},
		{24, "acid on its way that is forgotten", func(t *testing.T, w *Trace) {
			at := w.Orders[first(t, w, dosing.RoleAcid, 0)].At
			for i := range w.Samples {
				if w.Samples[i].At > at {
					w.Samples[i].Acid = 0
				}
			}
		}},
		{25, "a dose after a stop that nobody cleared", func(_ *testing.T, w *Trace) {
			o := w.Orders[len(w.Orders)/2]
			w.Latches = append(w.Latches, Latch{At: o.At - time.Minute, Tank: w.Settings.Safety.Tanks[o.Tank].Name, Cause: safety.CauseLeak})
		}},
		{25, "a pump that doses on after it was stopped alone", func(t *testing.T, w *Trace) {
			o := w.Orders[first(t, w, dosing.RoleStock, 2)]
			pump := w.Settings.Safety.Pumps[o.Pump].Name
			w.Latches = append(w.Latches, Latch{At: o.At - time.Second, Tank: w.Settings.Safety.Tanks[o.Tank].Name, Pump: pump, Cause: safety.CauseNoResponse})
			w.Clears = append(w.Clears, Clear{At: o.At - time.Second, Tank: w.Settings.Safety.Tanks[o.Tank].Name, Pump: "another"})
		}},
		{26, "an order while the link is closed", func(_ *testing.T, w *Trace) {
			w.Links = append(w.Links, Link{Step: w.Orders[3].Step - 1, Up: false})
		}},
		{28, "a demand that nobody answers", func(_ *testing.T, w *Trace) {
			last := w.Begins + 90*time.Minute
			for i := range w.Minutes {
				m := &w.Minutes[i]
				if m.At > last-10*time.Minute {
					m.Estimate.PH, m.Holds, m.Withheld = m.Target.PH+1, nil, 7
				}
			}
			cut(w, last-10*time.Minute)
		}},
		{28, "a hold without words", func(_ *testing.T, w *Trace) {
			w.Minutes[9].Holds = append(w.Minutes[9].Holds, Hold{Cause: safety.CauseFlood})
		}},
		{31, "a dose into unconfirmed water", func(_ *testing.T, w *Trace) {
			w.Trips = append([]Trip{{At: w.Orders[0].At - time.Second, Cause: safety.CauseSolutionUnconfirmed, Active: true}}, w.Trips...)
		}},
		{32, "a blend of which only one stock was given", func(_ *testing.T, w *Trace) {
			sulfate := map[ledger.OrderID]bool{}
			for _, o := range w.Orders {
				sulfate[o.ID] = o.Pump == sulfatePump
			}
			for i := range w.Settled {
				if sulfate[w.Settled[i].ID] {
					w.Settled[i].Volume /= 2
				}
			}
		}},
		{33, "an EC hold that stops acid", func(_ *testing.T, w *Trace) {
			w.Minutes[30].Holds = append(w.Minutes[30].Holds, Hold{Cause: safety.CauseECStale, Action: safety.Hold, Scope: safety.ScopeTank, Text: "EC too old"})
		}},
		{35, "two orders at once", func(_ *testing.T, w *Trace) {
			w.Runs = append([]sim.Run{{Order: w.Orders[1].ID, At: w.Orders[0].At}}, w.Runs...)
		}},
		{35, "a dose into another tank", func(_ *testing.T, w *Trace) {
			w.Runs[2].Tank = 1
			w.Runs[2].Order = w.Orders[2].ID
			w.Runs[2].Ended = false
		}},
		{41, "a level that latched on one sample", func(_ *testing.T, w *Trace) {
			at := w.Begins + time.Hour
			w.Wild = append(w.Wild, sim.WildSample{Input: 3, At: at, Value: 7})
			w.Latches = append(w.Latches, Latch{At: at + time.Second, Tank: w.Settings.Safety.Tanks[0].Name, Cause: safety.CauseSolutionUnconfirmed})
		}},
		{41, "a probe that stays invalid after one sample", func(_ *testing.T, w *Trace) {
			at := w.Begins + time.Hour
			w.Wild = append(w.Wild, sim.WildSample{Input: 1, At: at, Value: 7})
			for i := range w.Minutes {
				if m := &w.Minutes[i]; m.At > at {
					m.Holds = append(m.Holds, Hold{Cause: safety.CauseECInvalid, Action: safety.Hold, Scope: safety.ScopeNutrients, Text: "EC", Since: at + time.Second})
				}
			}
		}},
		{36, "an arming that takes effect though observing was asked for after it", func(_ *testing.T, w *Trace) {
			w.Lessened = append(w.Lessened, Less{Step: 40})
			w.Grants = append(w.Grants, Grant{Step: 50, Asked: 30, At: w.Begins + time.Hour})
		}},
		{36, "a resume that takes effect before it is durable", func(_ *testing.T, w *Trace) {
			w.Grants = append(w.Grants, Grant{Step: 50, At: w.Begins + time.Hour})
		}},
		{37, "a mode that a restart would forget", func(_ *testing.T, w *Trace) { w.Replays[0].Past.Tanks[0].Mode = safety.ModeObserving }},
		{37, "a dose that a restart would forget", func(_ *testing.T, w *Trace) { w.Replays[1].Past.Pumps[calciumPump].Ever-- }},
	} {
		trace := whole.clone()
		c.plant(t, trace)
		found := false
		w := newTrail(trace)
		for _, r := range rules {
			if r.Number == c.number {
				w.invariant = r.Number
				r.check(w)
				found = len(w.found) > 0
			}
		}
		if !found {
			t.Errorf("invariant %d does not find %s", c.number, c.what)
		}
	}
}

// cut takes the orders after a moment out of the trace.
func cut(w *Trace, at time.Duration) {
	for i := range w.Orders {
		if w.Orders[i].At > at {
			w.Orders = w.Orders[:i]
			return
		}
	}
}

func changed(s *controller.Settings, change func(*controller.Settings)) *controller.Settings {
	c := *s
	c.Safety.Caps = append([]safety.Caps(nil), s.Safety.Caps...)
	c.Safety.Pumps = append([]dosing.Pump(nil), s.Safety.Pumps...)
	c.Safety.Tanks = append([]safety.Tank(nil), s.Safety.Tanks...)
	change(&c)
	return &c
}

// The sample farm, two tanks on one row, through what breaks one after the other: no rule is broken.
func TestNightsOfTheSampleFarmKeepTheInvariantsWhateverBreaks(t *testing.T) {
	farm := sampleFarm(t)
	for i, faults := range []string{"none", "circulation-off@50m+20m,probe-flat@80m+15m,acid-by-hand@110m", "acid-empty@50m+30m,order-lost@85m+20m,top-up-hard@110m",
		"node-reboot@50m,reports-lost@60m+20m,network-cut@90m+10m,stop-pressed@110m+10m", "orders-duplicated@50m+20m,ph-unplugged@75m+15m,node-clock-fast@95m+20m,pump-dead@2h"} {
		o := Options{Set: "standard", Nights: 1, Seed: uint64(40 + i), Faults: faults, Farm: farm}
		s, _, err := o.Night(&Set{}, 0)
		if err != nil {
			t.Fatal(err)
		}
		s.Hours = 150 * time.Minute
		p, err := s.run(nil)
		if err != nil {
			t.Fatal(err)
		}
		if len(p.trace.Orders) < 40 {
			t.Errorf("%d orders in the night of %s: it tests little", len(p.trace.Orders), faults)
		}
		for _, v := range Check(p.trace) {
			t.Errorf("%s: %v", faults, v)
		}
	}
}

func TestEveryInvariantOfTheCampaignIsListed(t *testing.T) {
	want := []int{2, 3, 4, 5, 6, 7, 8, 9, 10, 14, 17, 20, 24, 25, 26, 28, 30, 31, 32, 33, 35, 36, 37, 38, 40, 41, 42, 44}
	got := Checked()
	if len(got) != len(want) {
		t.Fatalf("checked are %v, want %v", got, want)
	}
	for i := range want {
		if got[i] != want[i] {
			t.Fatalf("checked are %v, want %v", got, want)
		}
	}
}
