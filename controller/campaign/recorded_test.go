package campaign

import (
	"math"
	"testing"

	"leat/dosing"
)

func TestNightsAsRecordedTieWaterUptakeAndFluxTogether(t *testing.T) {
	set, err := SetNamed("recorded")
	if err != nil {
		t.Fatal(err)
	}
	flips := 0
	for seed := range uint64(200) {
		p := set.draw(sourcesOf(seed))
		for _, at := range []struct{ water, uptake, flux float64 }{{p.evaporation, p.uptake, p.flux}, {p.inDark.Evaporation, p.inDark.Uptake, p.inDark.BaseFlux}} {
			if u := at.uptake / at.water; u < 0.8 || u > 2.5 {
				t.Errorf("seed %d: %.2f mS/cm in the water taken up", seed, u)
			}
			if b := at.flux / at.water; b < -2 || b > 5 {
				t.Errorf("seed %d: %.2f meq/L of base in the water taken up", seed, b)
			}
		}
		if math.Signbit(p.flux) != math.Signbit(p.inDark.BaseFlux) {
			flips++
		}
		if low, high := p.celsius-p.swing, p.celsius+p.swing; low < 14 || high > 30 || high-low < 3 || high-low > 10 {
			t.Errorf("seed %d: %.1f to %.1f °C", seed, low, high)
		}
		if p.noise < 0.0015 || p.noise > 0.010 || p.wander < 0.003 || p.wander > 0.010 || p.ecNoise < 0.0005 || p.ecNoise > 0.012 || p.perKelvin < 0.019 || p.perKelvin > 0.030 {
			t.Errorf("seed %d: probes %+v", seed, p)
		}
	}
	if flips < 40 {
		t.Errorf("the base flux changes its sign from day to night in %d of 200 draws; a quarter to a half is wanted", flips)
	}
}

func TestDepletedWaterHasLittlePhosphateAndLessBufferThanCommissioned(t *testing.T) {
	set, err := SetNamed("depleted")
	if err != nil {
		t.Fatal(err)
	}
	for seed := range uint64(200) {
		if p := set.draw(sourcesOf(seed)); p.phosphate < 0.03 || p.phosphate > 0.3 || p.wrong < 1 || p.wrong > 12 {
			t.Errorf("seed %d: %.3f mmol/L of phosphate, commissioned ÷ true buffer %.2f", seed, p.phosphate, p.wrong)
		}
	}
}

func TestRawECOfARecordedNightIsBroughtTo25Degrees(t *testing.T) {
	set, err := SetNamed("recorded")
	if err != nil {
		t.Fatal(err)
	}
	scene, err := set.Scene(3)
	if err != nil {
		t.Fatal(err)
	}
	for i := range scene.Feeds {
		if f := &scene.Feeds[i]; f.Quantity == dosing.QuantityEC {
			if f.Compensation.Method != dosing.MethodMeasured || math.Abs(f.Compensation.PerKelvin-scene.Wires[f.Input].PerKelvin) > 0.001 {
				t.Errorf("told %v of a cell that rises by %.4f per kelvin", f.Compensation, scene.Wires[f.Input].PerKelvin)
			}
			return
		}
	}
	t.Error("no EC input")
}
