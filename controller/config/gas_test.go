package config

import (
	"math"
	"os"
	"strings"
	"testing"

	"leat/controller"
)

func TestGasExchangeIsAsStatedOrThatOfTheKindOfZone(t *testing.T) {
	text := good(t, "plain.toml") + "\n[[tank.zone]]\nname = \"channels\"\nkind = \"film\"\nholds = \"60 L\"\n\n[[tank.zone]]\nname = \"pond\"\nkind = \"raft\"\nholds = \"120 L\"\ngas_exchange = \"2.4 /d\"\n"
	tank := parsed(t, text).Settings.Tanks[0]
	got := map[string]float64{"": tank.GasExchange}
	for _, z := range tank.Zones {
		got[z.Name] = z.GasExchange
	}
	want := map[string]float64{"": 0.35, "bench": 0.6, "channels": 2.2, "pond": 0.1}
	for name, rate := range want {
		if math.Abs(got[name]-rate) > 1e-12 {
			t.Errorf("%q exchanges %g /h, want %g", name, got[name], rate)
		}
	}
	for _, kind := range []controller.ZoneKind{controller.ZoneFilm, controller.ZoneRaft} {
		if rate := kind.UsualGasExchange(); !(rate >= 1 && rate <= 5) {
			t.Errorf("%s: %g /h is not what the literature says", kind, rate)
		}
	}
	stated := changed(t, text, "name = \"beds\"\n", "name = \"beds\"\ngas_exchange = \"0.5 1/h\"\n")
	if rate := parsed(t, stated).Settings.Tanks[0].GasExchange; rate != 0.5 {
		t.Errorf("0.5 1/h of the tank was read as %g", rate)
	}
}

func TestAGasExchangeThatNoWaterHasIsRefusedWithWhatToWrite(t *testing.T) {
	text := good(t, "plain.toml")
	for value, problem := range map[string]string{
		"-1 /h": "is negative", "NaN /h": "has no number", "nan": "has no number", "Inf /h": "has no number", "0 /h": "is out of range", "500 /h": "is out of range",
		"2": "has no unit", "2 L/h": `has the unit "L/h"`, "": "is empty",
	} {
		line := "gas_exchange = \"" + value + "\"\n"
		for key, in := range map[string]string{
			"tank[beds].gas_exchange":             changed(t, text, "name = \"beds\"\n", "name = \"beds\"\n"+line),
			"tank[beds].zone[bench].gas_exchange": changed(t, text, "kind = \"flood\"\n", "kind = \"flood\"\n"+line),
		} {
			fault := faultOf(t, in, key)
			if !strings.Contains(fault.Problem, problem) || !strings.Contains(fault.Hint, "/h") || !strings.Contains(strings.Split(in, "\n")[fault.Line-1], "gas_exchange") {
				t.Errorf("%s = %q: %v", key, value, fault)
			}
		}
	}
}

func TestCheckTellsTheMeanGasExchangeAndWhatOfItIsAssumed(t *testing.T) {
	text, err := os.ReadFile("../../deploy/leat.toml")
	if err != nil {
		t.Fatal(err)
	}
	r := Check(parsed(t, string(text)))
	// 840 L of the tank's own at 0.35, 60 L of film at 2.2, 500 L of pond at 3; the bench
	// is dry.
	want := (840*0.35 + 60*2.2 + 500*3) / 1400.0
	if g := r.Tanks[0].Gas; math.Abs(g.PerHour-want) > 1e-9 || math.Abs(g.Half-3600*math.Ln2/want) > 1e-6 || len(g.Waters) != 4 {
		t.Errorf("%+v, want a mean of %g /h", g, want)
	}
	var out strings.Builder
	if err := r.Write(&out); err != nil {
		t.Fatal(err)
	}
	for _, said := range []string{"at 1.38 /h", "0.35 /h, the usual of its kind", "0.6 /h while it is wet, the usual of its kind", "3 /h  ", "1.5 to 6"} {
		if !strings.Contains(out.String(), said) {
			t.Errorf("leat check does not say %q:\n%s", said, out.String())
		}
	}
	// Zones that are said to hold more than the tank leave it none of its own.
	full := changed(t, string(text), "holds = \"60 L\"", "holds = \"5000 L\"")
	if g := Check(parsed(t, full)).Tanks[0].Gas; math.Abs(g.PerHour-(5000*2.2+500*3)/5500.0) > 1e-9 {
		t.Errorf("%+v", g)
	}
}
