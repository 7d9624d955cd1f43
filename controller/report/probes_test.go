package report_test

import (
	"strings"
	"testing"
	"time"

	"leat/controller/diary"
	"leat/controller/report"
	"leat/dosing"
	"leat/safety/ledger"
)

func calibrated(days int, slope float64) ledger.Entry {
	return ledger.Entry{Kind: ledger.EntryChange, Change: ledger.ChangeCalibration, At: dosing.Instant{Wall: at("18:00").AddDate(0, 0, -days)}, Tank: "north",
		Value: slope, By: "ada", Text: ledger.CalibrationText("ph", false, "7.00 at 25 °C read 7.02")}
}

func TestCalibrationsTellWhatIsDueAndHowAProbeWears(t *testing.T) {
	station := &diary.Station{Name: "row", Tanks: []diary.Tank{{Name: "north", Probes: []diary.Probe{{Name: "ph", Quantity: "ph", CalibrateDays: 28}, {Name: "ec", Quantity: "ec", CalibrateDays: 90}}}}}
	of := func(entries ...ledger.Entry) *report.Probes {
		l := report.NewProbeList(station, at("18:00"))
		for _, e := range entries {
			if err := l.Follow(e); err != nil {
				t.Fatal(err)
			}
		}
		return l.End()
	}
	r := of(calibrated(90, 0.99), calibrated(60, 0.97), calibrated(30, 0.95))
	ph := r.Probes[0]
	if len(ph.Calibrations) != 3 || !ph.Overdue || !strings.Contains(r.Verdict, "due of north ph") || !strings.Contains(r.Verdict, "entered of north ec") {
		t.Errorf("%q, %+v", r.Verdict, ph)
	}
	// From 95 to 90 % at 2 % a month: two and a half months from the last.
	if days := ph.WornOut.Sub(at("18:00")).Hours() / 24; days < 43 || days > 47 {
		t.Errorf("worn out in %.0f days", days)
	}
	if r := of(calibrated(27, 0.99)); r.Probes[0].Overdue || !r.Probes[0].WornOut.IsZero() || r.Probes[0].Due.Sub(at("18:00")) != 24*time.Hour {
		t.Errorf("%+v", r.Probes[0])
	}
}
