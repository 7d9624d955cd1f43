package sim

import (
	"math"
	"testing"
	"time"

	"leat/controller"
)

// gasYard is a farm whose second tank holds sour water with a little carbonate and
// nothing but its CO2 moves. At pH 4 all but half a per cent of the carbonate is CO2, so
// that its decay has a closed form.
func gasYard(t *testing.T, zones []controller.Zone, change func(*Plant)) *yard {
	t.Helper()
	s := yardSettings(2)
	s.Tanks[south].Zones = zones
	plant := DrawPlant(s, south, 1).still()
	plant.Carbonate, plant.RoomCO2, plant.FloodKept = 1, 420e-6, 0
	change(&plant)
	return newYardOf(t, s, Options{StartPH: 4, Plants: []Plant{plant, plant}, PumpError: -1})
}

// The CO2 that is left of 1 mmol/L after some hours at a rate. Henry's constant and the
// first pK of carbonate are those of the literature (10^-1.468 mol/kg/atm, 6.352), not
// asked of the solver.
func carbonLeft(rate, hours float64) float64 {
	dissolved := 1 / (1 + math.Pow(10, 4-6.352)) // share of the carbonate that is CO2 at pH 4
	rest := 1000 * math.Pow(10, -1.468) * 420e-6 / dissolved
	return rest + (1-rest)*math.Exp(-rate*dissolved*hours)
}

func TestCO2OfAStirredTankLeavesAtTheStatedRate(t *testing.T) {
	for _, rate := range []float64{0.2, 0.6, 5} {
		y := gasYard(t, nil, func(p *Plant) { p.CO2Exchange = rate })
		for hour := 1.0; hour <= 3; hour++ {
			y.wait(time.Hour)
			near(t, "carbonate, mmol/L", y.farm.Truth(south).Ions.DIC, carbonLeft(rate, hour), 0.004)
		}
		closes(t, y.farm, south)
	}
}

// A third of the water runs in channels that swap it with the tank in seconds: the
// whole then breathes at the mean of both rates, weighted by their water.
func TestTankAndChannelsTogetherBreatheAtTheMeanWeightedByTheirWater(t *testing.T) {
	channels := []controller.Zone{{Name: "channels", Kind: controller.ZoneFilm, Litres: 60}}
	y := gasYard(t, channels, func(p *Plant) {
		p.CO2Exchange, p.ZoneExchange, p.ZoneTurnover = 0.3, []float64{3}, []time.Duration{10 * time.Second}
	})
	mean := (0.3*120 + 3*60) / 180.0
	for hour := 1.0; hour <= 3; hour++ {
		y.wait(time.Hour)
		near(t, "carbonate, mmol/L", y.farm.Truth(south).Ions.DIC, carbonLeft(mean, hour), 0.01)
	}
	closes(t, y.farm, south)
}

// A pond that swaps its water in hours loses its CO2 where it stands, and the tank
// follows late: two vessels, whose equations are solved here in steps of a second.
func TestAPondLosesItsCO2WhereItStands(t *testing.T) {
	const tank, pond, hours = 80.0, 100.0, 2.0
	y := gasYard(t, []controller.Zone{{Name: "pond", Kind: controller.ZoneRaft, Litres: pond}}, func(p *Plant) {
		p.CO2Exchange, p.ZoneExchange, p.ZoneTurnover = 0, []float64{4}, []time.Duration{time.Hour}
	})
	rest, a, b := carbonLeft(1, 1e6), 1.0, 1.0
	for range int(hours * 3600) {
		swapped := pond * (b - a) / 3600
		a += swapped / tank
		b += -swapped/pond - 4*0.9956*(b-rest)/3600
	}
	y.wait(time.Duration(hours * float64(time.Hour)))
	near(t, "carbonate in the tank, mmol/L", y.farm.Truth(south).Ions.DIC, a, 0.01)
	all := y.farm.Balance(south).Present
	near(t, "carbonate in tank and pond, mmol", all.Ions.DIC, a*tank+b*pond, 1.5)
	closes(t, y.farm, south)
}

