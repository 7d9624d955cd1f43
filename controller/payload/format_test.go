package payload

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"leat/dosing"
)

func unit(t testing.TB, q dosing.Quantity, text string) Unit {
	t.Helper()
	u, err := ParseUnit(q, text)
	if err != nil {
		t.Fatal(err)
	}
	return u
}

func decode(t testing.TB, f Format, q dosing.Quantity, body string) (float64, error) {
	t.Helper()
	if err := f.Check(q); err != nil {
		t.Fatal(err)
	}
	r, err := f.Decode(3, q, sampleNow, []byte(body), false)
	return r.Value(), err
}

func TestSamplesOfReadingsAreRead(t *testing.T) {
	plain := Format{Kind: KindPlain, Unit: unit(t, dosing.QuantityPH, "pH")}
	json := Format{Kind: KindJSON, Unit: unit(t, dosing.QuantityPH, ""), Pointer: "/ph/value", TimePointer: "/at", SequencePointer: "/seq"}
	senML := Format{Kind: KindSenML, SenMLName: "urn:dev:mac:0024befffe804ff1:ec"}
	for _, c := range []struct {
		format   Format
		q        dosing.Quantity
		name     string
		value    float64
		sequence uint64
	}{
		{plain, dosing.QuantityPH, "reading_plain.txt", 6.02, 0},
		{json, dosing.QuantityPH, "reading_json.json", 6.02, 4711},
		{senML, dosing.QuantityEC, "reading_senml.json", 1.82, 0},
	} {
		r, err := c.format.Decode(3, c.q, sampleNow, sample(t, c.name), true)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if math.Abs(r.Value()-c.value) > 1e-12 || r.Sequence() != c.sequence || r.Input() != 3 || r.Quantity() != c.q || r.At() != sampleNow || !r.Retained() {
			t.Errorf("%s: got %+v", c.name, r)
		}
	}
}

func TestPlainNumberIsReadAsSent(t *testing.T) {
	f := Format{Kind: KindPlain, Unit: unit(t, dosing.QuantityPH, "")}
	for body, want := range map[string]float64{
		"6.02": 6.02, " 6.02\r\n": 6.02, "6": 6, "+6.1": 6.1, "0": 0, "-0": 0, "14": 14, "6.": 6, ".5": .5, "6.1e0": 6.1, "61E-1": 6.1,
		"6.10000000000000000000000000000000000000": 6.1,
	} {
		got, err := decode(t, f, dosing.QuantityPH, body)
		if err != nil || got != want {
			t.Errorf("%q: got %v, %v, want %v", body, got, err, want)
		}
	}
}

// Row 56 of the faults, and the traps of strconv.ParseFloat.
func TestPlainRubbishIsRefused(t *testing.T) {
	f := Format{Kind: KindPlain, Unit: unit(t, dosing.QuantityPH, "")}
	for _, body := range []string{"", " ", "\n", "null", "NaN", "nan", "Inf", "-Inf", "+inf", "infinity", "0x6", "0x1p2", "1_0", "6,02", "6.0.2",
		"6 02", "6.02 pH", "pH 6.02", `"6.02"`, `{"ph":6.02}`, "[6.02]", "true", "--6", "+-6", "e5", ".", "+", "6e", "6e+", "1e999", "-1", "14.01",
		"6\x00", "\xff\xfe", "６", strings.Repeat("6", 65), strings.Repeat("1", LargestPayload+1)} {
		r, err := f.Decode(3, dosing.QuantityPH, sampleNow, []byte(body), false)
		var refused *Error
		if !errors.As(err, &refused) || r != (dosing.Reading{}) {
			t.Errorf("%.40q: got %+v, %v, want an *Error and no reading", body, r, err)
		}
	}
}

