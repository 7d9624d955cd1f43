package campaign

import (
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"time"

	"leat/controller"
	"leat/safety"
)

// Write prints the report for a person.
func (r *Report) Write(w io.Writer) error {
	p := &printer{w: w}
	again := ""
	if r.Redrawn > 0 {
		again = fmt.Sprintf("; %d more were drawn and left out, since leat check refuses such a farm", r.Redrawn)
	}
	p.line("%d nights of %s from seed %d, faults %s, %.0f h%s\n", r.Nights, r.Set, r.Seed, r.Faults, r.Hours, again)
	r.table(p)
	if r.PH.SettleP50Unit != nil {
		p.line("pH settles in %s (half), %s (95 of 100) times θ + 3τ", r.PH.SettleP50Unit, r.PH.SettleP95Unit)
	}
	if r.PH.IAEPerSeer != nil {
		p.line("leat ÷ perfect-knowledge: IAE of pH %s, of EC %s, acid against base %s; ÷ timer: IAE of pH %s, of EC %s",
			r.PH.IAEPerSeer, r.EC.IAEPerSeer, r.PH.CounterPer, r.PH.IAEPerTimer, r.EC.IAEPerTimer)
	}
	p.line("")
	for _, called := range slices.Sorted(maps.Keys(r.Alarms.Called)) {
		seeds := r.Alarms.Called[called]
		p.line("called without a fault: %s, %d times; nights of seeds %d", called, len(seeds), seeds[:min(len(seeds), 5)])
	}
	p.line("alarms: now %d, tonight %d, median a night %.0f; recall %s; spurious trips in 100 nights %s", r.Alarms.P1, r.Alarms.P2, r.Alarms.PerNightMedian, r.Alarms.Recall, r.Alarms.FalseInhibit)
	if len(r.Alarms.FalseCauses) > 0 {
		p.line("    they were: %v", r.Alarms.FalseCauses)
	}
	r.kinds(p)
	r.Harm.write(p)
	r.People.write(p)
	p.line("invariants %s: %d violations", strings.Trim(fmt.Sprint(r.Invariants.Checked), "[]"), r.Invariants.Violations)
	if v := r.Invariants.First; v != nil {
		p.line("    first: %v", v)
		if r.Invariants.Smallest != "" {
			p.line("    the faults that it takes: %s", r.Invariants.Smallest)
		}
		p.line("    look at it with: %s", r.Invariants.Replay)
	}
	var lowest []string
	for _, n := range r.Worst {
		where := fmt.Sprintf("%.3f in night %d", n.InBand, n.Night)
		if n.Tank != "" {
			where += " of " + n.Tank
		}
		lowest = append(lowest, where)
	}
	p.line("pH least in band: %s; -night K shows one, with -trace or -picture", strings.Join(lowest, ", "))
	if r.Speed.PerCore != nil {
		p.line("%s simulated hours per second of processor time", r.Speed.PerCore)
	}
	p.line("trace hash %s", r.TraceHash)
	return p.err
}

// table has a row for leat and one for each baseline.
func (r *Report) table(p *printer) {
	ours := LawReport{Law: "leat", Counter: r.PH.Counter,
		PH: Summary{InBandMean: r.PH.InBandMean, InBandP5: r.PH.InBandP5, IAE: r.PH.IAE, OvershootP95: r.PH.OvershootP95, OvershootMax: r.PH.OvershootMax,
			SettleP50: r.PH.SettleP50.orNone(), SettleP95: r.PH.SettleP95.orNone()},
		EC: Summary{InBandMean: r.EC.InBandMean, InBandP5: r.EC.InBandP5, IAE: r.EC.IAE}}
	const row = "%-12s %14s %15s %18s %8s %11s  %16s %9s"
	p.line(row, "", "pH in ±0.1", "overshoot", "settles, min", "IAE", "acid ↔ base", "EC in ±0.05", "IAE")
	p.line(row, "", "mean / worst", "p95 / most", "half / 95 %", "pH·h", "meq", "mean / worst", "mS/cm·h")
	for _, law := range append([]LawReport{ours}, r.Baselines...) {
		p.line(row, law.Law, pair("%.3f", law.PH.InBandMean, law.PH.InBandP5), pair("%.3f", law.PH.OvershootP95, law.PH.OvershootMax),
			pair("%.1f", law.PH.SettleP50, law.PH.SettleP95), fmt.Sprintf("%.2f", law.PH.IAE), fmt.Sprintf("%.0f", law.Counter),
			pair("%.3f", law.EC.InBandMean, law.EC.InBandP5), fmt.Sprintf("%.2f", law.EC.IAE))
	}
}

// pair prints two figures; below zero there is none.
func pair(format string, a, b float64) string {
	one := func(v float64) string {
		if !(v >= 0) {
			return "–"
		}
		return fmt.Sprintf(format, v)
	}
	return one(a) + " / " + one(b)
}

// orNone is the number, or one below zero where there is none.
func (r *Ratio) orNone() float64 {
	if r == nil {
		return -1
	}
	return float64(*r)
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
		p.line("tank %s: %.0f L, θ %v, τ %v, commissioned scale %.2f, top-up %.2f meq/L", t.Name, float64(t.Volume), t.DeadTime, t.TimeConstant, t.BufferScale, t.TopUp.Alkalinity)
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
