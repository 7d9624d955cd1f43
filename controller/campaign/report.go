package campaign

import (
	"encoding/binary"
	"fmt"
	"hash/fnv"
	"math"
	"slices"
	"time"

	"leat/dosing"
	"leat/safety"
)

// Report is the result of a rehearsal, as leat rehearse -json prints it.
type Report struct {
	Set        string       `json:"set"`
	Nights     int          `json:"nights"`
	Seed       uint64       `json:"seed"`
	Faults     string       `json:"faults"`
	Without    string       `json:"without,omitempty"`
	Hours      float64      `json:"hours"`
	Redrawn    int          `json:"redrawn"`
	PH         PHReport     `json:"ph"`
	EC         ECReport     `json:"ec"`
	Alarms     AlarmReport  `json:"alarms"`
	Invariants Judgement    `json:"invariants"`
	Harm       *HarmReport  `json:"by_doses,omitempty"`
	People     *PeopleCount `json:"people,omitempty"`
	Speed      Speed        `json:"speed"`
	TraceHash  string       `json:"trace_hash"`
	Baselines  []LawReport  `json:"baselines,omitempty"`
	Outcomes   []*Outcome   `json:"-"`
	Worst      []WorstNight `json:"worst_nights"`
}

// PHReport is pH over all tanks and nights. Ratios are null without baselines.
type PHReport struct {
	InBandMean    float64 `json:"in_band_mean"`
	InBandP5      float64 `json:"in_band_p5"`
	InWarnMean    float64 `json:"in_warn_mean"`
	IAE           float64 `json:"iae_ph_h"`
	IAEPerSeer    *Ratio  `json:"iae_per_perfect_knowledge"`
	IAEPerTimer   *Ratio  `json:"iae_per_timer"`
	OvershootP95  float64 `json:"overshoot_p95"`
	OvershootMax  float64 `json:"overshoot_max"`
	SettleP50     *Ratio  `json:"settle_p50_min"`
	SettleP95     *Ratio  `json:"settle_p95_min"`
	SettleP50Unit *Ratio  `json:"settle_p50_mixing,omitempty"` // in units of θ + 3τ
	SettleP95Unit *Ratio  `json:"settle_p95_mixing,omitempty"`
	Counter       float64 `json:"counter_reagent_meq"`
	CounterPer    *Ratio  `json:"counter_reagent_per_perfect_knowledge"`
}

// ECReport is the same of EC.
type ECReport struct {
	InBandMean   float64 `json:"in_band_mean"`
	InBandP5     float64 `json:"in_band_p5"`
	InWarnMean   float64 `json:"in_warn_mean"`
	IAE          float64 `json:"iae_ms_per_cm_h"`
	IAEPerSeer   *Ratio  `json:"iae_per_perfect_knowledge"`
	IAEPerTimer  *Ratio  `json:"iae_per_timer"`
	OvershootP95 float64 `json:"overshoot_p95"`
	OvershootMax float64 `json:"overshoot_max"`
	SettleP50    *Ratio  `json:"settle_p50_min"`
	SettleP95    *Ratio  `json:"settle_p95_min"`
}

// Ratio is a number that may not exist: nil is null.
type Ratio float64

func ratio(x float64) *Ratio {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	r := Ratio(x)
	return &r
}

// AlarmReport counts alarms. Recall is the share of the injected faults that could
// show and were named by what should name them, RecallDetectable that of all of kinds that any reading shows, whether or not they could show in their night; null
// without faults.
type AlarmReport struct {
	P1             int     `json:"p1"`
	P2             int     `json:"p2"`
	PerNightMedian float64 `json:"per_night_median"`
	Recall         *Ratio  `json:"recall"`
	// RecallDetectable counts what was lost for want of a dose or of time, too.
	RecallDetectable *Ratio `json:"recall_detectable"`
	Injected         int    `json:"faults_injected"`
	Detectable       int    `json:"faults_detectable"`
	Could            int    `json:"faults_that_could_show"`
	Found            int    `json:"faults_named"`
	FalseInhibit     *Ratio `json:"spurious_trips_per_100_nights"`
	// Called are the alarms of nights without a fault, by priority and cause, with the seeds of
	// their nights.
	Called map[string][]uint64 `json:"called_without_a_fault,omitempty"`
	// FalseCauses are what inhibited without a fault, and how often.
	FalseCauses map[string]int `json:"spurious_trip_causes,omitempty"`
	Kinds       []KindReport   `json:"faults,omitempty"`
}

// Judgement is what became of the invariants.
type Judgement struct {
	Checked    []int      `json:"checked"`
	Violations int        `json:"violations"`
	First      *Violation `json:"first"`
	// Smallest are the faults of the first violation's night that it takes, and Replay
	// the command that plays them.
	Smallest string `json:"smallest_faults,omitempty"`
	// Farm is all that the violation takes.
	Farm   *Part  `json:"smallest_farm,omitempty"`
	Replay string `json:"replay,omitempty"`
}