func TestRefusalSaysWhatToDo(t *testing.T) {
	ph := Format{Kind: KindPlain, Unit: unit(t, dosing.QuantityPH, "")}
	for body, hint := range map[string]string{
		"6,02": "decimal point", `{"ph":6}`: "pointer", `"6.02"`: "without quotes", "6.02 pH": "unit in the configuration", "NaN": "such as 6.02", "": "empty",
		"58": "outside 0 to 14",
	} {
		_, err := ph.Decode(3, dosing.QuantityPH, sampleNow, []byte(body), false)
		if err == nil || !strings.Contains(err.Error(), hint) {
			t.Errorf("%q: got %v, want a hint with %q", body, err, hint)
		}
	}
	err := &Error{Topic: "leat/reservoir/reading/ph", What: "payload is empty", Hint: "send the number"}
	if got := err.Error(); got != "leat/reservoir/reading/ph: payload is empty; send the number" {
		t.Errorf("got %q", got)
	}
}

// Row 62: µS/cm taken for mS/cm.
func TestMicrosiemensSentAsMillisiemensAreRefused(t *testing.T) {
	wrong := Format{Kind: KindPlain, Unit: unit(t, dosing.QuantityEC, "mS/cm")}
	if got, err := decode(t, wrong, dosing.QuantityEC, "1600"); err == nil {
		t.Errorf("got %v mS/cm", got)
	}
	right := Format{Kind: KindPlain, Unit: unit(t, dosing.QuantityEC, "µS/cm")}
	if got, err := decode(t, right, dosing.QuantityEC, "1600"); err != nil || got != 1.6 {
		t.Errorf("got %v, %v, want 1.6", got, err)
	}
}

func TestUnitsAreConverted(t *testing.T) {
	for _, c := range []struct {
		q          dosing.Quantity
		unit       string
		sent, want float64
	}{
		{dosing.QuantityEC, "mS/cm", 1.412, 1.412}, {dosing.QuantityEC, "µS/cm", 1412, 1.412}, {dosing.QuantityEC, "μS/cm", 1412, 1.412},
		{dosing.QuantityEC, "S/m", 0.1412, 1.412}, {dosing.QuantityEC, "mS/m", 141.2, 1.412}, {dosing.QuantityEC, "dS/m", 1.412, 1.412},
		{dosing.QuantityEC, "CF", 14.12, 1.412}, {dosing.QuantityEC, "ppm500", 706, 1.412}, {dosing.QuantityEC, "ppm700", 988.4, 1.412},
		{dosing.QuantityTemperature, "°C", 21.5, 21.5}, {dosing.QuantityTemperature, "°F", 32, 0}, {dosing.QuantityTemperature, "°F", 212, 100},
		{dosing.QuantityTemperature, "K", 294.65, 21.5},
		{dosing.QuantityLevel, "L", 900, 900}, {dosing.QuantityLevel, "m³", 0.9, 900}, {dosing.QuantityLevel, "12 L", 75, 900},
		{dosing.QuantityLevel, "US gal", 10, 37.85411784}, {dosing.QuantityStockLevel, "mL", 900, 0.9},
		{dosing.QuantityRedox, "V", 0.65, 650}, {dosing.QuantityPH, "", 6, 6}, {dosing.QuantityLeak, "", 1, 1},
	} {
		u := unit(t, c.q, c.unit)
		if got := u.Convert(c.sent); math.Abs(got-c.want) > 1e-12*max(1, c.want) || u.String() != c.unit {
			t.Errorf("%g %s: got %.17g (%s), want %g", c.sent, c.unit, got, u, c.want)
		}
	}
	for _, c := range []struct {
		q    dosing.Quantity
		unit string
	}{
		{dosing.QuantityEC, ""}, {dosing.QuantityEC, "ppm"}, {dosing.QuantityEC, "ms/cm"}, {dosing.QuantityPH, "mV"}, {dosing.QuantityLevel, "%"},
		{dosing.QuantityLevel, "-1 L"}, {dosing.QuantityLevel, "0 L"}, {dosing.QuantityLevel, "NaN L"}, {dosing.QuantityTemperature, "L"},
		{dosing.QuantityLeak, "L"}, {dosing.QuantityNone, ""},
	} {
		if u, err := ParseUnit(c.q, c.unit); err == nil || u.Stated() {
			t.Errorf("%s in %q: got %+v, want a refusal", c.q, c.unit, u)
		}
	}
	if (Unit{}).Stated() {
		t.Error("the zero unit counts as stated")
	}
	f := Format{Kind: KindPlain}
	if r, err := f.Decode(3, dosing.QuantityPH, sampleNow, []byte("6"), false); err == nil {
		t.Errorf("a reading without a unit: %+v", r)
	}
}

