package campaign

import (
	"math"
	"strconv"
	"testing"
	"time"

	"leat/controller"
	"leat/controller/diary"
	"leat/controller/report"
	"leat/controller/sim"
	"leat/dosing"
	"leat/dosing/chem"
	"leat/safety/ledger"
)

// driftFarm plays days of a farm, keeps what a record would, and what truly happened.
type driftFarm struct {
	past  *diary.Past
	truth map[string]float64 // meq/L a day, by cause
}

const probeDrifts = 0.04 // pH a day by which a probe reads ever higher, where it does

func playDrift(t *testing.T, w *sourceWater, hours int, flux, probe float64) *driftFarm {
	t.Helper()
	f := w.farm(t)
	plants, err := Month{Seed: 3, Pace: 1}.plants(f.Settings)
	if err != nil {
		t.Fatal(err)
	}
	plants[0].BaseFlux = flux
	farm, err := sim.New(f.Settings, f.Topics, f.Wires, sim.Options{Seed: 3, StartHour: 6, Plants: plants, Rest: f.Settings.Safety.StartSettling})
	if err != nil {
		t.Fatal(err)
	}
	store, begin := &ledger.Memory{}, time.Date(2031, 3, 4, 6, 0, 0, 0, time.UTC)
	n, err := sim.NewNight(f.Settings, f.Topics, f.Feeds, farm, store, begin)
	if err != nil {
		t.Fatal(err)
	}
	n.Tap = func(topic string, body []byte) []byte {
		if v, err := strconv.ParseFloat(string(body), 64); probe != 0 && topic == f.Feeds[0].Topic && err == nil {
			return strconv.AppendFloat(nil, v+probe*n.Now().Up.Hours()/24, 'f', 4, 64)
		}
		return body
	}
	if f.Settings.Safety.Inputs[f.Feeds[0].Input].Quantity != dosing.QuantityPH {
		t.Fatal("the first feed is not pH: nothing would wander")
	}
	n.Arm()
	n.Run(6*time.Hour, nil) // first it comes to its setpoint
	out, station := &driftFarm{truth: map[string]float64{}}, diary.StationOf(f.Settings, "UTC", n.Now().Wall)
	out.past = &diary.Past{From: n.Now().Wall, First: begin, Zone: time.UTC, Station: station, Minutes: map[string]diary.Minutes{}}
	before, writer := farm.Balance(0), diary.NewWriter(station)
	next := n.Now().Up
	n.Run(time.Duration(hours)*time.Hour, func(now dosing.Instant) {
		if now.Up < next {
			return
		}
		next = now.Up + time.Minute
		view := n.Core.View(now)
		out.past.Events = append(out.past.Events, writer.Follow(view)...)
		out.read(now, &view.Tanks[0])
	})
	out.past.To, out.past.Last = n.Now().Wall, n.Now().Wall
	if err := store.Load(1, func(row ledger.Row) error {
		e, err := ledger.Decode(row)
		out.past.Entries = append(out.past.Entries, e)
		return err
	}); err != nil {
		t.Fatal(err)
	}
	out.know(before, farm.Balance(0), station.Tanks[0].Litres*float64(hours)/24, &station.Tanks[0], probe)
	return out
}

// read keeps what a minute's reading was.
func (d *driftFarm) read(now dosing.Instant, view *controller.TankView) {
	for _, in := range view.Inputs {
		if in.Quantity == dosing.QuantityPH && in.Present {
			name := view.Name + "/" + in.Name
			d.past.Minutes[name] = append(d.past.Minutes[name], diary.Minute{At: now.Wall, Count: 1, Mean: in.Value})
		}
	}
}

// know reckons from the simulation's books what each cause truly asked for.
func (d *driftFarm) know(from, to sim.Balance, litreDays float64, tank *diary.Tank, probe float64) {
	stays := 1 / (1 + math.Pow(10, 6.35-tank.Setpoint))
	base := func(was, is chem.Totals) float64 {
		x := is.Add(was, -1)
		return (x.K + x.NH4 + 2*x.Ca + 2*x.Mg + x.Na - x.NO3 - 2*x.SO4 - x.Cl - 1.04*x.P) / litreDays
	}
	d.truth["plants"] = -base(from.Taken.Ions, to.Taken.Ions)
	d.truth["top-up"] = base(from.ToppedUp.Ions, to.ToppedUp.Ions) - stays*(to.ToppedUp.Ions.DIC-from.ToppedUp.Ions.DIC)/litreDays
	d.truth["carbonate and CO2"] = -stays * (to.GasIn - from.GasIn) / litreDays
	d.truth["probe"] = tank.Buffer * probe
}

func (d *driftFarm) judge(t *testing.T, what string, probes *report.Probes) report.TankDrift {
	t.Helper()
	drift := report.DriftOf(d.past, d.past.Station, probes).Tanks[0]
	if drift.Untold != "" {
		t.Fatal(what, drift.Untold)
	}
	for _, c := range drift.Causes() {
		truth := d.truth[c.Name]
		t.Logf("%s: %s %+.3f ± %.3f, in truth %+.3f meq/L a day", what, c.Name, c.Meq, c.U, truth)
		if off := math.Abs(c.Meq - truth); off > 2*c.U {
			t.Errorf("%s: %s is told as %+.3f ± %.3f meq/L a day, and is %+.3f", what, c.Name, c.Meq, c.U, truth)
		}
	}
	return drift
}

func TestWhyPHClimbsIsToldWithinTwoUncertaintiesOfTheTruth(t *testing.T) {
	t.Parallel()
	const days = 3
	for _, c := range []struct {
		water       int
		flux, probe float64
		largest     string
	}{{0, 0.03, 0, "plants"}, {2, 0.002, 0, "top-up"}, {0, 0.03, probeDrifts, "plants"}} {
		w := &fiveWaters[c.water]
		farm := playDrift(t, w, 24*days, c.flux, c.probe)
		probes := &report.Probes{Probes: []report.Probe{{Tank: "north", Quantity: diary.PH, Trend: &report.Trend{PerWeek: 7 * c.probe, WeekU: 0.02}}}}
		drift := farm.judge(t, w.name, probes)
		largest := drift.Causes()[0]
		for _, cause := range drift.Causes() {
			if math.Abs(cause.Meq) > math.Abs(largest.Meq) {
				largest = cause
			}
		}
		if largest.Name != c.largest || !(math.Abs(largest.Meq) > 2*largest.U) {
			t.Errorf("%s: the largest cause is %s, %+.3f ± %.3f; it is %s", w.name, largest.Name, largest.Meq, largest.U, c.largest)
		}
		if drift.Point <= 0 || drift.Ammonium <= 0 || drift.Ammonium > 0.15 {
			t.Errorf("%s: ammonium is %.3f of the nitrogen, a per cent more does %.4f", w.name, drift.Ammonium, drift.Point)
		}
	}
}
