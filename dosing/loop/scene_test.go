package loop

import (
	"math"
	"math/rand"
	"time"

	"leat/dosing"
)

func uniform(r *rand.Rand, low, high float64) float64 { return low + r.Float64()*(high-low) }
func logUniform(r *rand.Rand, low, high float64) float64 {
	return math.Exp(uniform(r, math.Log(low), math.Log(high)))
}
func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }

// standardNight draws one night of the set `standard` of the control
// specification, as far as this plant has it: constant temperature, EC that adds
// up. What the plant draws of carbonate, gas exchange and true totals is not
// passed on: the loops get one nominal curve.
//
// A night that `leat check` would refuse for its smallest dose (more than 0.05 pH
// at the commissioned buffer capacity) or its rate (more than 0.3 pH in the 10 s
// until the pumps stop by themselves) is redrawn; redrawn tells how often.
func standardNight(seed int64) (s *scene, redrawn int) {
	r := rand.New(rand.NewSource(seed))
	for {
		s, ok := drawStandard(r)
		s.seed = seed
		if ok {
			return s, redrawn
		}
		redrawn++
	}
}

func drawStandard(r *rand.Rand) (s *scene, passes bool) {
	s = &scene{}
	s.litres = logUniform(r, 20, 1000)
	s.water = water{P: logUniform(r, 0.3, 2.5), C: uniform(r, 0, 2), N: 0.1}
	s.topUpAlk = logUniform(r, 0.2, 5)
	s.evaporates = logUniform(r, 0.001, 0.02)
	worth := logUniform(r, 0.003, 0.05)
	wrong := logUniform(r, 1.0/3, 3)
	s.flux = uniform(r, -0.03, 0.1)
	s.co2PerHour = uniform(r, 0.05, 1)
	s.deadTime, s.lag = seconds(uniform(r, 20, 180)), seconds(uniform(r, 30, 300))
	s.phNoise, s.ecNoise = uniform(r, 0.005, 0.030), 0.005
	s.startPH = uniform(r, 5.4, 6.6)
	s.target = dosing.Target{PH: 5.8, EC: dosing.Conductivity(uniform(r, 0.8, 2.6))}
	s.startEC = float64(s.target.EC) * uniform(r, 0.6, 1)
	s.uptake = uniform(r, 0, 0.03)
	open := water{P: s.water.P, C: 0.0136 * (1 + 5.0e-7/math.Exp(-5.8*math.Ln10)), N: 0.1}
	trueBuffer := open.Buffer(5.8)
	nominal := water{P: 1.2, C: 0.2, N: 0.1}
	s.curve = nominal
	s.tank = dosing.Tank{Volume: dosing.Litres(s.litres), DeadTime: s.deadTime, TimeConstant: s.lag, BufferScale: wrong * trueBuffer / nominal.Buffer(5.8),
		TopUp: dosing.Water{Alkalinity: s.topUpAlk, EC: dosing.Conductivity(0.1 * s.topUpAlk)}, PHNoise: s.phNoise, ECNoise: s.ecNoise}
	run := uniform(r, 5, 40)
	// Acid of 0.5 meq/mL; its anion brings 0.05 mS/cm per meq/L beyond what the
	// bicarbonate it drives out carried.
	reagent := func(role dosing.Role, group dosing.Group, strength float64) dosing.Pump {
		small := worth * trueBuffer * s.litres / math.Abs(strength)
		return dosing.Pump{Role: role, Group: group, AcidPerML: strength, ECPerML: 0.05 * math.Abs(strength),
			MinDose: dosing.Volume(small * 1000), PerSecond: max(1, dosing.Volume(0.10*trueBuffer*s.litres/math.Abs(strength)/run*1000))}
	}
	small := logUniform(r, 0.001, 0.01) // mS/cm
	stock := func(group dosing.Group, ec, acid float64) dosing.Pump {
		return dosing.Pump{Role: dosing.RoleStock, Group: group, Share: 0.5, MacroIon: true, AcidPerML: acid, ECPerML: ec,
			MinDose: dosing.Volume(small * s.litres / ec * 1000), PerSecond: max(1, dosing.Volume(0.10*s.litres/ec/run*1000))}
	}
	s.pumps = []dosing.Pump{reagent(dosing.RoleAcid, dosing.GroupAcid, 0.5), reagent(dosing.RoleBase, dosing.GroupBase, -0.5),
		stock(dosing.GroupCalcium, 0.2, -0.002), stock(dosing.GroupSulfate, 0.16, 0.01)}
	for range s.pumps {
		s.pumpError = append(s.pumpError, uniform(r, 0.85, 1.15))
	}
	return s, worth/wrong <= 0.05 && 0.10/run*10/wrong <= 0.3
}

