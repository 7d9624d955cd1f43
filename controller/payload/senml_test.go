package payload

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"leat/dosing"
)

// The shapes are those of RFC 8428, section 5.1 (examples), the values are ours.
func TestSenMLIsResolvedAsTheStandardSays(t *testing.T) {
	now := sampleNow.Wall.Unix()
	for _, c := range []struct {
		name, record string
		q            dosing.Quantity
		unit         string // configured; "" = none
		body         string
		want         float64
	}{
		{"one record", "urn:dev:ow:10e2073a01080063", dosing.QuantityTemperature, "",
			`[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]`, 23.1},
		{"base name and unit", "urn:dev:ow:1:ec", dosing.QuantityEC, "",
			`[{"bn":"urn:dev:ow:1:","bu":"S/m","n":"ec","v":0.18},{"n":"temp","u":"Cel","v":21}]`, 1.8},
		{"base holds on", "dev:temp", dosing.QuantityTemperature, "",
			`[{"bn":"dev:","n":"ec","u":"S/m","v":0.18},{"n":"temp","u":"Cel","v":21}]`, 21},
		{"base value", "dev", dosing.QuantityTemperature, "", `[{"bn":"dev","bu":"Cel","bv":20,"v":1.5}]`, 21.5},
		{"newest of a batch", "dev", dosing.QuantityPH, "",
			fmt.Sprintf(`[{"bn":"dev","bt":%d,"bu":"pH","t":-5,"v":6.1},{"t":0,"v":6.3},{"t":-1,"v":6.2}]`, now), 6.3},
		{"relative time", "dev", dosing.QuantityPH, "", `[{"bn":"dev","u":"pH","t":-30,"v":6.1}]`, 6.1},
		{"unit from the configuration", "dev", dosing.QuantityEC, "µS/cm", `[{"n":"dev","v":1800}]`, 1.8},
		{"own unit counts first", "dev", dosing.QuantityEC, "µS/cm", `[{"n":"dev","u":"S/m","v":0.18}]`, 1.8},
		{"the only record", "", dosing.QuantityPH, "", `[{"n":"whatever","u":"pH","v":6.1}]`, 6.1},
		{"base record alone", "dev:ph", dosing.QuantityPH, "pH", `[{"bn":"dev:"},{"n":"ph","v":6.1}]`, 6.1},
		{"switch", "dev", dosing.QuantityLeak, "", `[{"n":"dev","vb":true}]`, 1},
		{"switch as number", "dev", dosing.QuantityLeak, "", `[{"n":"dev","u":"/","v":0}]`, 0},
		{"switch as word", "dev", dosing.QuantityLeak, "", `[{"n":"dev","vs":"on"}]`, 1},
		{"secondary unit of RFC 8798", "dev", dosing.QuantityRedox, "", `[{"n":"dev","u":"mV","v":250}]`, 250},
		{"unknown field", "dev", dosing.QuantityPH, "pH", `[{"n":"dev","v":6.1,"extra":{"a":[1]}}]`, 6.1},
		{"version", "dev", dosing.QuantityPH, "pH", `[{"bver":10,"n":"dev","v":6.1}]`, 6.1},
	} {
		f := Format{Kind: KindSenML, SenMLName: c.record}
		if c.unit != "" || c.q.Switch() {
			f.Unit = unit(t, c.q, c.unit)
		}
		if got, err := decode(t, f, c.q, c.body); err != nil || math.Abs(got-c.want) > 1e-12 {
			t.Errorf("%s: got %v, %v, want %v", c.name, got, err, c.want)
		}
	}
}

func TestDoubtfulSenMLIsRefused(t *testing.T) {
	f := Format{Kind: KindSenML, SenMLName: "dev"}
	for name, body := range map[string]string{
		"object":                `{"n":"dev","u":"pH","v":6}`,
		"number":                `6`,
		"empty":                 ``,
		"empty pack":            `[]`,
		"numbers":               `[6]`,
		"other name":            `[{"n":"devs","u":"pH","v":6}]`,
		"no value":              `[{"n":"dev","u":"pH"}]`,
		"no unit anywhere":      `[{"n":"dev","v":6}]`,
		"foreign unit":          `[{"n":"dev","u":"Cel","v":6}]`,
		"null":                  `[{"n":"dev","u":"pH","v":null}]`,
		"string value":          `[{"n":"dev","u":"pH","v":"6"}]`,
		"boolean for a number":  `[{"n":"dev","u":"pH","vb":true}]`,
		"text for a number":     `[{"n":"dev","u":"pH","vs":"6"}]`,
		"data for a number":     `[{"n":"dev","u":"pH","vd":"Ng=="}]`,
		"two values":            `[{"n":"dev","u":"pH","v":6,"vb":true}]`,
		"field twice":           `[{"n":"dev","u":"pH","v":6,"v":7}]`,
		"name is a number":      `[{"n":5,"u":"pH","v":6}]`,
		"unit is null":          `[{"n":"dev","u":null,"v":6}]`,
		"newer version":         `[{"bver":11,"n":"dev","u":"pH","v":6}]`,
		"must be understood":    `[{"n":"dev","u":"pH","v":6,"scale_":2}]`,
		"future":                `[{"n":"dev","u":"pH","v":6,"t":61}]`,
		"far future":            `[{"n":"dev","u":"pH","v":6,"t":1e300}]`,
		"sum of times too big":  `[{"bt":1e308,"n":"dev","u":"pH","v":6,"t":1e308}]`,
		"far past":              `[{"n":"dev","u":"pH","v":6,"t":-1e300}]`,
		"old":                   `[{"n":"dev","u":"pH","v":6,"t":-121}]`,
		"sum of values too big": `[{"bv":1e308,"n":"dev","u":"pH","v":1e308}]`,
		"out of range":          `[{"n":"dev","u":"pH","v":58}]`,
		"cut off":               `[{"n":"dev","u":"pH","v":6}`,
	} {
		r, err := f.Decode(3, dosing.QuantityPH, sampleNow, []byte(body), false)
		var refused *Error
		if !errors.As(err, &refused) {
			t.Errorf("%s: got %+v, %v, want an *Error", name, r, err)
		}
	}
	f.SenMLName = ""
	if r, err := f.Decode(3, dosing.QuantityPH, sampleNow, []byte(`[{"n":"a","u":"pH","v":6},{"n":"b","u":"pH","v":7}]`), false); err == nil || !strings.Contains(err.Error(), "2 records") {
		t.Errorf("two records and no name: got %+v, %v", r, err)
	}
}