// A pond of seven tenths of the water holds it, and the tank is not told of it by its gauge.
func TestALargePondHoldsItsWater(t *testing.T) {
	y := gasYard(t, []controller.Zone{{Name: "pond", Kind: controller.ZoneRaft, Litres: 126, Exchange: time.Hour}}, func(p *Plant) { p.ZoneTurnover = nil })
	near(t, "quick water, L", y.farm.tanks[south].bulk.litres, 54, 1e-9)
	near(t, "level, L", y.farm.Truth(south).Litres, 180, 1e-9)
	closes(t, y.farm, south)
}

func TestABenchBreathesOnlyWhileItIsWet(t *testing.T) {
	const wet = 31 * time.Minute // half of filling and draining, and all of standing
	y := gasYard(t, []controller.Zone{{Name: "bench", Kind: controller.ZoneFlood, Litres: 60}}, func(p *Plant) {
		p.CO2Exchange, p.ZoneExchange = 0, []float64{2}
		p.FloodFill, p.FloodStand, p.FloodDrain = time.Minute, 30*time.Minute, time.Minute
	})
	y.wait(time.Hour)
	if in := y.farm.Balance(south).GasIn; in != 0 {
		t.Errorf("a dry bench let %.4f mmol of CO2 pass", in)
	}
	y.farm.Flood(south)
	y.wait(time.Hour)
	near(t, "CO2 that a flood set free, mmol", -y.farm.Balance(south).GasIn, 60*(1-carbonLeft(2, wet.Hours())), 0.8)
	closes(t, y.farm, south)
}

// The law that knows everything sees the zones too.
func TestNeedSeesTheExchangeOfTheZones(t *testing.T) {
	need := func(zones []controller.Zone, change func(*Plant)) float64 {
		y := gasYard(t, zones, change)
		acid, _, ok := y.farm.Need(south, 5.8, 1.8, time.Hour)
		if !ok {
			t.Fatal("no answer")
		}
		return acid
	}
	channels := []controller.Zone{{Name: "channels", Kind: controller.ZoneFilm, Litres: 60}}
	near(t, "acid needed, meq/L", need(channels, func(p *Plant) { p.CO2Exchange, p.ZoneExchange = 0.3, []float64{1.2} }),
		need(nil, func(p *Plant) { p.CO2Exchange = 0.6 }), 1e-9)
	if same := need(channels, func(p *Plant) { p.CO2Exchange = 0.3 }); math.Abs(same-need(nil, func(p *Plant) { p.CO2Exchange = 0.6 })) < 0.01 {
		t.Errorf("%.3f meq/L of acid, with the channels' exchange or without", same)
	}
}

func TestNightsDrawGasExchangeFromHalfToTwiceWhatIsStated(t *testing.T) {
	s := yardSettings(1)
	s.Tanks[north].GasExchange = 0
	for i := range s.Tanks[north].Zones {
		s.Tanks[north].Zones[i].GasExchange = 0
	}
	plain := DrawPlant(s, north, 3)
	for _, rate := range append(plain.ZoneExchange, plain.CO2Exchange) {
		if rate != 0 {
			t.Errorf("%g /h of a water for which none is stated", rate)
		}
	}
	s.Tanks[north].GasExchange, s.Tanks[north].Zones[1].GasExchange = 0.4, 3
	const nights = 2000
	within := func(what string, stated float64, drawn []float64) {
		sum, least, most := 0.0, math.Inf(1), 0.0
		for _, rate := range drawn {
			sum += math.Log(rate)
			least, most = min(least, rate), max(most, rate)
		}
		near(t, what+", geometric mean", math.Exp(sum/nights), stated, 0.05*stated)
		near(t, what+", least", least, stated/2, 0.01*stated)
		near(t, what+", most", most, 2*stated, 0.03*stated)
	}
	var tank, film []float64
	for seed := range nights {
		p := DrawPlant(s, north, uint64(seed))
		tank, film = append(tank, p.CO2Exchange), append(film, p.ZoneExchange[1])
	}
	within("tank", 0.4, tank)
	within("channels", 3, film)
	// What is stated moves nothing else of the night.
	drawn := DrawPlant(s, north, 3)
	if drawn.RoomCO2 != plain.RoomCO2 || drawn.Celsius != plain.Celsius || drawn.Evaporation != plain.Evaporation || drawn.FloodEvery != plain.FloodEvery {
		t.Error("to state a gas exchange changes what else the night draws")
	}
}
