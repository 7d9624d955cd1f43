package campaign

import (
	"encoding/xml"
	"errors"
	"io"
	"math"
	"strings"
	"testing"
	"time"

	"leat/controller/config"
	"leat/controller/sim"
	"leat/deploy"
	"leat/dosing/blend"
	ions "leat/dosing/ratio"
)

func sampleFarm(t *testing.T) *Farm {
	t.Helper()
	file, err := config.Parse("the sample farm", deploy.Sample, config.Env{})
	if err != nil {
		t.Fatal(err)
	}
	return farmFrom(file)
}

func farmFrom(file *config.File) *Farm {
	f := &Farm{Name: "the sample farm", Settings: &file.Settings, Topics: file.Topics, Wires: make([]sim.Wire, len(file.Settings.Safety.Inputs))}
	for i := range file.InputTopics {
		in := &file.InputTopics[i]
		set := &file.Settings.Safety.Inputs[in.Input]
		f.Wires[in.Input] = sim.Wire{Topic: in.Topic, Compensation: in.Compensation, Raw: true}
		feed := sim.Feed{Topic: in.Topic}
		feed.Input, feed.Tank, feed.Quantity, feed.Format, feed.Compensation = in.Input, set.Tank, set.Quantity, sim.PlainFormat(set.Quantity), in.Compensation
		f.Feeds = append(f.Feeds, feed)
	}
	return f
}

// A month at four times its pace: a week. leat rehearse -month plays it in full.
func TestFixedSharesDriftAndAnalysesKeepEveryMacroIonWithinFifteenPerCent(t *testing.T) {
	t.Parallel()
	w := &fiveWaters[1]
	farm := w.farm(t)
	r, err := Month{Seed: 1, Days: 7, Every: 84 * time.Hour, Pace: 4}.Play(farm)
	if err != nil {
		t.Fatal(err)
	}
	w.judge(t, farm, &r.Live)
	if off := math.Abs(r.Fixed.Worst.Off); off < 0.20 {
		t.Errorf("with fixed shares the worst ion is %.0f %% off: this month shows nothing", 100*off)
	}
	if w := r.Live.Worst; math.Abs(w.Off) > 0.15 {
		t.Errorf("with account and analyses %s is %+.0f %% off on day %.1f", w.Ion, 100*w.Off, w.Day)
	}
	for name, run := range map[string]*MonthRun{"fixed": &r.Fixed, "live": &r.Live} {
		if run.ECBand < 0.97 {
			t.Errorf("%s: EC is in band for %.3f of the time; the ratio is to be kept beside it", name, run.ECBand)
		}
	}
	if n := len(r.Live.Analyses); n < 3 || n > 5 || len(r.Fixed.Analyses) != 0 {
		t.Errorf("analyses: %+v and %+v; want the first, and one when the account wants it", r.Live.Analyses, r.Fixed.Analyses)
	}
	for _, a := range r.Live.Analyses {
		if !a.Accepted {
			t.Errorf("%+v", a)
		}
	}
	if r.Live.Within2 < 0.9 {
		t.Errorf("%.0f %% of the estimates lie within two standard uncertainties of the truth", 100*r.Live.Within2)
	}
	picture := r.Picture()
	decoder := xml.NewDecoder(strings.NewReader(picture))
	for {
		if _, err := decoder.Token(); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatalf("the picture is no SVG: %v", err)
		}
	}
	if n := strings.Count(picture, "<polyline"); n != 3*len(MonthIons)+2 {
		t.Errorf("the picture has %d curves, want both months of each ion, what was thought of it, and EC twice", n)
	}
	var text strings.Builder
	if err := r.Write(&text); err != nil || !strings.Contains(text.String(), "shares fixed") {
		t.Errorf("%q, %v", text.String(), err)
	}
}

func TestAMonthNeedsARecipe(t *testing.T) {
	f := sampleFarm(t)
	f.Settings.Tanks[0].Ratio = nil
	if _, err := (Month{}).Play(f); err == nil || !strings.Contains(err.Error(), "[tank.recipe]") {
		t.Errorf("%v; want what to state", err)
	}
}

func TestTheMonthSaysOfEachIonWhenADumpWasFirstDue(t *testing.T) {
	calcium, sulfur := ions.Dump{Ion: blend.Ca, Off: 0.41, Share: 0.3}, ions.Dump{Ion: blend.S, Off: 2}
	run := MonthRun{hours: []hourOfMonth{{day: 1}, {day: 2, dumps: []ions.Dump{calcium}}, {day: 3, dumps: []ions.Dump{calcium, sulfur}}}}
	all := run.due()
	if len(all) != 2 {
		t.Fatalf("%v", all)
	}
	if d := all[0]; d.Ion != "Ca" || d.Day != 2 || d.Share != 0.3 || !strings.Contains(d.Text, "30 % of the tank") {
		t.Errorf("%+v", d)
	}
	if d := all[1]; d.Ion != "S" || d.Day != 3 || !strings.Contains(d.Text, "only other water") {
		t.Errorf("%+v", d)
	}
}

func TestTheMonthSaysWhatWaterAndRowCannotReachAndJudgesTheOthers(t *testing.T) {
	fresh, _, err := fiveWaters[4].farm(t).Settings.Tanks[0].Ratio.Fresh()
	if err != nil {
		t.Fatal(err)
	}
	r := MonthReport{Live: MonthRun{hours: []hourOfMonth{{day: 3, off: [6]float64{-0.2, -0.12, 0.06, 0.3, 0.7, 3.6}}}}}
	r.judge(fresh)
	if r.Held.Ion != "P" || r.Held.Off != -0.12 {
		t.Errorf("the worst of what is reached: %+v", r.Held)
	}
	var text strings.Builder
	if err := r.Write(&text); err != nil || !strings.Contains(text.String(), "S is +277 % off: water brings it") || !strings.Contains(text.String(), "reach, the worst of all hours is P -12 %, day 3") {
		t.Errorf("%v\n%s", err, text.String())
	}
}