// Speed is how fast it went.
type Speed struct {
	PerCore *Ratio `json:"sim_hours_per_wall_second_per_core"`
}

// LawReport is a baseline's own figures.
type LawReport struct {
	Law string  `json:"law"`
	PH  Summary `json:"ph"`
	EC  Summary `json:"ec"`
	// Counter is the reagent spent against the other, meq.
	Counter float64 `json:"counter_reagent_meq"`
}

// WorstNight is a night worth a look.
type WorstNight struct {
	Night  int     `json:"night"`
	Seed   uint64  `json:"seed"`
	Tank   string  `json:"tank,omitempty"` // of a farm with several
	InBand float64 `json:"ph_in_band"`
}

func (o *Options) report(set *Set, outcomes []*Outcome) *Report {
	r := &Report{Set: set.Name, Nights: o.Nights, Seed: o.Seed, Faults: o.Faults, Without: o.Without, Outcomes: outcomes}
	if o.Farm != nil {
		r.Set = o.Farm.Name
	}
	r.Invariants.Checked = Checked()
	var ours, timers, waiters, seers []Score
	h := fnv.New64a()
	played := 0.0
	for _, out := range outcomes {
		ours = append(ours, out.Scores...)
		if out.Timer != nil {
			timers, waiters, seers = append(timers, *out.Timer), append(waiters, *out.WaitAndLook), append(seers, *out.Seer)
		}
		r.add(out)
		played += out.Hours
		if out.Night%twiceEvery == 0 {
			played += out.Hours
		}
		h.Write(binary.LittleEndian.AppendUint64(nil, out.Hash))
	}
	slices.SortStableFunc(r.Worst, func(a, b WorstNight) int {
		switch {
		case a.InBand < b.InBand:
			return -1
		case a.InBand > b.InBand:
			return 1
		}
		return 0
	})
	r.Worst = r.Worst[:min(len(r.Worst), 5)]
	r.TraceHash = fmt.Sprintf("%016x", h.Sum64())
	r.scores(ours, timers, seers)
	r.alarms(outcomes)
	r.harm(outcomes)
	r.settleInMixingTimes(o, set, outcomes)
	for _, law := range []struct {
		name   string
		scores []Score
	}{{"timer", timers}, {"wait-and-look", waiters}, {"perfect-knowledge", seers}} {
		if len(law.scores) > 0 {
			r.Baselines = append(r.Baselines, LawReport{law.name, finite(summarise(law.scores, ofPH)), finite(summarise(law.scores, ofEC)), counter(law.scores)})
		}
	}
	if o.Clock != nil && !o.Baselines {
		r.Speed.PerCore = ratio(played / o.Clock().Seconds())
	}
	return r
}

// add counts one night.
func (r *Report) add(out *Outcome) {
	r.Hours += out.Hours
	r.Redrawn += out.Redrawn
	r.Invariants.Violations += len(out.Violations)
	if r.Invariants.First == nil && len(out.Violations) > 0 {
		r.Invariants.First = &out.Violations[0]
	}
	if out.People != nil {
		if r.People == nil {
			r.People = &PeopleCount{}
		}
		r.People.add(out.People)
	}
	for i := range out.Scores {
		w := WorstNight{Night: out.Night, Seed: out.Seed, InBand: out.Scores[i].PH.InBand}
		if len(out.Scores) > 1 {
			w.Tank = out.Tanks[i]
		}
		r.Worst = append(r.Worst, w)
	}
}

// finite makes a summary that JSON can hold: a settling time that does not exist
// is negative.
func finite(s Summary) Summary {
	for _, x := range []*float64{&s.SettleP50, &s.SettleP95} {
		if math.IsNaN(*x) {
			*x = -1
		}
	}
	return s
}

func (r *Report) scores(ours, timers, seers []Score) {
	ph, ec := summarise(ours, ofPH), summarise(ours, ofEC)
	r.PH = PHReport{InBandMean: ph.InBandMean, InBandP5: ph.InBandP5, InWarnMean: ph.InWarnMean, IAE: ph.IAE, OvershootP95: ph.OvershootP95,
		OvershootMax: ph.OvershootMax, SettleP50: ratio(ph.SettleP50), SettleP95: ratio(ph.SettleP95), Counter: counter(ours)}
	r.EC = ECReport{InBandMean: ec.InBandMean, InBandP5: ec.InBandP5, InWarnMean: ec.InWarnMean, IAE: ec.IAE, OvershootP95: ec.OvershootP95,
		OvershootMax: ec.OvershootMax, SettleP50: ratio(ec.SettleP50), SettleP95: ratio(ec.SettleP95)}
	if len(seers) == 0 {
		return
	}
	r.PH.IAEPerSeer, r.PH.IAEPerTimer = ratio(ph.IAE/summarise(seers, ofPH).IAE), ratio(ph.IAE/summarise(timers, ofPH).IAE)
	r.EC.IAEPerSeer, r.EC.IAEPerTimer = ratio(ec.IAE/summarise(seers, ofEC).IAE), ratio(ec.IAE/summarise(timers, ofEC).IAE)
	r.PH.CounterPer = ratio(counter(ours) / counter(seers))
}

