package sim

import (
	"math"
	"testing"
	"time"

	"leat/dosing"
	"leat/dosing/chem"
)

func TestTankStartsAsAsked(t *testing.T) {
	for _, want := range []struct{ ph, share float64 }{{6.6, 0.6}, {5.4, 1}, {5.8, 0.8}} {
		y := newYard(t, 2, Options{Seed: 3, StartPH: want.ph, StartECShare: want.share})
		for _, id := range []dosing.TankID{north, south} {
			truth := y.farm.Truth(id)
			near(t, "start pH", truth.PH, want.ph, 0.005)
			near(t, "start EC", truth.EC, want.share*1.8, 0.005)
			near(t, "start carbonate, mmol/L", truth.Ions.DIC, y.farm.tanks[id].plant.Carbonate, 1e-9)
		}
	}
}

// closes checks that no mole and no litre appears or is lost, to what rounding of
// some thousand sums leaves.
func closes(t *testing.T, f *Farm, id dosing.TankID) {
	t.Helper()
	b := f.Balance(id)
	for _, name := range chem.Ions {
		ion := func(c Content) float64 { return *c.Ions.Ion(name) }
		want := ion(b.Start) + ion(b.Dosed) + ion(b.ToppedUp) + ion(b.Added) - ion(b.Taken) - ion(b.Drained)
		if name == "DIC" {
			want += b.GasIn
		}
		near(t, "mmol of "+name, ion(b.Present), want, 1e-9*(1+ion(b.Start)+ion(b.Dosed)))
	}
	want := b.Start.Litres + b.Dosed.Litres + b.ToppedUp.Litres + b.Added.Litres - b.Taken.Litres - b.Drained.Litres - b.Evaporated
	near(t, "litres", b.Present.Litres, want, 1e-9*(1+b.Start.Litres))
}

func TestEveryMoleOfTheStocksIsInTanksPlantsOrDrained(t *testing.T) {
	y := newYard(t, 2, Options{Seed: 5, StartPH: 6.6, StartECShare: 0.6, PumpError: 0.15})
	y.wait(5 * time.Second)
	for range 40 {
		for _, id := range []dosing.TankID{north, south} {
			y.dose(acid, id, 1.5)
			y.dose(calcium, id, 20)
			y.dose(sulfate, id, 20)
		}
		y.wait(13 * time.Minute)
	}
	var entered chem.Totals
	floods := false
	for _, id := range []dosing.TankID{north, south} {
		closes(t, y.farm, id)
		b := y.farm.Balance(id)
		entered = entered.Add(b.Dosed.Ions, 1)
		if b.ToppedUp.Litres == 0 || b.Evaporated == 0 || b.GasIn == 0 || b.Taken.Ions.NO3 == 0 {
			t.Errorf("nothing was topped up, evaporated, exchanged or taken: %+v", b)
		}
		floods = floods || b.Taken.Litres > 0
		if y.farm.Truth(id).Unsolved != 0 {
			t.Errorf("%d speciations failed", y.farm.Truth(id).Unsolved)
		}
	}
	if !floods {
		t.Error("no flood came in ten hours")
	}
	var left chem.Totals
	for p := range y.settings.Safety.Pumps {
		id := dosing.PumpID(p)
		pump := &y.settings.Safety.Pumps[p]
		left = left.Add(pump.Ions, y.farm.Delivered(id).Litres())
		if pump.Container-y.farm.Left(id) != y.farm.Delivered(id) {
			t.Errorf("%s: %v of %v left, but %v delivered", pump.Name, y.farm.Left(id), pump.Container, y.farm.Delivered(id))
		}
		if sum := y.farm.Truth(north).Delivered[p] + y.farm.Truth(south).Delivered[p]; sum != y.farm.Delivered(id) {
			t.Errorf("%s: the tanks got %v, the container lost %v", pump.Name, sum, y.farm.Delivered(id))
		}
	}
	for _, name := range chem.Ions {
		near(t, "mmol of "+name+" from the stocks", *entered.Ion(name), *left.Ion(name), 1e-9*(1+*left.Ion(name)))
	}
}

func TestBooksCloseUnderFaultsOfTheWater(t *testing.T) {
	for _, fault := range []string{"tank-leaks", "valve-leak", "top-up-stuck-open", "water-change", "siphon-back", "acid-by-hand", "disinfectant", "precipitate", "flood-does-not-drain", "line-burst"} {
		y := newYard(t, 1, Options{Seed: 2, Fault: fault, FaultAt: 20 * time.Minute})
		y.wait(5 * time.Second)
		for range 8 {
			y.dose(calcium, north, 40)
			y.dose(acid, north, 1)
			y.wait(20 * time.Minute)
		}
		closes(t, y.farm, north)
	}
}

