package sheet_test

import (
	"encoding/xml"
	"regexp"
	"strings"
	"testing"

	"leat/controller/report"
	"leat/controller/report/sheet"
)

// fortnight is a letter in which everything occurs.
func fortnight() *report.Letter {
	moved := -0.21
	return &report.Letter{Station: "row <b>", From: evening, To: evening.AddDate(0, 0, 2), Tanks: []report.LetterTank{{Name: "pond", Verdict: "in 2.0 days.",
		Wanted:  []report.Wanted{{Role: "acid", Times: 2, Held: 7200, Longest: 3600, From: evening}},
		Liquids: []report.LetterDeed{{Pump: "acid", Liquid: "nitric acid", Role: "acid", HandML: 60, Hand: 1, Would: 71.234}},
		Answers: []report.Answer{{At: evening, Pump: "acid", ML: 60, By: "<i>ada", Quantity: "ph", Expected: -0.42, Moved: &moved}, {At: evening, Pump: "acid", ML: 1, Quantity: "ph", Expected: -0.001, Untold: "too little to be seen"}},
		Seen:    []report.SeenStep{{At: evening, Quantity: "ec", Moved: -0.2}, {At: evening, Quantity: "ph", Moved: -0.4, Liquid: "nitric acid", ML: 58}},
		Days: []report.LetterDay{{Date: "2031-03-04", PHFrom: share(6.3), PHTo: share(6.1), PHIn: share(0.25), DoneMeq: 0.2, NeedMeq: share(0.31)},
			{Date: "2031-03-05", Untold: "other water was let in"}}}}}
}

func TestALetterIsTheSameForTerminalAndBrowser(t *testing.T) {
	var text, page strings.Builder
	if err := sheet.Letter(&text, fortnight()); err != nil {
		t.Fatal(err)
	}
	if err := sheet.LetterHTML(&page, fortnight()); err != nil {
		t.Fatal(err)
	}
	for _, figure := range []string{"71.2 mL", "60.0 mL, once", "acid was due 2 times, 2 h 00 min in all", "0.50 of what was expected", "too little to be seen", "about 58.0 mL of nitric acid",
		"plain water, or a probe", "6.30 → 6.10", "+0.310", "+0.200", "other water was let in", "25 %"} {
		if !strings.Contains(text.String(), figure) {
			t.Errorf("text has no %q:\n%s", figure, text.String())
		}
		if !strings.Contains(strings.ReplaceAll(page.String(), "&#43;", "+"), figure) {
			t.Errorf("page has no %q", figure)
		}
	}
	if strings.Contains(page.String(), "<b>") || strings.Contains(page.String(), "<i>") {
		t.Error("names are not escaped")
	}
	pictures := regexp.MustCompile(`(?s)<svg.*?</svg>`).FindAllString(page.String(), -1)
	if len(pictures) != 1 {
		t.Fatalf("%d pictures, want 1", len(pictures))
	}
	var any struct {
		Bars []struct{} `xml:"rect"`
	}
	if err := xml.Unmarshal([]byte(pictures[0]), &any); err != nil || len(any.Bars) != 1 {
		t.Errorf("%v, %d bars of 1: %s", err, len(any.Bars), pictures[0])
	}
}

func TestDriftHasAPictureOfItsCauses(t *testing.T) {
	var page strings.Builder
	cause := func(v float64) report.Cause { return report.Cause{Meq: v, U: 0.1, PerHour: v / 10} }
	err := sheet.DriftHTML(&page, &report.Drifts{Station: "row", At: evening, Tanks: []report.TankDrift{
		{Name: "pond", From: evening, To: evening, All: cause(1.5), Plants: cause(0.6), CO2: cause(0.3), TopUp: cause(0.7), Probe: cause(-0.1)}, {Name: "new", Untold: "less than 12 hours"}}})
	if err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(page.String(), `class="bar"`); n != 5 {
		t.Errorf("%d bars, want plants, carbonate, top-up, probe and all", n)
	}
	for _, figure := range []string{"0.600 ± 0.100", "-0.100 ± 0.100", "less than 12 hours"} {
		if !strings.Contains(page.String(), figure) {
			t.Errorf("page has no %q", figure)
		}
	}
}
