package campaign

import (
	"fmt"
	"io"
	"time"

	"leat/controller"
	"leat/safety"
)

// Write prints the report for a person.
func (r *Report) Write(w io.Writer) error {
	p := &printer{w: w}
	p.line("%d nights of set %s from seed %d, faults %s: %.0f h; %d nights drawn again because leat check would refuse them",
		r.Nights, r.Set, r.Seed, r.Faults, r.Hours, r.Redrawn)
	p.line("pH  in band (±0.1) %.3f, worst 5 %% of nights %.3f, in warn band %.3f; overshoot p95 %.3f, max %.3f; settles in %s min (p50), %s (p95)",
		r.PH.InBandMean, r.PH.InBandP5, r.PH.InWarnMean, r.PH.OvershootP95, r.PH.OvershootMax, r.PH.SettleP50, r.PH.SettleP95)
	p.line("    IAE %.2f pH·h; ÷ clairvoyant %s, ÷ timer %s; counter-reagent %.1f meq, ÷ clairvoyant %s", r.PH.IAE, r.PH.IAEPerSeer, r.PH.IAEPerTimer, r.PH.Counter, r.PH.CounterPer)
	p.line("EC  in band (±0.05 mS/cm) %.3f, worst 5 %% %.3f; overshoot p95 %.3f; settles in %s min (p50), %s (p95); IAE ÷ clairvoyant %s, ÷ timer %s",
		r.EC.InBandMean, r.EC.InBandP5, r.EC.OvershootP95, r.EC.SettleP50, r.EC.SettleP95, r.EC.IAEPerSeer, r.EC.IAEPerTimer)
	if r.PH.SettleP50Unit != nil {
		p.line("    pH settles in %s (p50), %s (p95) times θ + 3τ", r.PH.SettleP50Unit, r.PH.SettleP95Unit)
	}
	for _, y := range r.Yardsticks {
		p.line("%-12s pH in band %.3f/%.3f, IAE %.2f, overshoot p95 %.3f max %.3f, settle %.1f/%.1f min, counter-reagent %.1f meq; EC in band %.3f/%.3f, IAE %.2f",
			y.Law, y.PH.InBandMean, y.PH.InBandP5, y.PH.IAE, y.PH.OvershootP95, y.PH.OvershootMax, y.PH.SettleP50, y.PH.SettleP95, y.Counter,
			y.EC.InBandMean, y.EC.InBandP5, y.EC.IAE)
	}
	p.line("alarms: now %d, tonight %d, median a night %.0f; recall %s; needless inhibits in 100 nights %s", r.Alarms.P1, r.Alarms.P2, r.Alarms.PerNightMedian, r.Alarms.Recall, r.Alarms.FalseInhibit)
	if len(r.Alarms.FalseCauses) > 0 {
		p.line("    they were: %v", r.Alarms.FalseCauses)
	}
	r.kinds(p)
	p.line("invariants %v: %d violations", r.Invariants.Checked, r.Invariants.Violations)
	if v := r.Invariants.First; v != nil {
		p.line("    first: %v", v)
		if r.Invariants.Smallest != "" {
			p.line("    the faults that it takes: %s", r.Invariants.Smallest)
		}
		p.line("    look at it with: %s", r.Invariants.Replay)
	}
	for _, n := range r.Worst {
		p.line("    worst: night %d (seed %d), pH in band %.3f", n.Night, n.Seed, n.InBand)
	}
	if r.Speed.PerCore != nil {
		p.line("%s simulated hours per second of processor time", r.Speed.PerCore)
	}
	p.line("trace hash %s", r.TraceHash)
	return p.err
}

type printer struct {
	w   io.Writer
	err error
}

func (p *printer) line(format string, args ...any) {
	if p.err == nil {
		_, p.err = fmt.Fprintf(p.w, format+"\n", args...)
	}
}

func (r *Ratio) String() string {
	if r == nil {
		return "–"
	}
	return fmt.Sprintf("%.3g", float64(*r))
}

// Follow plays one night and prints what the daemon did and why, line by line, with
// the truth beside it.
func (o *Options) Follow(night int, w io.Writer) (*Trace, *Outcome, error) {
	set, err := o.check()
	if err != nil {
		return nil, nil, err
	}
	s, fault, err := o.Night(&set, night)
	if err != nil {
		return nil, nil, err
	}
	p := &printer{w: w}
	p.line("night %d, seed %d, faults: %s", night, s.Seed, orNone(fault))
	for i := range s.Settings.Safety.Tanks {
		t := &s.Settings.Safety.Tanks[i]
		p.line("tank %s: %.0f L, θ %v, τ %v, commissioned scale %.2f, top-up %.2f meq/L", t.Name, float64(t.Volume), t.DeadTime, t.Lag, t.BufferScale, t.TopUp.Alkalinity)
	}
	played, err := s.run(func(at time.Duration, n controller.Notice) {
		what := n.Text
		switch n.Kind {
		case controller.NoticeDose:
			what = fmt.Sprintf("%s %s %s %s", s.Settings.Safety.Pumps[n.Pump].Name, n.Volume, n.Outcome, n.Text)
		case controller.NoticeInterlock, controller.NoticeAlarm:
			if n.Cause == safety.CauseDoseOpen {
				return
			}
			came := "gone"
			if n.Active {
				came = "came"
			}
			what = fmt.Sprintf("%s %s %s", n.Cause, came, n.Text)
		}
		p.line("%10v  %s", at.Round(time.Second), what)
	})
	if err != nil {
		return nil, nil, err
	}
	for i := range played.trace.Samples {
		x := &played.trace.Samples[i]
		if at := x.At - played.trace.Begins; at%(10*time.Minute) == 0 {
			p.line("%10v  tank %d truly pH %.3f EC %.3f, wanted %.2f and %.2f", at, x.Tank, x.PH, x.EC, x.Target.PH, x.Target.EC)
		}
	}
	out := &Outcome{Night: night, Seed: s.Seed, Fault: fault, Hours: s.Hours.Hours(), Scores: played.scores, Hash: played.hash}
	if out.Violations, err = s.judge(played, night); err != nil {
		return nil, nil, err
	}
	for _, v := range out.Violations {
		p.line("%v", v)
	}
	p.line("trace hash %016x", out.Hash)
	return played.trace, out, p.err
}

func orNone(s string) string {
	if s == "" {
		return "none"
	}
	return s
}
