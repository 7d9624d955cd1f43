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

// What the letter's farm is in truth: a tank that only observes, whose plants take so much acid
// an hour, and what a person pours in, once a day, and once without saying so.
const (
	letterBuffer = 0.4   // meq/L per pH
	letterRise   = 0.012 // meq/L/h
	letterFall   = 0.006 // mS/cm/h
	letterAcid   = 6.1   // meq/mL
	letterLitres = 1800.0
)

// weeks is ten days of that farm.
func weeks(strength float64) *diary.Past {
	begin := time.Date(2031, 3, 4, 0, 0, 0, 0, time.UTC)
	p := &diary.Past{From: begin, To: begin.AddDate(0, 0, 10), First: begin, Last: begin.AddDate(0, 0, 10), Zone: time.UTC, Minutes: map[string]diary.Minutes{},
		Station: &diary.Station{Name: "row", Zone: "UTC", Tanks: []diary.Tank{{Name: "pond", Litres: letterLitres, PH: []string{"pond/ph"}, EC: []string{"pond/ec"},
			Chemistry: diary.Chemistry{Buffer: letterBuffer, Setpoint: 5.8, Mixing: 12}}},
			Pumps: []diary.Pump{{Name: "acid", Liquid: "nitric acid 38 %", Role: "acid", Acid: letterAcid, Tanks: []string{"pond"}},
				{Name: "grow", Liquid: "grow mix", Role: "stock", EC: 0.1, Share: 1, Tanks: []string{"pond"}}}}}
	say := func(kind diary.Kind, name string, value float64) {
		p.Events = append(p.Events, diary.Event{At: begin, Tank: "pond", Kind: kind, Name: name, Value: value})
	}
	say(diary.KindRun, diary.RunBegins, 0)
	say(diary.KindSetpoint, diary.PH, 5.8)
	say(diary.KindSetpoint, diary.EC, 1.8)
	say(diary.KindInterlock, "observing", 1)
	say(diary.KindWant, "acid", 0)
	pH, ec := 6.3, 1.8
	for m := range 10 * 24 * 60 {
		at := begin.Add(time.Duration(m) * time.Minute)
		pour := func(pump string, ml float64, entered bool) {
			switch pump {
			case "acid":
				pH -= ml * letterAcid * strength / letterLitres / letterBuffer
			default:
				ec += ml * 0.1 / letterLitres
			}
			if entered {
				p.Entries = append(p.Entries, ledger.Entry{Kind: ledger.EntryChange, Change: ledger.ChangeHandDose, At: dosing.Instant{Wall: at}, Tank: "pond", Pump: pump,
					Volume: dosing.FromMillilitres(ml), Text: "H1-" + at.Format("021504"), By: "ada"})
			}
		}
		if m%1440 == 9*60 {
			pour("acid", 60, m/1440 != 5) // of the sixth day nobody said so
		}
		if m%1440 == 12*60 {
			pour("grow", 2300, true)
		}
		pH, ec = pH+letterRise/60/letterBuffer, ec-letterFall/60
		noise := 0.004 * math.Sin(float64(m)*1.7)
		p.Minutes["pond/ph"] = append(p.Minutes["pond/ph"], diary.Minute{At: at, Count: 12, Low: pH, Mean: pH + noise, Top: pH})
		p.Minutes["pond/ec"] = append(p.Minutes["pond/ec"], diary.Minute{At: at, Count: 12, Low: ec, Mean: ec + noise/4, Top: ec})
	}
	return p
}

func letter(t *testing.T, p *diary.Past) *report.LetterTank {
	t.Helper()
	l := report.LetterOf(p, p.Station)
	if len(l.Tanks) != 1 {
		t.Fatalf("tanks %+v", l.Tanks)
	}
	return &l.Tanks[0]
}

// What leat would have given is known here: the plants' need of ten days, and the way from 6.3
// to the setpoint.
func TestTheLetterSaysWhatWouldHaveBeenGiven(t *testing.T) {
	tank := letter(t, weeks(1))
	acid := (10*24*letterRise + (6.3-5.8)*letterBuffer) * letterLitres / letterAcid
	stock := 10 * 24 * letterFall * letterLitres / 0.1
	for _, want := range []struct {
		pump            string
		would, hand, no float64
		times           int
	}{{"acid", acid, 540, 600, 9}, {"grow", stock, 23000, 0, 10}} {
		for _, d := range tank.Liquids {
			if d.Pump == want.pump && (math.Abs(d.Would-want.would) > 0.03*want.would || d.HandML != want.hand || d.Hand != want.times || d.ML != 0) {
				t.Errorf("%+v, want about %.4g would, %g by hand", d, want.would, want.hand)
			}
		}
	}
	if got := tank.Observing.Duration(); got < 239*time.Hour {
		t.Errorf("observing %v", got)
	}
	if len(tank.Wanted) != 1 || tank.Wanted[0].Role != "acid" || tank.Wanted[0].Held.Duration() < 239*time.Hour {
		t.Errorf("wanted %+v", tank.Wanted)
	}
	if len(tank.Days) != 10 || tank.Days[3].NeedMeq == nil || math.Abs(*tank.Days[3].NeedMeq-24*letterRise) > 0.02 {
		t.Errorf("days %+v", tank.Days)
	}
	if !strings.Contains(tank.Verdict, "leat would have given about") || !strings.Contains(tank.Verdict, "1 addition seen and not entered") {
		t.Errorf("verdict %q", tank.Verdict)
	}
}

func TestTheLetterFindsWhatNobodyEntered(t *testing.T) {
	tank := letter(t, weeks(1))
	if len(tank.Seen) != 1 {
		t.Fatalf("seen %+v", tank.Seen)
	}
	s := tank.Seen[0]
	if want := time.Date(2031, 3, 9, 9, 0, 0, 0, time.UTC); s.At.Sub(want).Abs() > 20*time.Minute || s.Quantity != "ph" || math.Abs(s.ML-60) > 9 {
		t.Errorf("%+v, want 60 mL of acid about %v", s, want)
	}
}

// Acid of half its strength moves half of what is expected, and the letter says so.
func TestTheLetterSaysHowTheWaterAnswered(t *testing.T) {
	for _, strength := range []float64{1, 0.5} {
		tank, judged := letter(t, weeks(strength)), 0
		for _, a := range tank.Answers {
			want := strength
			if a.Pump == "grow" {
				want = 1
			}
			if a.Moved == nil {
				t.Errorf("strength %v: %+v is not judged", strength, a)
				continue
			}
			judged++
			if ratio := *a.Moved / a.Expected; math.Abs(ratio-want) > 0.1 {
				t.Errorf("strength %v: %+v answered %.2f", strength, a, ratio)
			}
		}
		if judged != 19 {
			t.Errorf("%d judged, want 19", judged)
		}
	}
}

// After other water was let in nothing is reckoned for that day, and the next begins anew.
func TestTheLetterLeavesOutADayOfOtherWater(t *testing.T) {
	p := weeks(1)
	p.Entries = append(p.Entries, ledger.Entry{Kind: ledger.EntryChange, Change: ledger.ChangeConfirmed, Tank: "pond", Text: "source", At: dosing.Instant{Wall: time.Date(2031, 3, 7, 15, 0, 0, 0, time.UTC)}})
	tank := letter(t, p)
	if d := tank.Days[3]; d.NeedMeq != nil || d.Untold == "" {
		t.Errorf("%+v", d)
	}
	if d := tank.Days[4]; d.NeedMeq == nil {
		t.Errorf("%+v", d)
	}
}
