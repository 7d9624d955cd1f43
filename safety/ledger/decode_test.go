package ledger

import (
	"bytes"
	"encoding/json"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"leat/dosing"
)

// written appends one draft to an empty ledger and returns its row.
func written(t testing.TB, d Draft) Row {
	t.Helper()
	memory := &Memory{}
	l := open(t, memory)
	if i, ok := d.(Intent); ok {
		intend(t, l, i)
	} else {
		record(t, l, d)
	}
	return memory.rows[0]
}

func decoded(t testing.TB, row Row) Entry {
	t.Helper()
	e, err := Decode(row)
	if err != nil {
		t.Fatal(err)
	}
	return e
}

func TestIntentIsRecordedWithAllItRestsOn(t *testing.T) {
	i := dose(7, 123, "acid", 12345*dosing.Microlitre, dosing.Instant{Wall: evening.Add(123456789), Up: 90*time.Second + 1})
	row := written(t, i)
	const want = `{"kind":"intent","run":7,"wall":"2031-03-04T19:00:00.123456789Z","up_s":90.000000001,"order":"7-000123",` +
		`"tank":"north","pump":"acid","volume_ml":12.345,"reason":"pH high","ph":6.3,"ec_ms_per_cm":1.6,"temp_c":20,"configuration":"c41d"}`
	if string(row.Body) != want {
		t.Errorf("the row reads\n%s\nwant\n%s", row.Body, want)
	}
	e := decoded(t, row)
	if e.Kind != EntryIntent || e.Epoch != 7 || e.Order != i.order || e.Tank != "north" || e.Pump != "acid" || e.Volume != i.plan.Volume ||
		e.Reason != dosing.ReasonPHHigh || e.PH != 6.3 || e.EC != 1.6 || e.Temperature != 20 || e.Configuration != "c41d" ||
		!e.At.Wall.Equal(i.at.Wall) || e.At.Up != i.at.Up {
		t.Errorf("read back as %+v", e)
	}
}

func TestChangesAreReadBackAsWritten(t *testing.T) {
	for kind := ChangeNone + 1; kind < ChangeCount; kind++ {
		c := Change{Kind: kind, At: at(time.Hour), Tank: "north", Pump: "acid", Quantity: dosing.QuantityEC, Old: -0.25, Value: 3, Spread: 1e-9,
			Volume: 17, Until: evening.Add(time.Hour), Text: "tëxt \"<&>\"", Note: "line\nline", By: "ada", From: "page", Trusted: true}
		e := decoded(t, written(t, c))
		if e.Kind != EntryChange || e.Change != kind || e.Tank != c.Tank || e.Pump != c.Pump || e.Quantity != c.Quantity || e.Old != c.Old ||
			e.Value != c.Value || e.Spread != c.Spread || e.Volume != c.Volume || !e.Until.Equal(c.Until) || e.Text != c.Text ||
			e.Note != c.Note || e.By != c.By || e.From != c.From || e.Trusted != c.Trusted || e.At.Up != c.At.Up {
			t.Errorf("%s read back as %+v", kind, e)
		}
	}
}

func TestReadingThatWasMissingStaysMissing(t *testing.T) {
	i := dose(1, 1, "acid", dosing.Millilitre, at(0))
	i.basis.PH, i.basis.EC = math.NaN(), math.Inf(1)
	e := decoded(t, written(t, i))
	if !math.IsNaN(e.PH) || !math.IsNaN(e.EC) {
		t.Fatalf("pH %v, EC %v; want not a number", e.PH, e.EC)
	}
}

func TestClockOfAnotherAgeDoesNotKeepADoseFromBeingRecorded(t *testing.T) {
	for _, year := range []int{-5000, 0, 1, 1970, 9999, 20000} {
		i := dose(1, 1, "acid", dosing.Millilitre, dosing.Instant{Wall: time.Date(year, 6, 1, 0, 0, 0, 0, time.UTC), Up: 1})
		if e := decoded(t, written(t, i)); e.Volume != i.plan.Volume {
			t.Errorf("year %d: %+v", year, e)
		}
	}
}

