package sheet_test

import (
	"encoding/xml"
	"errors"
	"io"
	"regexp"
	"strings"
	"testing"
	"time"

	"leat/controller/report"
	"leat/controller/report/sheet"
)

var evening = time.Date(2031, 3, 4, 18, 0, 0, 0, time.UTC)

func share(v float64) *float64 { return &v }

// night is a report of one tank in which everything occurs.
func night() *report.Report {
	at := func(minutes int) time.Time { return evening.Add(time.Duration(minutes) * time.Minute) }
	line := make([]report.Point, 14*60)
	for m := range line {
		line[m] = report.Point{At: at(m), Value: 5.8 + float64(m%7)/100}
	}
	held := report.Held{InBand: share(0.98), InWarn: share(1), Known: 1, Band: 0.1, Low: share(5.7), Mean: share(5.8), High: share(6), Drift: share(0.05),
		Set: []report.Point{{At: at(0), Value: 5.8}, {At: at(60), Value: 5.81}, {At: at(62), Value: 5.9}}, Line: line}
	floods := func(n int) (all []report.Stretch) {
		for k := range n {
			all = append(all, report.Stretch{From: at(60 * k), To: at(60*k + 12), Held: 600, Cause: "flood", Text: "A flood is in progress.", Want: "acid", Mixing: 120})
		}
		return all
	}
	return &report.Report{Station: "row <b>", From: evening, To: at(14 * 60), Words: "the night that ended last", Zone: "Europe/Vienna", Verdict: "In band 98 %.", Rows: 9,
		Pumps:  []report.Pump{{Name: "acid", Liquid: "nitric acid", Role: "acid"}, {Name: "grow", Liquid: "grow", Role: "stock"}},
		Silent: []report.Stretch{{From: at(700), To: at(760), Text: "leat was not running"}},
		Tanks: []report.Tank{{Name: "pond", Verdict: "In band 98 %.", PH: held, EC: held,
			Liquids:   []report.Liquid{{Pump: "acid", Liquid: "nitric acid", Role: "acid", ML: 193.754, Count: 3, Uncertain: 1}, {Pump: "grow", Liquid: "grow", Role: "stock", ML: 1500, Count: 1, Hand: 1, HandML: 5}},
			Withheld:  append(floods(4), report.Stretch{From: at(400), To: at(430), Held: 1800, Cause: "no-response", Pump: "acid", Text: "<script>", Want: "unknown"}),
			Stood:     floods(9),
			Waits:     []report.Wait{{Cause: "incompatible-wait", Held: 1500}},
			Alarms:    []report.Alarm{{From: at(90), To: at(100), Cause: "leak", Priority: "now", Text: "Leak detected.", Advice: "Look.", State: "normal"}},
			Changes:   []report.Change{{At: at(3), Kind: "setpoint", What: "setpoint ph 5.8 → 5.9", By: "ada", From: "page", Note: "</td> & more"}},
			Uncertain: []report.Dose{{At: at(10), Order: "1-000001", Pump: "acid", ML: 12.5, Cause: "no report"}},
			Doses:     []report.Dose{{At: at(10), Pump: "acid", ML: 12.5, Outcome: "uncertain"}, {At: at(20), Pump: "grow", ML: 1500, Outcome: "confirmed"}},
			TopUp:     41.234, Nutrients: []report.Element{{Symbol: "NO3-N", Grams: 12.3456}}, Unstated: []string{"grow"}}}}
}

