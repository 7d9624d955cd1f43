package campaign

import (
	"bytes"
	"context"
	"encoding/json"
	"encoding/xml"
	"errors"
	"io"
	"math"
	"strings"
	"testing"
	"time"

	"leat/dosing"
)

// short rehearses a few nights.
func short(t *testing.T, o Options) *Report {
	t.Helper()
	if o.Set == "" {
		o.Set = "standard"
	}
	if o.Faults == "" {
		o.Faults = "none"
	}
	r, err := Rehearse(context.Background(), o)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// oneNight plays the first night of a rehearsal, once.
func oneNight(t *testing.T, o Options) *played {
	t.Helper()
	if o.Faults == "" {
		o.Faults = "none"
	}
	set, err := SetNamed(o.Set)
	if err != nil {
		t.Fatal(err)
	}
	s, _, err := o.Night(&set, 0)
	if err != nil {
		t.Fatal(err)
	}
	p, err := s.run(nil)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func TestTheSameSeedIsTheSameCampaignWhateverTheWorkers(t *testing.T) {
	one, three := short(t, Options{Nights: 2, Seed: 5, Workers: 1}), short(t, Options{Nights: 2, Seed: 5, Workers: 3})
	if one.TraceHash != three.TraceHash {
		t.Errorf("one worker gives %s, three give %s", one.TraceHash, three.TraceHash)
	}
	if one.Outcomes[0].Hash == one.Outcomes[1].Hash {
		t.Error("seeds 5 and 6 are the same night")
	}
}

func TestNightsOfEverySetKeepTheInvariants(t *testing.T) {
	for _, set := range Sets() {
		t.Run(set.Name, func(t *testing.T) {
			t.Parallel()
			p := oneNight(t, Options{Set: set.Name, Seed: 20})
			for _, v := range Check(p.trace) {
				t.Error(v)
			}
			// Ponds of which nobody told look like a stock that is too strong, and stop it.
			for _, s := range p.scores {
				if !(s.PH.InBand > 0.5) || !(s.EC.InBand > 0.5) && set.Name != "untold" {
					t.Errorf("in band pH %.2f, EC %.2f", s.PH.InBand, s.EC.InBand)
				}
			}
		})
	}
}

func TestPerfectKnowledgeBeatsTheTimer(t *testing.T) {
	r := short(t, Options{Nights: 2, Seed: 30, Workers: 2, Baselines: true})
	laws := map[string]LawReport{}
	for _, y := range r.Baselines {
		laws[y.Law] = y
	}
	seer, timer := laws["perfect-knowledge"], laws["timer"]
	if !(seer.PH.IAE < timer.PH.IAE/2) || !(seer.EC.IAE < timer.EC.IAE) {
		t.Errorf("perfect-knowledge IAE %.2f and %.2f, timer %.2f and %.2f", seer.PH.IAE, seer.EC.IAE, timer.PH.IAE, timer.EC.IAE)
	}
	if !(seer.PH.InBandMean > 0.95) {
		t.Errorf("perfect-knowledge keeps pH in band for %.3f of the time: it does not see all", seer.PH.InBandMean)
	}
}

// The figures of a night whose course is known.
func TestScoresFollowTheDefinitions(t *testing.T) {
	s := newScorer(10 * time.Hour)
	target := dosing.Target{PH: 5.8, EC: 2}
	for at := time.Duration(0); at <= 10*time.Hour; at += sampleEvery {
		ph := 6.4
		switch {
		case at >= 90*time.Minute:
			ph = 5.75
		case at >= 30*time.Minute:
			ph = 5.65 // beyond the setpoint and out of the band
		}
		s.sample(at, ph, 1.98, target)
	}
	ph, ec := s.ph.end(), s.ec.end()
	near := func(what string, got, want float64) {
		t.Helper()
		if math.Abs(got-want) > 0.002 {
			t.Errorf("%s is %.4f, want %.4f", what, got, want)
		}
	}
	near("overshoot", ph.Overshoot, 0.15)
	near("settling", ph.SettleMinutes, 90)
	near("share in band", ph.InBand, 8.5/9)
	near("share in warn band", ph.InWarn, 1)
	near("IAE", ph.IAE, 0.5*0.15+8.5*0.05)
	near("settling of EC, which starts inside", ec.SettleMinutes, -1)
	near("IAE of EC", ec.IAE, 9*0.02)
}

// Independent draws of the set, each within its range.
func TestStandardNightsAreDrawnFromTheirRanges(t *testing.T) {
	wide := between{math.Inf(1), math.Inf(-1)}
	litres, ph := wide, wide
	for seed := uint64(0); seed < 300; seed++ {
		p := standard.draw(sourcesOf(seed))
		for _, r := range []struct {
			name      string
			v         float64
			low, high float64
		}{{"litres", p.litres, 20, 1000}, {"phosphate", p.phosphate, 0.3, 2.5}, {"alkalinity", p.alkalinity, 0.2, 5}, {"evaporation", p.evaporation, 0.001, 0.02},
			{"worth", p.worth, 0.003, 0.05}, {"wrong", p.wrong, 1.0 / 3, 3}, {"carbonate", p.carbonate, 0, 2}, {"flux", p.flux, -0.03, 0.1},
			{"exchange", p.exchange, 0.05, 1}, {"dead time", p.deadTime.Seconds(), 20, 180}, {"lag", p.lag.Seconds(), 30, 300}, {"noise", p.noise, 0.005, 0.03},
			{"start pH", p.startPH, 5.4, 6.6}, {"start EC", p.startEC, 0.6, 1}, {"EC", p.ec, 0.8, 2.6}, {"uptake", p.uptake, 0, 0.03}, {"celsius", p.celsius, 20, 24}} {
			if !(r.v >= r.low*0.99999-1e-9 && r.v <= r.high*1.00001+1e-9) {
				t.Errorf("seed %d: %s is %g, outside %g to %g", seed, r.name, r.v, r.low, r.high)
			}
		}
		litres = between{min(litres[0], p.litres), max(litres[1], p.litres)}
		ph = between{min(ph[0], p.startPH), max(ph[1], p.startPH)}
	}
	if litres[0] > 25 || litres[1] < 800 || ph[0] > 5.45 || ph[1] < 6.55 {
		t.Errorf("300 nights reach only from %.0f to %.0f L and from pH %.2f to %.2f", litres[0], litres[1], ph[0], ph[1])
	}
}

// The pumps of a drawn night do to the true water what they were sized for.
func TestPumpsOfADrawnNightAreSizedForTheTrueWater(t *testing.T) {
	for seed := uint64(0); seed < 20; seed++ {
		p := standard.draw(sourcesOf(seed))
		w, ok, err := solutionOf(p)
		if err != nil {
			t.Fatal(err)
		}
		if !ok {
			continue
		}
		acid := drawnPumpsOf(p, &w)[acidPump]
		worth := acid.MinDose.Millilitres() * acid.AcidPerML / p.litres / w.buffer
		if math.Abs(worth-p.worth) > 0.02*p.worth+0.001 {
			t.Errorf("seed %d: a smallest dose is worth %.4f pH, drawn was %.4f", seed, worth, p.worth)
		}
	}
}

func TestAFaultSetThatIsNotBuiltListsThoseThatAre(t *testing.T) {
	_, err := Rehearse(context.Background(), Options{Set: "standard", Nights: 1, Faults: "gremlins"})
	if err == nil || !strings.Contains(err.Error(), "pump-dead") || !strings.Contains(err.Error(), "one") {
		t.Errorf("want the list of faults that are built, got %v", err)
	}
	if _, err := Rehearse(context.Background(), Options{Set: "moon", Nights: 1, Faults: "none"}); err == nil || !strings.Contains(err.Error(), "standard") {
		t.Errorf("want the list of sets, got %v", err)
	}
}

func TestANightWithADeadPumpTellsSo(t *testing.T) {
	r := short(t, Options{Nights: 3, Seed: 40, Faults: "ph-silent", Workers: 2})
	if r.Alarms.Recall == nil || float64(*r.Alarms.Recall) < 1 {
		t.Errorf("of the nights whose pH probe falls silent %v raised an alarm", r.Alarms.Recall)
	}
	if r.Invariants.Violations > 0 {
		t.Errorf("%v", *r.Invariants.First)
	}
}

func TestReportAndPictureCanBeRead(t *testing.T) {
	o := Options{Set: "standard", Nights: 2, Seed: 3, Faults: "none", Workers: 2}
	r := short(t, o)
	text, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	var back map[string]any
	if err := json.Unmarshal(text, &back); err != nil {
		t.Fatal(err)
	}
	for _, key := range []string{"set", "nights", "seed", "faults", "hours", "ph", "ec", "alarms", "invariants", "speed", "trace_hash"} {
		if _, ok := back[key]; !ok {
			t.Errorf("the JSON has no %q", key)
		}
	}
	var out bytes.Buffer
	trace, outcome, err := o.Follow(1, &out)
	if err != nil {
		t.Fatal(err)
	}
	if outcome.Hash != r.Outcomes[1].Hash {
		t.Error("following a night changes it")
	}
	if !strings.Contains(out.String(), "acid") {
		t.Errorf("the trace of the night names no dose:\n%.300s", out.String())
	}
	picture := Picture(trace, 1, r)
	decoder := xml.NewDecoder(strings.NewReader(picture))
	for {
		if _, err := decoder.Token(); err != nil {
			if !errors.Is(err, io.EOF) {
				t.Errorf("the picture is no XML: %v", err)
			}
			break
		}
	}
}

func BenchmarkNightHoursPerSecond(b *testing.B) {
	s, err := standard.Scene(1)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := s.run(nil); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.N)*s.Hours.Hours()/b.Elapsed().Seconds(), "sim-h/s")
}

// Water that roots have made sour has little buffer left: a smallest dose that was
// fine at the setpoint looks too large by the present pH, and yet it must be given.
func TestBaseBringsBackWaterWhoseBufferAcidHasUsedUp(t *testing.T) {
	r := short(t, Options{Set: "ammonium", Nights: 1, Seed: 10018, Workers: 1})
	if s := r.Outcomes[0].Scores[0]; !(s.Base > 0) || !(s.PH.InWarn > 0.9) {
		t.Errorf("%.1f meq of base were given and pH was in its warn band for %.2f of the time", s.Base, s.PH.InWarn)
	}
}
