package calibration

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"leat/dosing"
)

var (
	nernst = dosing.Compensation{Method: dosing.MethodNernst}
	linear = dosing.Compensation{Method: dosing.MethodLinear, PerKelvin: 0.02}
	plain  = dosing.Compensation{Method: dosing.MethodNone}
)

// published reads a table of testdata/published.
func published(t *testing.T, name string) [][]string {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "published", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	reader := csv.NewReader(f)
	reader.FieldsPerRecord = -1
	rows, err := reader.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

// rowsOf compares the rows of a standard with a published column and counts them.
func rowsOf(t *testing.T, name string, q dosing.Quantity, pairs [][2]string, scale float64) {
	t.Helper()
	s, err := Find(q, name)
	if err != nil {
		t.Fatal(err)
	}
	found := 0
	for _, pair := range pairs {
		celsius, err1 := strconv.ParseFloat(pair[0], 64)
		value, err2 := strconv.ParseFloat(pair[1], 64)
		if err1 != nil || err2 != nil {
			continue
		}
		if last := s.rows[len(s.rows)-1].celsius; celsius > last {
			continue
		}
		if got, err := s.At(celsius); err != nil || math.Abs(got-value*scale) > 1e-9 {
			t.Errorf("%s at %g °C is %g (%v), published %g", name, celsius, got, err, value*scale)
		}
		found++
	}
	if found != len(s.rows) {
		t.Errorf("%s: %d of %d rows are published", name, found, len(s.rows))
	}
}

func TestEachRowOfATableIsPublished(t *testing.T) {
	columns := map[string]int{"4.01": 1, "6.86": 2, "9.18": 3, "10.01": 4, "7.00": 5}
	for name, column := range columns {
		var pairs [][2]string
		for _, row := range published(t, "buffers.csv") {
			if strings.HasPrefix(row[9], "JIS") || name == "7.00" {
				pairs = append(pairs, [2]string{row[0], row[column]})
			}
		}
		rowsOf(t, name, dosing.QuantityPH, pairs, 1)
	}
	for name, scale := range map[string]string{"1408": "0.01 mol/kg", "12.82": "0.1 mol/kg", "1413": "1413 standard (0.01 mol/L)", "12.88": "12.88 standard (0.1 mol/L)"} {
		var pairs [][2]string
		for _, row := range published(t, "kcl.csv") {
			if row[0] == scale {
				pairs = append(pairs, [2]string{row[1], row[2]})
			}
		}
		rowsOf(t, name, dosing.QuantityEC, pairs, 0.001)
	}
}

// asRead is a point that a probe of that slope and offset would give.
func asRead(t *testing.T, q dosing.Quantity, c dosing.Compensation, name string, celsius, slope, offset float64) (Point, error) {
	t.Helper()
	s, err := Find(q, name)
	if err != nil {
		t.Fatal(err)
	}
	value, err := s.At(celsius)
	if err != nil {
		t.Fatal(err)
	}
	ideal, err := faithful(q, c, value, celsius)
	if err != nil {
		t.Fatal(err)
	}
	sent := ideal * slope
	if q == dosing.QuantityPH {
		sent = 7 + offset + slope*(ideal-7)
	}
	return Read(s, c, celsius, sent)
}

func TestSlopeAndOffsetOfAProbeAreFoundAndTakenOut(t *testing.T) {
	for _, c := range []dosing.Compensation{nernst, plain} {
		var points []Point
		for _, name := range []string{"7.00", "4.01"} {
			p, err := asRead(t, dosing.QuantityPH, c, name, 17, 0.955, 0.12)
			if err != nil {
				t.Fatal(err)
			}
			points = append(points, p)
		}
		found, err := Fit(dosing.QuantityPH, points, dosing.Correction{})
		if err != nil || math.Abs(found.Slope-0.955) > 1e-6 || math.Abs(found.Offset-0.12) > 1e-6 {
			t.Fatalf("%v: found %+v (%v)", c, found, err)
		}
		for _, p := range points {
			if got := found.Of(dosing.QuantityPH, p.Sent); math.Abs(got-p.Faithful) > 1e-9 {
				t.Errorf("%v: corrected %v to %v, want %v", c, p.Sent, got, p.Faithful)
			}
		}
		if mv := OffsetMV(found); math.Abs(mv+7.1) > 0.05 {
			t.Errorf("0.12 pH above is %.2f mV, want -7.1", mv)
		}
	}
}

func TestACellsFactorIsFoundWhateverTheTransmitterCompensates(t *testing.T) {
	for _, c := range []dosing.Compensation{linear, plain, {Method: dosing.MethodISO7888}} {
		p, err := asRead(t, dosing.QuantityEC, c, "1413", 18, 1.08, 0)
		if err != nil {
			t.Fatal(err)
		}
		found, err := Fit(dosing.QuantityEC, []Point{p}, dosing.Correction{})
		if err != nil || math.Abs(found.Slope-1.08) > 1e-6 {
			t.Errorf("%v: found %+v (%v)", c, found, err)
		}
	}
}

func TestOneBufferTellsTheOffsetAndKeepsTheSlope(t *testing.T) {
	p, err := asRead(t, dosing.QuantityPH, nernst, "7.00", 25, 0.97, 0.05)
	if err != nil {
		t.Fatal(err)
	}
	found, err := Fit(dosing.QuantityPH, []Point{p}, dosing.Correction{Slope: 0.97, Offset: 0.01})
	if err != nil || found.Slope != 0.97 || math.Abs(found.Offset-0.05) > 1e-9 {
		t.Errorf("found %+v (%v)", found, err)
	}
}

func TestSwappedStandardsAreRefused(t *testing.T) {
	for _, c := range []struct {
		q          dosing.Quantity
		said, read string
		is         string
		by         dosing.Compensation
	}{{dosing.QuantityPH, "4.01", "7.00", "looks like", nernst}, {dosing.QuantityPH, "7.00", "4.01", "looks like the standard 4.01", nernst},
		{dosing.QuantityPH, "10.01", "7.00", "looks like", nernst}, {dosing.QuantityEC, "1413", "12.88", "looks like the standard 12.8", linear}} {
		said, _ := Find(c.q, c.said)
		other, _ := Find(c.q, c.read)
		value, _ := other.At(22)
		sent, _ := faithful(c.q, c.by, value, 22)
		if _, err := Read(said, c.by, 22, sent); err == nil || !strings.Contains(err.Error(), c.is) || !strings.Contains(err.Error(), "swapped") {
			t.Errorf("%s where %s was said: %v", c.read, c.said, err)
		}
	}
	swapped := []Point{{Standard: "9.18", Sent: 9.9, Faithful: 9.2}, {Standard: "10.01", Sent: 9.1, Faithful: 10.1}, {Standard: "7.00", Sent: 9.5, Faithful: 7}}
	if _, err := Fit(dosing.QuantityPH, swapped[:2], dosing.Correction{}); err == nil {
		t.Error("two buffers a pH apart gave a slope")
	}
	wrong := []Point{{Standard: "7.00", Sent: 7.9, Faithful: 7}, {Standard: "9.18", Sent: 7.8, Faithful: 9.2}}
	if _, err := Fit(dosing.QuantityPH, wrong, dosing.Correction{}); err == nil || !strings.Contains(err.Error(), "swapped") {
		t.Errorf("a probe that goes the wrong way: %v", err)
	}
}

func TestAReadingIsTakenWhenItIsSteady(t *testing.T) {
	var slow Trail
	taken := time.Duration(0)
	for up := time.Duration(0); up < 10*time.Minute; up += 5 * time.Second {
		slow.Add(up, 4.01+2.9*math.Exp(-up.Seconds()/20)) // a probe of 20 s that came from pH 7
		if v, err := slow.Steady(dosing.QuantityPH, up); err == nil {
			taken = up
			if math.Abs(v-4.01) > 0.01 {
				t.Errorf("taken after %v at %.3f", up, v)
			}
			break
		}
	}
	if taken < time.Minute || taken > 4*time.Minute {
		t.Errorf("taken after %v", taken)
	}
	var rare Trail
	for n := range 6 {
		rare.Add(time.Duration(n)*30*time.Second, 1.41)
	}
	if v, err := rare.Steady(dosing.QuantityEC, 150*time.Second); err != nil || v != 1.41 {
		t.Errorf("rare readings: %v %v", v, err)
	}
	var none Trail
	if _, err := none.Steady(dosing.QuantityPH, time.Hour); err == nil {
		t.Error("nothing was read, and it was taken")
	}
}

func FuzzReadList(f *testing.F) {
	f.Add("7.00=7.02, 4.01=4.05", 22.0)
	f.Add("label:6.98=7.1", 5.0)
	f.Add("1413=1.4;12.88=12.9", 49.9)
	f.Fuzz(func(t *testing.T, list string, celsius float64) {
		for _, q := range []dosing.Quantity{dosing.QuantityPH, dosing.QuantityEC} {
			points, err := ReadList(q, nernst, celsius, list)
			if err != nil {
				continue
			}
			c, err := Fit(q, points, dosing.Correction{})
			if err == nil && (math.IsNaN(c.Slope) || math.IsInf(c.Slope, 0) || c.Slope <= 0 || math.IsNaN(c.Offset) || math.IsInf(c.Offset, 0)) {
				t.Errorf("%q at %g: %+v", list, celsius, c)
			}
		}
	})
}
