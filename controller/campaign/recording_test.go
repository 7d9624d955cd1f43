package campaign

import (
	"errors"
	"os"
	"strings"
	"testing"
)

const recordingTop = "time,ph,ec,temperature,level\n"

func TestABadRecordingIsRefusedWithItsLine(t *testing.T) {
	good := "2026-03-01 06:00:00,6.00,1.50,21.0,100\n2026-03-01 06:01:00,6.01,1.50,21.0,100\n"
	for _, c := range []struct {
		name, text string
		line       int
		says       string
	}{
		{"empty", "", 0, "empty"},
		{"no time", "ph,ec\n6,1\n6,1\n", 1, "no column time"},
		{"nothing beside the time", "time\n2026-03-01 06:00\n2026-03-01 06:01\n", 1, "no column time"},
		{"unknown column", "time,pressure\n2026-03-01 06:00,1\n", 1, `"pressure"`},
		{"column twice", "time,ph,PH\n2026-03-01 06:00,6,6\n", 1, "twice"},
		{"unknown unit", "time,ec parrots\n2026-03-01 06:00,1\n", 1, "parrots"},
		{"one row", recordingTop + "2026-03-01 06:00:00,6,1,21,100\n", 0, "1 rows"},
		{"a cell too few", recordingTop + good + "2026-03-01 06:02:00,6,1,21\n", 4, "4 cells where the header names 5"},
		{"decimal commas", recordingTop + good + "2026-03-01 06:02:00,6,02,1,5,21,0,100\n", 4, "decimals with a point"},
		{"no time in a row", recordingTop + good + "later,6,1,21,100\n", 4, `"later" is no time`},
		{"time goes back", recordingTop + good + "2026-03-01 06:00:30,6,1,21,100\n", 4, "not after that of line 3"},
		{"the same moment", recordingTop + good + "2026-03-01 06:01:00,6,1,21,100\n", 4, "not after that of line 3"},
		{"years later", recordingTop + good + "2036-03-01 06:01:00,6,1,21,100\n", 4, "split"},
		{"open quotation", recordingTop + good + "\"2026-03-01 06:02:00,6,1,21,100\n", 4, "quotation"},
	} {
		_, err := ReadRecording(strings.NewReader(c.text))
		var bad *RecordingError
		if !errors.As(err, &bad) {
			t.Errorf("%s: %v; want an error of the recording", c.name, err)
			continue
		}
		if bad.Line != c.line || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %q of line %d; want line %d and %q", c.name, err, bad.Line, c.line, c.says)
		}
	}
}

func TestARecordingMayUseOtherUnitsTimesAndDelimiters(t *testing.T) {
	for _, text := range []string{
		"\ufefftime;ec µS/cm;temperature °F\n2026-03-01T06:00:00Z;1500;68\n2026-03-01T07:01:00+01:00;1500;68\n",
		"Time\tPH\tlevel\n1772345000\t6.0\t100\n1772345060\t6.0\t100\n",
		recordingTop + "2026-03-01 06:00,,,,\n2026-03-01 06:01,6.01,1.5,,\n",
	} {
		r, err := ReadRecording(strings.NewReader(text))
		if err != nil || r.interval().Seconds() != 60 {
			t.Errorf("%q: %v", text, err)
			continue
		}
		if _, err := r.Replay(nil); err != nil {
			t.Errorf("%q: %v", text, err)
		}
	}
}

// replayed plays the invented day of testdata: a quiet probe that wanders, raw EC, for two
// hours nothing but 7.00 and 7.01, and a thermometer that says -1023 °C four times.
func replayed(t *testing.T) *ReplayReport {
	t.Helper()
	file, err := os.Open("../../testdata/recording/tank.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = file.Close() }()
	r, err := ReadRecording(file)
	if err != nil {
		t.Fatal(err)
	}
	report, err := r.Replay(nil)
	if err != nil {
		t.Fatal(err)
	}
	return report
}

func TestAReplaySaysWhichReadingsAreFitAndWhyNot(t *testing.T) {
	report := replayed(t)
	by := map[string]*ReplayInput{}
	for i := range report.Inputs {
		by[report.Inputs[i].Name] = &report.Inputs[i]
	}
	ph, celsius := by["ph"], by["temperature"]
	if ph.Sent != 1410 || ph.Sent != ph.Valid+sumOf(ph.Invalid) {
		t.Errorf("pH: %d sent, %d valid, %v invalid", ph.Sent, ph.Valid, ph.Invalid)
	}
	jumped := 0
	for why, n := range ph.Invalid {
		if strings.Contains(why, "jumped") {
			jumped += n
		}
	}
	if jumped == 0 {
		t.Errorf("a pH of 9.1 among 6.0 is no jump: %v", ph.Invalid)
	}
	if celsius.Valid != 1436 || sumOf(celsius.Invalid) != 4 {
		t.Errorf("temperature: %d valid, %v; want four refused", celsius.Valid, celsius.Invalid)
	}
	if by["ec"].Scatter < 0.002 || by["ec"].Scatter > 0.005 {
		t.Errorf("EC scatter %.4f mS/cm, made with 0.003", by["ec"].Scatter)
	}
	if k := report.RawECPerKelvin; k == nil || float64(*k) < 0.022 || float64(*k) > 0.026 {
		t.Errorf("EC per kelvin %v, made with 2.4 %%", k)
	}
	for _, a := range report.Alarms {
		if a.Cause == "ph-stale" && a.Times > 0 && a.Hours > 0.4 && a.Hours < 0.7 {
			return
		}
	}
	t.Errorf("half an hour without pH gave no alarm of its length: %+v", report.Alarms)
}

func sumOf(of map[string]int) (sum int) {
	for _, n := range of {
		sum += n
	}
	return sum
}

func FuzzReadRecording(f *testing.F) {
	f.Add(recordingTop + "2026-03-01 06:00:00,6.00,1.50,21.0,100\n2026-03-01 06:01:00,NaN,1.50,-1023,\n")
	f.Add("time;ph\n1772345000;7\n1772345001;1e400\n")
	f.Add("time,ec µS/cm\n\"2026-03-01 06:00\",1\n")
	f.Fuzz(func(t *testing.T, text string) {
		r, err := ReadRecording(strings.NewReader(text))
		if err != nil {
			if err.Error() == "" {
				t.Error("an error without words")
			}
			return
		}
		if r.rows[len(r.rows)-1].at.Sub(r.rows[0].at) > 1e14 { // a day: what is played must end soon
			return
		}
		report, err := r.Replay(nil)
		if err != nil {
			t.Fatal(err)
		}
		for _, in := range report.Inputs {
			if in.Sent != in.Valid+sumOf(in.Invalid) || in.ValidTime < -1e-9 || in.ValidTime > 1 {
				t.Errorf("%+v does not add up", in)
			}
		}
	})
}