func TestTextOfStrangersIsBoundedAndReadsBack(t *testing.T) {
	for _, text := range []string{strings.Repeat("ü", 70_000), "\xff\xfe", "a\x00b", "\u2028"} {
		e := decoded(t, written(t, Change{Kind: ChangeMode, Text: "armed", Note: text}))
		if len(e.Note) > longestText+8 || !utf8.ValidString(e.Note) || e.Note == "" {
			t.Errorf("note of %d bytes became one of %d", len(text), len(e.Note))
		}
	}
}

func TestDecimalsAreExact(t *testing.T) {
	for _, v := range []int64{0, 1, -1, 10, 999, 1000, 1001, -1500, math.MaxInt64, math.MinInt64 + 1, 123456789012345678} {
		for _, digits := range []int{3, 9} {
			got, err := parseDecimal(string(decimal(v, digits)), digits)
			if err != nil || got != v {
				t.Errorf("%d with %d digits: %s → %d, %v", v, digits, decimal(v, digits), got, err)
			}
		}
	}
	for _, text := range []string{"", "-", ".", "1.", ".5", "1e3", "0x1", "1_0", "+1", "null", "1.0000", "99999999999999999999", "--1", "1.-5"} {
		if v, err := parseDecimal(text, 3); err == nil {
			t.Errorf("%q was read as %d", text, v)
		}
	}
}

func TestBadRowsAreRefused(t *testing.T) {
	for name, body := range map[string]string{
		"empty":              ``,
		"null":               `null`,
		"not JSON":           `dose 5 mL`,
		"two objects":        `{"kind":"change","change":"mode","up_s":0}{}`,
		"unknown kind":       `{"kind":"song","up_s":0}`,
		"a space":            `{"kind":"change", "change":"mode","up_s":0}`,
		"a key twice":        `{"kind":"change","change":"mode","up_s":0,"up_s":1}`,
		"out of order":       `{"change":"mode","kind":"change","up_s":0}`,
		"other case":         `{"Kind":"change","change":"mode","up_s":0}`,
		"trailing comma":     `{"kind":"change","change":"mode","up_s":0,}`,
		"not closed":         `{"kind":"change","change":"mode","up_s":0`,
		"open text":          `{"kind":"change","change":"mode","up_s":0,"text":"a`,
		"hexadecimal":        `{"kind":"change","change":"setpoint","up_s":0,"value":0x1p4}`,
		"not a number":       `{"kind":"change","change":"setpoint","up_s":0,"value":NaN}`,
		"a line in a text":   "{\"kind\":\"change\",\"change\":\"mode\",\"up_s\":0,\"text\":\"a\nb\"}",
		"unknown key":        `{"kind":"change","change":"mode","up_s":0,"volume":5}`,
		"unknown change":     `{"kind":"change","change":"song","up_s":0}`,
		"no order":           `{"kind":"intent","up_s":0,"tank":"north","pump":"acid","volume_ml":5,"reason":"pH high"}`,
		"no pump":            `{"kind":"intent","up_s":0,"order":"1-000001","tank":"north","volume_ml":5,"reason":"pH high"}`,
		"no volume":          `{"kind":"intent","up_s":0,"order":"1-000001","tank":"north","pump":"acid","reason":"pH high"}`,
		"negative volume":    `{"kind":"intent","up_s":0,"order":"1-000001","tank":"north","pump":"acid","volume_ml":-5,"reason":"pH high"}`,
		"volume as text":     `{"kind":"intent","up_s":0,"order":"1-000001","tank":"north","pump":"acid","volume_ml":"5","reason":"pH high"}`,
		"volume null":        `{"kind":"intent","up_s":0,"order":"1-000001","tank":"north","pump":"acid","volume_ml":null,"reason":"pH high"}`,
		"a lake":             `{"kind":"intent","up_s":0,"order":"1-000001","tank":"north","pump":"acid","volume_ml":99999999999,"reason":"pH high"}`,
		"unknown reason":     `{"kind":"intent","up_s":0,"order":"1-000001","tank":"north","pump":"acid","volume_ml":5,"reason":"boredom"}`,
		"settled as open":    `{"kind":"settlement","up_s":0,"order":"1-000001","tank":"north","pump":"acid","volume_ml":5,"outcome":"open"}`,
		"no outcome":         `{"kind":"settlement","up_s":0,"order":"1-000001","tank":"north","pump":"acid","volume_ml":5}`,
		"epoch of a half":    `{"kind":"change","change":"start","up_s":0,"value":1.5}`,
		"unknown quantity":   `{"kind":"change","change":"setpoint","up_s":0,"quantity":"taste"}`,
		"value beyond reach": `{"kind":"change","change":"setpoint","up_s":0,"quantity":"ph","value":1e999}`,
	} {
		if e, err := Decode(Row{Sequence: 17, Body: []byte(body)}); err == nil {
			t.Errorf("%s was read as %+v", name, e)
		} else if !strings.HasPrefix(err.Error(), "row 17: ") {
			t.Errorf("%s: the error does not name the row: %v", name, err)
		}
	}
}

