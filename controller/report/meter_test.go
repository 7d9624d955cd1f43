package report_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"leat/controller/diary"
	"leat/controller/report"
	"leat/dosing"
	"leat/safety/ledger"
)

// metered is a record in which a hand meter was held beside the probe on some days.
type metered struct {
	marks []ledger.Entry
	reads func(at time.Time) float64
	end   time.Time
}

func (m *metered) Span() (first, last time.Time, station *diary.Station, err error) {
	return m.end.AddDate(0, -3, 0), m.end, &diary.Station{Name: "row", Zone: "UTC", Tanks: []diary.Tank{{Name: "north", Probes: []diary.Probe{{Name: "ph", Quantity: "ph"}}}}}, nil
}

func (m *metered) Past(from, to time.Time) (*diary.Past, error) {
	at := from.Add(to.Sub(from) / 2)
	return &diary.Past{Minutes: map[string]diary.Minutes{"north/ph": {{At: at, Count: 12, Mean: m.reads(at)}}}}, nil
}

func (m *metered) EachEntry(each func(ledger.Entry) error) error {
	for _, e := range m.marks {
		if err := each(e); err != nil {
			return err
		}
	}
	return nil
}

func TestAHandMeterBesideTheProbeShowsItsDrift(t *testing.T) {
	end := time.Date(2031, 5, 1, 12, 0, 0, 0, time.UTC)
	// The probe rises by 0.03 in four weeks above a meter that reads 5.80, give or take 0.01.
	record := &metered{end: end, reads: func(at time.Time) float64 { return 5.8 + 0.03*(1-end.Sub(at).Hours()/24/7/4) }}
	for i, scatter := range []float64{5.81, 5.79, 5.80, 5.81, 5.79} {
		for _, q := range []dosing.Quantity{dosing.QuantityPH, dosing.QuantityEC} {
			record.marks = append(record.marks, ledger.Entry{Kind: ledger.EntryChange, Change: ledger.ChangeMeter, Tank: "north", By: "ada",
				At: dosing.Instant{Wall: end.AddDate(0, 0, -8-7*(4-i))}, Quantity: q, Value: scatter})
		}
	}
	record.marks = append(record.marks, ledger.Entry{Kind: ledger.EntryChange, Change: ledger.ChangeMark, Tank: "north", Note: "meter was lent to the neighbour"})
	r, err := report.ReadProbes(record)
	if err != nil {
		t.Fatal(err)
	}
	p := r.Probes[0]
	if len(p.Metered) != 5 || p.Trend == nil || math.Abs(p.Trend.PerWeek-0.0075) > 2*p.Trend.WeekU+0.005 || !(p.Trend.WeekU > 0) {
		t.Fatalf("%+v %+v", p.Metered, p.Trend)
	}
	if words := p.MeterWords(end); !strings.Contains(words, "compare it again") || !strings.Contains(words, "each week") {
		t.Error(words)
	}
	record.marks = nil
	if r, err = report.ReadProbes(record); err != nil || !strings.Contains(r.Probes[0].MeterWords(end), "never compared") {
		t.Errorf("%v %q", err, r.Probes[0].MeterWords(end))
	}
}
