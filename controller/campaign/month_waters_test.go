package campaign

import (
	"fmt"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"leat/controller/config"
	"leat/deploy"
	ions "leat/dosing/ratio"
)

// sourceWater is an analysis of an invented source, and how fast a week is played on it:
// where much is dumped, the stocks' caps let no week hold a month.
type sourceWater struct {
	name, analysis, alkalinity, ec string
	pace                           float64
	dumps                          bool // only dumps hold it this week
	long                           bool // played with LEAT_REAL=1 alone
}

var fiveWaters = []sourceWater{
	{"soft", `Ca = "12 mg/L"
Mg = "2.5 mg/L"
Na = "8.4 mg/L"
Cl = "13 mg/L"
HCO3 = "49 mg/L"
pH = "7.4"`, "0.80", "0.12", 4, false, true},
	{"medium", `Ca = "61 mg/L"
Mg = "9 mg/L"
Na = "14 mg/L"
Cl = "22 mg/L"
SO4 = "30 mg/L"
HCO3 = "180 mg/L"
pH = "7.4"`, "2.95", "0.43", 4, false, false},
	{"hard", `Ca = "104 mg/L"
Mg = "12 mg/L"
Na = "18 mg/L"
Cl = "30 mg/L"
SO4 = "35 mg/L"
HCO3 = "310 mg/L"
pH = "7.3"`, "5.08", "0.66", 2, true, true},
	{"sodium-rich", `Ca = "45 mg/L"
Mg = "10 mg/L"
Na = "110 mg/L"
Cl = "120 mg/L"
SO4 = "40 mg/L"
HCO3 = "210 mg/L"
pH = "7.7"`, "3.44", "0.85", 2, true, false},
	{"sulfate-rich", `Ca = "115 mg/L"
Mg = "22 mg/L"
Na = "25 mg/L"
Cl = "35 mg/L"
SO4 = "220 mg/L"
HCO3 = "210 mg/L"
pH = "7.4"`, "3.44", "0.85", 2, true, true},
}

// The medium water is played by the test of the fixed shares, the sodium-rich one wants dumps.
func TestAMonthOnFiveWatersHoldsWhatStocksCanSteerAndSaysWhenADumpIsDue(t *testing.T) {
	for i := range fiveWaters {
		w := &fiveWaters[i]
		if w.name == "medium" {
			continue
		}
		t.Run(w.name, func(t *testing.T) {
			if w.long && os.Getenv("LEAT_REAL") != "1" {
				t.Skip("LEAT_REAL=1 plays this water, too")
			}
			t.Parallel()
			farm, run := w.farm(t), MonthRun{}
			m := Month{Seed: 1, Days: 7, Every: time.Duration(float64(14*24*time.Hour) / w.pace), Pace: w.pace}
			if err := m.play(farm, true, &run, &MonthReport{}); err != nil {
				t.Fatal(err)
			}
			w.judge(t, farm, &run)
		})
	}
}

// farm is the first tank of the sample farm on a water.
func (w *sourceWater) farm(t *testing.T) *Farm {
	t.Helper()
	file, err := config.Parse("the sample farm on "+w.name+" water", sampleOn(w.analysis, w.alkalinity, w.ec), config.Env{})
	if err != nil {
		t.Fatal(err)
	}
	return farmFrom(file)
}

func (w *sourceWater) judge(t *testing.T, farm *Farm, run *MonthRun) {
	t.Helper()
	fresh, _, err := farm.Settings.Tanks[0].Ratio.Fresh()
	if err != nil {
		t.Fatal(err)
	}
	judged := 0
	for i, s := range MonthIons {
		off := run.worstOf(i)
		t.Logf("%-5s fresh %+4.0f %%  worst %+4.0f %% on day %4.1f of a month, at the end %+4.0f %%", s.Symbol(), 100*fresh.Off(s), 100*off.Off, w.pace*off.Day, 100*run.Last[s.Symbol()])
		switch {
		case math.Abs(fresh.Off(s)) > reaches: // no stock steers it: this water holds too much, or leaves no room
		case math.Abs(off.Off) > ions.Within:
			t.Errorf("%s is %+.0f %% off on day %.1f of a month", s.Symbol(), 100*off.Off, w.pace*off.Day)
		default:
			judged++
		}
		if fresh.Off(s) > 0.10 && !strings.Contains(said(run), s.Symbol()+" is thought") {
			t.Errorf("%s stands too high by the water alone, and the month does not say so: %s", s.Symbol(), said(run))
		}
	}
	t.Logf("%d dumps, %.0f %% of the tank; EC setpoints %+v; analyses %+v\n%s", run.Dumps, 100*run.Dumped, run.Setpoint, run.Analyses, said(run))
	if is := run.Dumps > 0; is != w.dumps {
		t.Errorf("%d dumps; want some: %v", run.Dumps, w.dumps)
	}
	if judged < 1 || len(run.Analyses) < 1 || !run.Analyses[0].Accepted {
		t.Errorf("%d ions judged, analyses %+v", judged, run.Analyses)
	}
}

// said is what the month says of dumps.
func said(run *MonthRun) string {
	var b strings.Builder
	for _, d := range run.due() {
		fmt.Fprintf(&b, "day %.1f: %s\n", d.Day, d.Text)
	}
	return b.String()
}

// firstTank is the sample farm without its second tank, which no month judges.
func firstTank(sample string) string {
	sample = sample[:strings.LastIndex(sample, "\n[[tank]]\n")]
	for _, own := range []string{"acid-nursery", "base-nursery"} {
		from := strings.Index(sample, "\n[[pump]]\nname = \""+own+"\"")
		sample = sample[:from] + sample[from+1+strings.Index(sample[from+1:], "\n[[pump]]"):]
	}
	return sample
}

// sampleOn is the first tank of the sample farm on another source water.
func sampleOn(analysis, alkalinity, ec string) []byte {
	var b strings.Builder
	inside := ""
	for line := range strings.Lines(firstTank(string(deploy.Sample))) {
		switch key, _, _ := strings.Cut(line, " "); {
		case strings.HasPrefix(line, "["):
			inside = strings.TrimSpace(strings.SplitN(line, "#", 2)[0])
			b.WriteString(line)
			if inside == "[tank.recipe.water]" {
				b.WriteString(analysis + "\n\n")
			}
		case inside == "[tank.recipe.water]":
		case inside == "[tank.top_up]" && key == "alkalinity":
			fmt.Fprintf(&b, "alkalinity = %q\n", alkalinity+" meq/L")
		case inside == "[tank.top_up]" && key == "ec":
			fmt.Fprintf(&b, "ec = %q\n", ec+" mS/cm")
		default:
			b.WriteString(line)
		}
	}
	return []byte(b.String())
}