func TestPumpErrorShowsInTheTankNotInTheReport(t *testing.T) {
	y := newYard(t, 1, Options{Seed: 11, PumpError: 0.15})
	y.wait(5 * time.Second)
	for range 20 {
		y.dose(calcium, north, 100)
		y.wait(time.Minute)
	}
	truth := y.farm.Truth(north)
	if truth.Counted[calcium] != 2*dosing.Litre {
		t.Errorf("the node counts %v, want 2 L", truth.Counted[calcium])
	}
	ratio := float64(truth.Delivered[calcium]) / float64(truth.Counted[calcium])
	near(t, "delivered ÷ counted", ratio, y.farm.pumps[calcium].rate/15, 0.005)
	if math.Abs(ratio-1) < 0.001 || math.Abs(ratio-1) > 0.16 {
		t.Errorf("the pump is off by %.3f, want something within ±0.15", ratio-1)
	}
}

func TestDoseArrivesAfterDeadTimeAndLag(t *testing.T) {
	y := newYard(t, 2, Options{Quiet: true, StartECShare: 0.6})
	y.wait(5 * time.Second)
	plant := y.farm.tanks[south].plant
	before := y.farm.Truth(south)
	y.dose(calcium, south, 30) // runs two seconds
	settled := y.farm.Truth(south)
	if !(settled.SettledEC > before.EC+0.02) {
		t.Fatalf("the dose will move EC only from %.3f to %.3f", before.EC, settled.SettledEC)
	}
	near(t, "EC while the dose is in the pipe", settled.EC, before.EC, 1e-9)
	y.wait(plant.DeadTime - 4*time.Second)
	near(t, "EC at the end of the dead time", y.farm.Truth(south).EC, before.EC, 1e-3)
	y.wait(plant.TimeConstant + time.Second)
	share := (y.farm.Truth(south).EC - before.EC) / (settled.SettledEC - before.EC)
	near(t, "share that arrived after dead time and one lag", share, 1-math.Exp(-1), 0.03)
	y.wait(6 * plant.TimeConstant)
	near(t, "EC after mixing", y.farm.Truth(south).EC, settled.SettledEC, 0.001)
}

func TestBufferCapacityIsThatOfTheChemistry(t *testing.T) {
	y := newYard(t, 2, Options{Quiet: true, StartPH: 6.2})
	y.wait(5 * time.Second)
	before := y.farm.Truth(south)
	y.dose(acid, south, 6)
	y.wait(20 * time.Minute)
	after := y.farm.Truth(south)
	// The same amount of nitric acid on the same water, by the solver directly.
	mixed := before.Ions.Add(chem.Totals{NO3: 1500}, 6e-3/180)
	var s chem.Solver
	var r chem.Result
	if err := s.Solve(&mixed, chem.Conditions{TempC: 25}, &r); err != nil {
		t.Fatal(err)
	}
	near(t, "pH after the acid", after.PH, r.PH, 0.002)
	if !(before.PH-after.PH > 0.02) {
		t.Errorf("pH went only from %.3f to %.3f", before.PH, after.PH)
	}
}

// Carbonate rebounds: acid at once meets only part of the alkalinity; as CO2 leaves,
// pH climbs to where the open system rests.
func TestCarbonateRebounds(t *testing.T) {
	s := yardSettings(2)
	plant := DrawPlant(s, south, 1).still()
	plant.Carbonate, plant.CO2Exchange, plant.RoomCO2 = 2, 2, 420e-6
	// Quiet would close the water against the air, so the plant itself is still.
	y := newYardOf(t, s, Options{StartPH: 6.8, Plants: []Plant{plant, plant}, PumpError: -1})
	y.wait(5 * time.Second)
	y.dose(acid, south, 24)
	y.dose(acid, south, 24)
	y.wait(8 * time.Minute)
	low := y.farm.Truth(south)
	y.wait(24 * time.Hour)
	rest := y.farm.Truth(south)
	totals := rest.Ions
	var solver chem.Solver
	var r chem.Result
	if err := solver.Solve(&totals, chem.Conditions{TempC: 25, Open: true, CO2Atm: 420e-6}, &r); err != nil {
		t.Fatal(err)
	}
	near(t, "pH a day later", rest.PH, r.PH, 0.02)
	if !(rest.PH > low.PH+0.3) {
		t.Errorf("pH was %.2f after the acid and %.2f a day later: no rebound", low.PH, rest.PH)
	}
	if !(rest.Ions.DIC < 0.5*low.Ions.DIC) {
		t.Errorf("carbonate only fell from %.2f to %.2f mmol/L", low.Ions.DIC, rest.Ions.DIC)
	}
	closes(t, y.farm, south)
}