func text(t *testing.T, print func(io.Writer, *report.Report) error, r *report.Report) string {
	t.Helper()
	var b strings.Builder
	if err := print(&b, r); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestTheTextBeginsWithTheVerdictAndTellsAll(t *testing.T) {
	out := text(t, sheet.Text, night())
	if !strings.HasPrefix(out, "In band 98 %.\n") {
		t.Errorf("begins with %.60q", out)
	}
	for _, want := range []string{"194 mL", "1.50 L", "by hand 5.00 mL in 1", "1 of them of uncertain fate", "4 times, 40 min in all: A flood is in progress (flood; acid was due)",
		"18:00 to 18:12, 19:00 to 19:12", "what was due cannot be known", "[acid]", "incompatible-wait 25 min", "whatever was due: flood 9×, 90 min", "19:30 to 19:40  now: Leak detected.",
		"18:03  setpoint ph 5.8 → 5.9, by ada from page: </td> & more", "12.5 mL of acid (1-000001): no report", "41.2 L", "NO3-N 12.3 g", "not stated: grow",
		"5.80, 5.90 from 19:00 to 19:02", "without doses it moves +0.050 an hour", "leat was not running", "Europe/Vienna"} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
}

func TestOfVeryManyTimesTheLongestAreTold(t *testing.T) {
	r := night()
	for k := range 60 {
		s := r.Tanks[0].Withheld[0]
		s.From = s.From.Add(time.Duration(k) * 10 * time.Minute)
		s.To, s.Held = s.From.Add(time.Minute*time.Duration(1+k%7)), report.Seconds(60*(1+k%7))
		r.Tanks[0].Withheld = append(r.Tanks[0].Withheld, s)
	}
	out := text(t, sheet.Text, r)
	if !strings.Contains(out, "64 times, ") || !strings.Contains(out, "the longest 18:00 to 18:12, 19:00 to 19:12, 20:00 to 20:12\n") {
		t.Errorf("%s", out)
	}
}

func TestThePageIsWholeAndTakesNoTextForMarkup(t *testing.T) {
	out := text(t, sheet.HTML, night())
	for _, bad := range []string{"<script", "<b>", "</td> & more", "NaN", "%!", "ZgotmplZ"} {
		if strings.Contains(out, bad) {
			t.Errorf("%q stands in the page", bad)
		}
	}
	pictures := regexp.MustCompile(`(?s)<svg.*?</svg>`).FindAllString(out, -1)
	if len(pictures) != 1 {
		t.Fatalf("%d pictures", len(pictures))
	}
	d := xml.NewDecoder(strings.NewReader(pictures[0]))
	for {
		if _, err := d.Token(); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatalf("the picture is no XML: %v", err)
		}
	}
	for what, want := range map[string]int{`class="tick acid"`: 1, `class="tick s0"`: 1, `class="hold c0"`: 8, `class="stood c0"`: 18, `class="hold c1"`: 2, `class="silent"`: 2, `class="set"`: 6, `class="line"`: 2, `class="setpoint"`: 2} {
		if n := strings.Count(pictures[0], what); n != want {
			t.Errorf("%d × %s in the picture, want %d", n, what, want)
		}
	}
}

func TestAnEmptyReportIsPrintedToo(t *testing.T) {
	r := &report.Report{From: evening, To: evening, Verdict: "The record is empty.", Tanks: []report.Tank{{Name: "pond"}}}
	for _, print := range []func(io.Writer, *report.Report) error{sheet.Text, sheet.HTML} {
		if out := text(t, print, r); !strings.Contains(out, "The record is empty.") || strings.Contains(out, "NaN") {
			t.Errorf("%s", out)
		}
	}
}

func TestContainersAreListedWithWhatIsKnownOfThem(t *testing.T) {
	var b strings.Builder
	left, day := 880.0, 22.0
	err := sheet.Stocks(&b, &report.Stocks{Station: "row", At: evening, Verdict: "Acid runs out first.", Days: 10, Stocks: []report.Stock{
		{Pump: "acid", Liquid: "nitric acid 38 %", Container: 1000, Left: &left, PerDay: &day, Lasts: &report.Range{Days: 40, Min: 35, Max: 45}, Refilled: evening, By: "ada", Batch: "B7", Note: "38 %"},
		{Pump: "grow", PerDay: &day}}})
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"880 mL left of 1.00 L; 22.0 mL a day; lasts 40 days (35 to 45); refilled 2031-03-04 by ada, batch B7: 38 %", "not known; 22.0 mL a day", "leat act refill"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("no %q in\n%s", want, b.String())
		}
	}
}