func TestSwitchIsOnOrOffAndNothingBetween(t *testing.T) {
	plain := Format{Kind: KindPlain, Unit: unit(t, dosing.QuantityLeak, "")}
	json := Format{Kind: KindJSON, Unit: plain.Unit, Pointer: "/wet"}
	words := Format{Kind: KindPlain, Unit: plain.Unit, TrueWords: []string{"wet", "0"}, FalseWords: []string{"dry", "1"}}
	for _, c := range []struct {
		format Format
		body   string
		want   float64 // 2 = refused
	}{
		{plain, "1", 1}, {plain, "0", 0}, {plain, "true", 1}, {plain, "FALSE", 0}, {plain, "On", 1}, {plain, "off\n", 0}, {plain, "1.0", 1},
		{plain, "0.5", 2}, {plain, "2", 2}, {plain, "-1", 2}, {plain, "yes", 2}, {plain, "", 2}, {plain, "null", 2}, {plain, "NaN", 2},
		{json, `{"wet":true}`, 1}, {json, `{"wet":false}`, 0}, {json, `{"wet":1}`, 1}, {json, `{"wet":"off"}`, 0}, {json, `{"wet":"\u006fn"}`, 1},
		{json, `{"wet":null}`, 2}, {json, `{"wet":[]}`, 2}, {json, `{}`, 2}, {json, `{"wet":0.5}`, 2},
		{words, "WET", 1}, {words, "dry", 0}, {words, "0", 1}, {words, "1", 0}, {words, "true", 2},
	} {
		got, err := decode(t, c.format, dosing.QuantityLeak, c.body)
		if refused := err != nil; refused != (c.want == 2) || !refused && got != c.want {
			t.Errorf("%q: got %v, %v, want %v", c.body, got, err, c.want)
		}
	}
}

// RFC 6901, section 5: the document and the pointers are the standard's own.
func TestPointersOfTheStandardLeadWhereItSays(t *testing.T) {
	const document = `{"foo":["bar","baz"],"":0,"a/b":1,"c%d":2,"e^f":3,"g|h":4,"i\\j":5,"k\"l":6," ":7,"m~n":8}`
	f := Format{Kind: KindJSON, Unit: unit(t, dosing.QuantityLevel, "L")}
	for pointer, want := range map[string]float64{"/": 0, "/a~1b": 1, "/c%d": 2, "/e^f": 3, "/g|h": 4, `/i\j`: 5, `/k"l`: 6, "/ ": 7, "/m~0n": 8} {
		f.Pointer = pointer
		if got, err := decode(t, f, dosing.QuantityLevel, document); err != nil || got != want {
			t.Errorf("%q: got %v, %v, want %v", pointer, got, err, want)
		}
	}
	for _, pointer := range []string{"", "/foo", "/foo/0", "/foo/2", "/foo/00", "/foo/-", "/nothing", "/a", "/m~n"[:2]} {
		f.Pointer = pointer
		if got, err := decode(t, f, dosing.QuantityLevel, document); err == nil {
			t.Errorf("%q: got %v, want a refusal", pointer, got)
		}
	}
	f.Pointer = "/list/10/v"
	if got, err := decode(t, f, dosing.QuantityLevel, `{"list":[0,1,2,3,4,5,6,7,8,9,{"v":42}]}`); err != nil || got != 42 {
		t.Errorf("eleventh of a list: got %v, %v", got, err)
	}
	f.Pointer = ""
	if got, err := decode(t, f, dosing.QuantityLevel, " 42 "); err != nil || got != 42 {
		t.Errorf("the whole document: got %v, %v", got, err)
	}
	for _, pointer := range []string{"foo", "/m~n", "/m~", "/\xff"} {
		f.Pointer = pointer
		if err := f.Check(dosing.QuantityLevel); err == nil {
			t.Errorf("%q passes as a pointer", pointer)
		}
		// Unchecked it must still do no harm.
		if r, err := f.Decode(0, dosing.QuantityLevel, sampleNow, []byte(`{"foo":1}`), false); err == nil {
			t.Errorf("%q: got %+v", pointer, r)
		}
	}
}

