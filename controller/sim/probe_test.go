package sim

import (
	"math"
	"strings"
	"testing"
	"time"

	"leat/dosing"
)

func TestEveryFittedInputIsSentInItsPeriod(t *testing.T) {
	s := yardSettings(2)
	s.Safety.Inputs[0].Period = 20 * time.Second
	s.Safety.Inputs[1].NotFitted = "none"
	y := newYardOf(t, s, Options{Quiet: true})
	y.wait(10 * time.Minute)
	for i := range s.Safety.Inputs {
		in := &s.Safety.Inputs[i]
		want := 120
		switch i {
		case 0:
			want = 30
		case 1:
			want = 0
		}
		owner := ""
		if in.Tank != dosing.AllTanks {
			owner = s.Safety.Tanks[in.Tank].Name + "/"
		}
		if got := y.count["leat/row/"+owner+"reading/"+in.Name]; got != want {
			t.Errorf("%s was sent %d times in ten minutes, want %d", in.Name, got, want)
		}
	}
	if beats := y.count["leat/row/node/row"]; beats < 299 || beats > 301 {
		t.Errorf("%d heartbeats in ten minutes, want one every two seconds", beats)
	}
}

func TestReadingsScatterAroundTheTruthInStepsOfTheirResolution(t *testing.T) {
	y := newYard(t, 2, Options{Seed: 2})
	y.wait(5 * time.Minute)
	sum, square, n := 0.0, 0.0, 0.0
	for range 200 {
		y.wait(5 * time.Second)
		body := y.sent["leat/row/south/reading/south ph"]
		if _, places, _ := strings.Cut(body, "."); len(places) != 2 {
			t.Fatalf("pH is sent as %s, want two places", body)
		}
		off := y.read("south ph") - y.farm.Truth(south).PH
		sum, square, n = sum+off, square+off*off, n+1
		near(t, "EC reading", y.read("south ec"), y.farm.Truth(south).EC, 0.035)
		near(t, "level reading", y.read("south level"), y.farm.Truth(south).Litres, 3.5)
	}
	near(t, "mean error of pH", sum/n, 0, 0.004)
	near(t, "scatter of pH", math.Sqrt(square/n), 0.0104, 0.002) // 0.01 of the probe and 0.0029 of the rounding
}

func TestInputIsSentInTheUnitOfItsWire(t *testing.T) {
	y := newYard(t, 2, Options{Quiet: true})
	for _, p := range y.farm.probes {
		if p.set.Name == "south ec" {
			p.wire.Factor = 1000
		}
	}
	y.wait(10 * time.Second)
	if body := y.sent["leat/row/south/reading/south ec"]; body != "1800" {
		t.Errorf("EC of 1.80 mS/cm is sent as %s µS/cm", body)
	}
}

// What a probe sends, brought back by the daemon's own sums, is the truth again.
func TestProbesCompensateAsTheirWireSays(t *testing.T) {
	s := yardSettings(2)
	plant := DrawPlant(s, south, 1).still()
	plant.Celsius = 15
	y := newYardOf(t, s, Options{Plants: []Plant{plant, plant}, PumpError: -1, StartPH: 5})
	y.wait(time.Minute)
	truth := y.farm.Truth(south)
	near(t, "true EC at 25 °C", truth.EC, 1.8, 0.005)
	thermal, err := dosing.NewThermal(truth.Ions)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []dosing.Compensation{{Method: dosing.MethodNone}, {Method: dosing.MethodLinear, PerKelvin: 0.02}, {Method: dosing.MethodISO7888}} {
		for _, p := range y.farm.probes {
			p.wire.Compensation, p.noise, p.step = c, 0, 1e-4
		}
		y.wait(5 * time.Minute)
		sent := y.read("south ec")
		got, ok := thermal.EC(c, sent, 15)
		if !ok {
			t.Fatalf("%v: not taken", c)
		}
		near(t, "EC at 25 °C from "+c.String(), got, truth.EC, 0.01)
		if c.Method == dosing.MethodNone {
			// ISO 7888: 1.25 from 15 to 25 °C for natural waters.
			near(t, "raw EC", sent, 1.8/1.25, 0.03)
			got, _ = thermal.PH(c, y.read("south ph"), 15)
			near(t, "pH from an electrode that is not told the temperature", got, truth.PH, 0.001)
			near(t, "the pH it sends", y.read("south ph"), 7-2*(288.15/298.15), 0.005)
		}
	}
}

func TestProbeFollowsWithItsLag(t *testing.T) {
	y := newYard(t, 2, Options{Quiet: true})
	y.wait(time.Minute)
	p := y.farm.probes[0]
	p.shown = 7
	y.farm.tanks[north].now.PH = 6
	p.follow(6)
	near(t, "pH shown after one period", p.shown, 6+math.Exp(-5.0/8), 1e-12)
}

func TestSwitchIsSentAtOnceWhenItChanges(t *testing.T) {
	y := newYard(t, 2, Options{Quiet: true})
	y.wait(31 * time.Second)
	y.farm.PressStop(true)
	y.wait(time.Second)
	if y.read("stop") != 1 {
		t.Error("a second after the stop was pressed its input still reads 0")
	}
}
