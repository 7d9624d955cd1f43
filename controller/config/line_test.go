package config

import (
	"strings"
	"testing"
	"time"

	"leat/dosing"
)

// lined is a tank with a film, a bench and a lamp.
const lined = `
[station]
name = "row"
[broker]
url = "mqtt://127.0.0.1:1883"
[[pump]]
name = "acid"
role = "acid"
reagent = "nitric acid"
strength = "2 %"
rate = "20 mL/min"
[[pump]]
name = "iron"
role = "stock"
salts = { "monopotassium phosphate" = "40 g/L" }
chelate = "EDDHA"
rate = "60 mL/min"
[[tank]]
name = "north"
volume = "1000 L"
[[tank.zone]]
name = "bench"
kind = "flood"
holds = "100 L"
longest_flood = "20 min"
[[tank.zone]]
name = "channels"
kind = "film"
holds = "60 L"
exchange_time = "2 min"
flow = { every = "10s" }
[tank.line]
uv_chamber = "3 L"
uv_layer = "20 mm"
uv_new_lamp = "240 W/m2"
peroxide = true
`

func TestTheLineIsReadAndWhatUVDoesToIronIsSaid(t *testing.T) {
	file, err := Parse("farm.toml", []byte(lined), Env{})
	if err != nil {
		t.Fatal(err)
	}
	set := file.Settings.Tanks[0].Line
	if set.Lamp.Layer != 2 || set.Lamp.New != 24 || set.Lamp.Dose != 100 || set.MinOxygen != 5 || set.Zones[1].MinFlow != 9 ||
		set.Zones[0].Longest != 20*time.Minute || set.Zones[0].Roots != 50*time.Minute {
		t.Errorf("%+v", set)
	}
	// 24 mW/cm² × 0.541 of it in 2 cm at 50 % × 3 L ÷ 100 mJ/cm².
	if uv := Check(file).Tanks[0].UV; uv == nil || uv.MaxFlow < 23.3 || uv.MaxFlow > 23.5 || !strings.Contains(uv.Does, "tomato mosaic") {
		t.Errorf("%+v", uv)
	}
	found := false
	for i := range file.Settings.Safety.Inputs {
		in := &file.Settings.Safety.Inputs[i]
		found = found || in.Name == "channels_flow" && in.Quantity == dosing.QuantityZoneFlow && in.Zone == 1
	}
	if !found {
		t.Error("the film's flow is not read")
	}
	if all := strings.Join(file.Warnings, "\n"); !strings.Contains(all, "UV and peroxide destroy iron EDDHA") {
		t.Errorf("nothing is said of iron: %s", all)
	}
}

func TestAWrongLineIsRefusedWithWhatToDo(t *testing.T) {
	for wrong, want := range map[string]string{
		`uv_layer = "20 mm"`:       "states only part of a UV chamber",
		`longest_flood = "20 min"`: "is of a zone that does not flood",
		`flow = { every = "10s" }`: "has no flow that must not stop",
		"[tank.line]\n":            "are not in order",
	} {
		text := strings.Replace(lined, wrong, "", 1)
		switch wrong {
		case "[tank.line]\n":
			text = strings.Replace(lined, wrong, wrong+"min_oxygen = \"2 mg/L\"\n", 1)
		case `longest_flood = "20 min"`:
			text = strings.Replace(lined, `exchange_time = "2 min"`, "exchange_time = \"2 min\"\nlongest_flood = \"20 min\"", 1)
		case `flow = { every = "10s" }`:
			text = strings.Replace(lined, `longest_flood = "20 min"`, wrong, 1)
		}
		if _, err := Parse("farm.toml", []byte(text), Env{}); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v", want, err)
		}
	}
}