func TestDoubtfulJSONIsRefused(t *testing.T) {
	f := Format{Kind: KindJSON, Unit: unit(t, dosing.QuantityPH, ""), Pointer: "/ph"}
	nested := func(n int) string { return strings.Repeat(`{"x":`, n) + "0" + strings.Repeat("}", n) }
	many := func(last string) string {
		var b strings.Builder
		for i := range 100 {
			fmt.Fprintf(&b, `"k%d":0,`, i)
		}
		return `{` + b.String() + `"` + last + `":0,"ph":6}`
	}
	if _, err := decode(t, f, dosing.QuantityPH, `{"ph":6,"deep":`+nested(deepest-1)+`}`); err != nil {
		t.Errorf("%d deep: %v", deepest, err)
	}
	if _, err := decode(t, f, dosing.QuantityPH, many("other")); err != nil {
		t.Errorf("an object of a hundred keys: %v", err)
	}
	for name, body := range map[string]string{
		"too deep":            `{"ph":6,"deep":` + nested(deepest) + `}`,
		"very deep":           strings.Repeat("[", 20_000),
		"key twice":           `{"ph":6,"ph":7}`,
		"key twice, escaped":  `{"ph":6,"\u0070h":7}`,
		"other key twice":     `{"ph":6,"x":{"y":1,"y":1}}`,
		"last of many twice":  many("k99"),
		"first of many twice": many("k0"),
		"other case":          `{"PH":6}`,
		"null":                `{"ph":null}`,
		"string":              `{"ph":"6.0"}`,
		"boolean":             `{"ph":true}`,
		"object":              `{"ph":{"v":6}}`,
		"NaN":                 `{"ph":NaN}`,
		"hex":                 `{"ph":0x6}`,
		"plus":                `{"ph":+6}`,
		"leading zero":        `{"ph":06}`,
		"no whole":            `{"ph":.6}`,
		"no fraction":         `{"ph":6.}`,
		"no exponent":         `{"ph":6e}`,
		"huge":                `{"ph":1e999}`,
		"long":                `{"ph":6.` + strings.Repeat("0", 100) + `}`,
		"comma at the end":    `{"ph":6,}`,
		"no quotes":           `{ph:6}`,
		"single quotes":       `{'ph':6}`,
		"comment":             `{"ph":6/**/}`,
		"two documents":       `{"ph":6}{"ph":7}`,
		"cut off":             `{"ph":6`,
		"cut in key":          `{"p`,
		"cut in escape":       `{"p\u00`,
		"half a surrogate":    `{"\ud800":1,"ph":6}`,
		"bad escape":          `{"\x":1,"ph":6}`,
		"control character":   "{\"a\nb\":1,\"ph\":6}",
		"not UTF-8":           "{\"\xff\":1,\"ph\":6}",
		"byte order mark":     "\ufeff{\"ph\":6}",
		"empty":               ``,
		"empty array":         `[]`,
		"array comma":         `[1,]`,
		"missing value":       `{"ph":}`,
		"missing colon":       `{"ph" 6}`,
		"number":              `6`,
		"word":                `nul`,
	} {
		r, err := f.Decode(3, dosing.QuantityPH, sampleNow, []byte(body), false)
		var refused *Error
		if !errors.As(err, &refused) {
			t.Errorf("%s: got %+v, %v, want an *Error", name, r, err)
		}
	}
}