// settleInMixingTimes is the set slow's own figure: settling in units of θ + 3τ.
func (r *Report) settleInMixingTimes(o *Options, set *Set, outcomes []*Outcome) {
	if set.turnover[1] == 0 || o.Farm != nil {
		return
	}
	var units []float64
	for _, out := range outcomes {
		if minutes := out.Scores[0].PH.SettleMinutes; minutes >= 0 && out.Mixing > 0 {
			units = append(units, minutes/out.Mixing.Minutes())
		}
	}
	r.PH.SettleP50Unit, r.PH.SettleP95Unit = ratio(quantile(units, 0.5)), ratio(quantile(units, 0.95))
}

func (r *Report) alarms(outcomes []*Outcome) {
	var all []float64
	faulty, needless := 0, 0
	for _, out := range outcomes {
		r.Alarms.P1 += out.Alarms.P1
		r.Alarms.P2 += out.Alarms.P2
		all = append(all, float64(out.Alarms.All))
		if out.Fault != "" {
			faulty++
		} else {
			needless += out.Alarms.FalseInhibits
			for called, times := range out.Alarms.Called {
				if r.Alarms.Called == nil {
					r.Alarms.Called = map[string][]uint64{}
				}
				for range times {
					r.Alarms.Called[called] = append(r.Alarms.Called[called], out.Seed)
				}
			}
			for _, cause := range out.Alarms.Causes {
				if r.Alarms.FalseCauses == nil {
					r.Alarms.FalseCauses = map[string]int{}
				}
				r.Alarms.FalseCauses[cause]++
			}
		}
	}
	r.Alarms.PerNightMedian = quantile(all, 0.5)
	if r.recall(outcomes); faulty == 0 {
		r.Alarms.FalseInhibit = ratio(100 * float64(needless) / float64(len(outcomes)))
	}
}

// expected are interlocks that belong to a night without a fault: waits, caps and
// what the farm does by itself.
var expected = map[safety.Cause]bool{safety.CauseObserving: true, safety.CauseStarting: true, safety.CauseFlood: true, safety.CauseDoseOpen: true,
	safety.CauseNodeBusy: true, safety.CauseDoseCap: true, safety.CauseEffectCap: true, safety.CauseInTransitCap: true, safety.CauseUnconfirmed: true, safety.CauseHourlyCap: true,
	safety.CauseDailyCap: true, safety.CauseContainerCap: true, safety.CauseAwayFromSetpoint: true, safety.CauseAcidBaseChangeover: true, safety.CauseMixingWait: true,
	safety.CauseIncompatibleWait: true, safety.CauseAnswerWait: true, safety.CauseOrderTooSmall: true, safety.CauseOutOfBand: true, safety.CauseECHigh: true,
	safety.CauseBufferScale: true, safety.CauseDosingBlockedLong: true, safety.CauseOperatorPause: true, safety.CauseOperatorStop: true}

// alarms counts a night's alarms by the minute, each once, and the interlocks that
// no fault explains.
func (t *Trace) alarms() AlarmCount {
	type key struct {
		cause safety.Cause
		since time.Duration
	}
	var c AlarmCount
	worst := map[key]safety.Priority{}
	for i := range t.Minutes {
		m := &t.Minutes[i]
		for _, a := range m.Alarms {
			if !a.State.Stands() {
				continue
			}
			k := key{a.Cause, a.Since.Up}
			if p, ok := worst[k]; !ok || a.Priority < p {
				worst[k] = a.Priority
			}
		}
	}
	c.Called = map[string]int{}
	for k, p := range worst {
		if p < safety.PriorityLog {
			c.Called[p.String()+" "+k.cause.String()]++
		}
		switch p {
		case safety.PriorityNow:
			c.P1++
		case safety.PriorityTonight:
			c.P2++
		}
		if p < safety.PriorityLog {
			c.All++
		}
	}
	work := map[dosing.TankID]bool{} // on probes or on the tank
	for _, trip := range t.Trips {
		if trip.Cause == safety.CauseMaintenance || trip.Cause == safety.CauseCleaning {
			work[trip.Tank] = trip.Active
		}
		if trip.Active && trip.At > t.Begins && !expected[trip.Cause] && !work[trip.Tank] {
			c.FalseInhibits++
			c.Causes = append(c.Causes, trip.Cause.String())
		}
	}
	return c
}