// FuzzDecode looks for bodies that panic, that decode into an impossible dose, or
// that do not survive being written again.
func FuzzDecode(f *testing.F) {
	memory := &Memory{}
	l := open(f, memory)
	if _, _, err := night(l); err != nil {
		f.Fatal(err)
	}
	for _, row := range memory.rows {
		f.Add(row.Body)
	}
	f.Add([]byte(`{"kind":"change","change":"setpoint","up_s":-9223372036.854775807,"until":"9999-12-31T23:59:59.999999999Z","value":null}`))
	f.Add([]byte(`{"KIND":"change","change":"mode","up_s":1e3}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		e, err := Decode(Row{Sequence: 1, Body: text})
		if err != nil {
			return
		}
		if e.Volume < 0 || e.Volume > largestVolume || e.Kind == EntryNone || e.Kind >= entryCount {
			t.Fatalf("decoded into %+v", e)
		}
		if e.Kind != EntryChange && (e.Order.Epoch == 0 || e.Order.Number == 0 || e.Tank == "" || e.Pump == "") {
			t.Fatalf("a dose of nothing: %+v", e)
		}
		if sentence := e.String(); !utf8.ValidString(sentence) || strings.ContainsAny(sentence, "\n\x1b") {
			t.Fatalf("sentence %q", sentence)
		}
		r := newReplayer()
		r.follow(e)
		r.finish(dosing.Instant{}, true, e.Epoch)

		var b body
		if err := b.scan(text); err != nil {
			t.Fatal(err)
		}
		once, err := b.encode()
		if err != nil {
			t.Fatal(err)
		}
		var again body
		if err := again.scan(once); err != nil {
			t.Fatalf("%s: %v", once, err)
		}
		if !json.Valid(once) {
			t.Fatalf("%s is not JSON", once)
		}
		twice, err := again.encode()
		if err != nil || !bytes.Equal(once, twice) {
			t.Fatalf("written twice it reads\n%s\nand\n%s (%v)", once, twice, err)
		}
	})
}

func TestKeysAreReadInTheOrderTheyAreWritten(t *testing.T) {
	written := reflect.TypeFor[body]()
	if written.NumField() != len(fields) {
		t.Fatalf("%d keys are written, %d are read", written.NumField(), len(fields))
	}
	for i, name := range fields {
		if tag, _, _ := strings.Cut(written.Field(i).Tag.Get("json"), ","); tag != name {
			t.Errorf("key %d is written as %q and read as %q", i, tag, name)
		}
	}
}