func TestReadingFromTheFutureOrTooOldIsRefused(t *testing.T) {
	f := Format{Kind: KindJSON, Unit: unit(t, dosing.QuantityPH, ""), Pointer: "/v", TimePointer: "/t"}
	now := sampleNow.Wall.Unix()
	for body, fine := range map[string]bool{
		fmt.Sprintf(`{"v":6,"t":%d}`, now):                                     true,
		fmt.Sprintf(`{"v":6,"t":%d}`, now+59):                                  true,
		fmt.Sprintf(`{"v":6,"t":%d}`, now+61):                                  false,
		fmt.Sprintf(`{"v":6,"t":%d}`, now-119):                                 true,
		fmt.Sprintf(`{"v":6,"t":%d}`, now-121):                                 false,
		fmt.Sprintf(`{"v":6,"t":%d.5}`, now):                                   true,
		fmt.Sprintf(`{"v":6,"t":%d000}`, now):                                  true,
		fmt.Sprintf(`{"v":6,"t":%d000}`, now+61):                               false,
		`{"v":6,"t":"` + sampleTime.Format("2006-01-02T15:04:05Z07:00") + `"}`: true,
		`{"v":6,"t":"2026-01-01T03:03:04+01:00"}`:                              true,
		`{"v":6,"t":"2026-01-01T02:03:04"}`:                                    false,
		`{"v":6,"t":"2106-02-07T06:28:16Z"}`:                                   false,
		`{"v":6,"t":"yesterday"}`:                                              false,
		`{"v":6,"t":0}`:                                                        false,
		`{"v":6,"t":-5}`:                                                       false,
		`{"v":6,"t":1e300}`:                                                    false,
		`{"v":6,"t":null}`:                                                     false,
		`{"v":6}`:                                                              false,
	} {
		if got, err := decode(t, f, dosing.QuantityPH, body); (err == nil) != fine {
			t.Errorf("%s: got %v, %v", body, got, err)
		}
	}
}

func TestCounterIsAWholeNumber(t *testing.T) {
	f := Format{Kind: KindJSON, Unit: unit(t, dosing.QuantityPH, ""), Pointer: "/v", SequencePointer: "/n"}
	for body, want := range map[string]uint64{`{"v":6,"n":1}`: 1, `{"v":6,"n":18446744073709551615}`: math.MaxUint64} {
		r, err := f.Decode(3, dosing.QuantityPH, sampleNow, []byte(body), false)
		if err != nil || r.Sequence() != want {
			t.Errorf("%s: got %d, %v, want %d", body, r.Sequence(), err, want)
		}
	}
	for _, body := range []string{`{"v":6}`, `{"v":6,"n":"1"}`, `{"v":6,"n":1.5}`, `{"v":6,"n":-1}`, `{"v":6,"n":18446744073709551616}`, `{"v":6,"n":1e3}`} {
		if r, err := f.Decode(3, dosing.QuantityPH, sampleNow, []byte(body), false); err == nil {
			t.Errorf("%s: got %d", body, r.Sequence())
		}
	}
}

func TestFormatThatCannotWorkIsRefusedAtConfiguration(t *testing.T) {
	ph := unit(t, dosing.QuantityPH, "")
	for name, f := range map[string]Format{
		"nothing stated":        {},
		"no unit":               {Kind: KindPlain},
		"pointer in plain":      {Kind: KindPlain, Unit: ph, Pointer: "/x"},
		"name in JSON":          {Kind: KindJSON, Unit: ph, SenMLName: "x"},
		"time pointer in SenML": {Kind: KindSenML, Unit: ph, TimePointer: "/t"},
		"words for a number":    {Kind: KindPlain, Unit: ph, TrueWords: []string{"a"}, FalseWords: []string{"b"}},
		"unknown kind":          {Kind: kindCount, Unit: ph},
	} {
		if err := f.Check(dosing.QuantityPH); err == nil {
			t.Errorf("%s passes", name)
		}
	}
	for name, f := range map[string]Format{
		"words for on only": {Kind: KindPlain, Unit: ph, TrueWords: []string{"a"}},
		"word for both":     {Kind: KindPlain, Unit: ph, TrueWords: []string{"a"}, FalseWords: []string{"A"}},
	} {
		if err := f.Check(dosing.QuantityLeak); err == nil {
			t.Errorf("%s passes", name)
		}
	}
	for k := KindPlain; k < kindCount; k++ {
		if got, ok := ParseKind(k.String()); !ok || got != k {
			t.Errorf("kind %s is not found by its name", k)
		}
	}
	if _, ok := ParseKind("none"); ok {
		t.Error("none passes as a kind")
	}
}