func TestPlantsLeaveBaseBehindAndThinTheSolution(t *testing.T) {
	s := yardSettings(2)
	run := func(flux float64) (ph, ec, base float64) {
		plant := DrawPlant(s, south, 1).still()
		plant.Uptake, plant.BaseFlux, plant.Dark = 0.02, flux, 1
		y := newYardOf(t, s, Options{Plants: []Plant{plant, plant}})
		start := y.farm.Truth(south)
		y.wait(5 * time.Hour)
		truth := y.farm.Truth(south)
		closes(t, y.farm, south)
		// Counting phosphate as H2PO4-, what charge the ions leave open is the base that
		// the plants left behind.
		open := func(ions chem.Totals) float64 { return ions.StrongCharge() - ions.P }
		return truth.PH - start.PH, truth.EC - start.EC, open(truth.Ions) - open(start.Ions)
	}
	basePH, baseEC, base := run(0.08)
	acidPH, _, acid := run(-0.08)
	// 5 h of 0.08 meq/L/h, less what roots slow down as an ion gets scarce: ammonium,
	// at 0.5 to 1 mmol/L here, by up to a tenth of its half of the flux and of its
	// share in the balanced uptake.
	near(t, "base left in five hours, meq/L", base, 0.39, 0.02)
	near(t, "acid left in five hours, meq/L", -acid, 0.38, 0.02)
	if !(basePH > 0.1) || !(acidPH < -0.1) {
		t.Errorf("0.08 meq/L/h of base moves pH by %.2f, of acid by %.2f in five hours", basePH, acidPH)
	}
	near(t, "EC taken in five hours", baseEC, -0.1, 0.03)
}

func TestTopUpReplacesWhatEvaporatesAndBringsAlkalinity(t *testing.T) {
	y := newYard(t, 2, Options{Seed: 4})
	opened, most, least := 0, 0.0, 1e9
	was := false
	y.wait(30 * time.Minute)
	for range 12 * 60 {
		y.wait(time.Minute)
		truth := y.farm.Truth(south)
		if truth.TopUp && !was {
			opened++
		}
		was = truth.TopUp
		if truth.TopUp != (y.read("south top_up") == 1) {
			t.Fatal("the switch does not show the valve")
		}
		most, least = max(most, truth.Litres), min(least, truth.Litres)
	}
	if opened < 2 || most > 180*1.02 || least < 180*0.96 {
		t.Errorf("opened %d times, level %.1f to %.1f L of 180", opened, least, most)
	}
	b := y.farm.Balance(south)
	near(t, "calcium per litre of top-up", b.ToppedUp.Ions.Ca/b.ToppedUp.Litres, 0.74, 1e-9)
}

func TestFloodTakesWaterAndBringsItBackChanged(t *testing.T) {
	y := newYard(t, 1, Options{Seed: 6})
	y.wait(20 * time.Minute)
	level := y.read("north level")
	y.farm.Flood(north)
	y.wait(20 * time.Second)
	if y.read("north flood") != 1 {
		t.Error("the flood switch does not show the flood")
	}
	y.wait(4 * time.Minute)
	truth := y.farm.Truth(north)
	near(t, "litres on the bench", truth.Flooded, 250, 5)
	near(t, "level reading", y.read("north level"), level-250, 10)
	if y.read("north top_up") != 0 {
		t.Error("the valve tops up a tank whose water stands on the bench")
	}
	y.wait(15 * time.Minute)
	truth = y.farm.Truth(north)
	if truth.Flood || truth.Flooded != 0 || y.read("north flood") != 0 {
		t.Errorf("twenty minutes later the flood is not over: %+v", truth)
	}
	if taken := y.farm.Balance(north).Taken; !(taken.Litres > 1 && taken.Litres < 6) {
		t.Errorf("the bench kept %.1f L of 250", taken.Litres)
	}
	closes(t, y.farm, north)
}

func TestDayWarmsAndNightCools(t *testing.T) {
	y := newYard(t, 2, Options{Seed: 6, StartHour: 15})
	y.wait(time.Minute)
	day := y.farm.Truth(south)
	y.wait(12 * time.Hour)
	night := y.farm.Truth(south)
	if !day.Light || night.Light || !(day.Celsius > night.Celsius+0.8) {
		t.Errorf("15:00 %.1f °C light %v, 03:00 %.1f °C light %v", day.Celsius, day.Light, night.Celsius, night.Light)
	}
	near(t, "temperature reading", y.read("south temperature"), night.Celsius, 0.4)
}