// farmNight draws a night of the demonstration farm: a row of nine stocks at
// 1 L/min with nitric acid and potassium hydroxide, on the large tank (38 % acid
// at 40 mL/min) or on the one for young plants (diluted acid). It starts at pH 6.6
// and 60 % of the EC setpoint, with top-up of 2 meq/L and two floods.
func farmNight(seed int64, large bool) *scene {
	r := rand.New(rand.NewSource(seed))
	s := &scene{seed: seed, litres: 180, startPH: 6.6, target: dosing.Target{PH: 5.8, EC: 2.0}, startEC: 1.2, topUpAlk: 2,
		phNoise: 0.01, ecNoise: 0.005, evaporates: uniform(r, 0.002, 0.01), flux: uniform(r, -0.02, 0.06),
		uptake: uniform(r, 0, 0.02), co2PerHour: uniform(r, 0.05, 0.4)}
	acid, rate, least := 0.5, 60.0, 1.0 // meq/mL, mL/min, mL
	if large {
		s.litres, acid, rate, least = 1400, 7.4, 40, 0.5
	}
	s.water = water{P: uniform(r, 0.8, 2), C: uniform(r, 0.3, 1), N: 0.3}
	s.deadTime, s.lag = seconds(uniform(r, 20, 60)), seconds(uniform(r, 30, 120))
	nominal := water{P: 1.3, C: 0.3, N: 0.3}
	s.curve = nominal
	open := s.water
	open.C = 0.04
	s.tank = dosing.Tank{Volume: dosing.Litres(s.litres), DeadTime: s.deadTime, TimeConstant: s.lag,
		BufferScale: logUniform(r, 1.0/3, 3) * open.Buffer(5.8) / nominal.Buffer(5.8),
		TopUp:       dosing.Water{Alkalinity: 2, EC: 0.2}, PHNoise: s.phNoise, ECNoise: s.ecNoise}
	reagent := func(role dosing.Role, group dosing.Group, strength float64) dosing.Pump {
		return dosing.Pump{Role: role, Group: group, AcidPerML: strength, ECPerML: 0.05 * math.Abs(strength),
			MinDose: dosing.FromMillilitres(least), PerSecond: dosing.FromMillilitres(rate / 60)}
	}
	s.pumps = []dosing.Pump{reagent(dosing.RoleAcid, dosing.GroupAcid, acid), reagent(dosing.RoleBase, dosing.GroupBase, -acid)}
	for _, q := range []struct {
		group           dosing.Group
		share, acid, ec float64
		macro           bool
	}{
		{dosing.GroupCalcium, 0.30, -0.002, 0.22, true}, {dosing.GroupNeutral, 0.16, 0, 0.24, true}, {dosing.GroupNeutral, 0.05, 0, 0.2, true},
		{dosing.GroupSulfate, 0.12, 0, 0.2, true}, {dosing.GroupSulfate, 0.14, 0, 0.15, true}, {dosing.GroupSulfate, 0.12, 0.02, 0.16, true},
		{dosing.GroupCalcium, 0.05, 0.004, 0.25, true}, {dosing.GroupChelate, 0.03, 0, 0.02, false}, {dosing.GroupChelate, 0.03, 0, 0.02, false},
	} {
		s.pumps = append(s.pumps, dosing.Pump{Role: dosing.RoleStock, Group: q.group, Share: q.share, MacroIon: q.macro,
			AcidPerML: q.acid, ECPerML: q.ec, MinDose: dosing.FromMillilitres(s.litres / 70), PerSecond: dosing.Litre / 60})
	}
	for range s.pumps {
		s.pumpError = append(s.pumpError, uniform(r, 0.85, 1.15))
	}
	for _, hour := range []float64{uniform(r, 0.3, 3), uniform(r, 4, 8)} {
		s.floods = append(s.floods, flood{start: seconds(math.Floor(hour * 3600)), length: 10 * time.Minute})
	}
	return s
}
