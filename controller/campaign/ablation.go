package campaign

import (
	"context"
	"io"

	"leat/dosing/loop"
)

// Ablate plays the same nights under the law as shipped and without each of its
// parts. Every part must be worth its place.
func Ablate(ctx context.Context, o Options) ([]*Report, error) {
	var all []*Report
	tell := o.Progress
	for w := loop.WithoutNothing; w < loop.WithoutCount; w++ {
		o.Without = ""
		if w != loop.WithoutNothing {
			o.Without = w.String()
		}
		if tell != nil {
			before := len(all) * o.Nights
			o.Progress = func(done int) { tell(before + done) }
		}
		r, err := Rehearse(ctx, o)
		if err != nil {
			return nil, err
		}
		all = append(all, r)
	}
	return all, nil
}

// Ablations is how many times Ablate plays the nights.
const Ablations = int(loop.WithoutCount)

// WriteAblation prints the reports of Ablate as a table.
func WriteAblation(w io.Writer, reports []*Report) error {
	p := &printer{w: w}
	p.line("%-12s  %-13s  %8s  %-13s  %-13s  %12s  %-13s  %8s  %10s", "without", "pH in band", "IAE", "overshoot", "settle, min", "counter, meq", "EC in band", "IAE EC", "violations")
	for _, r := range reports {
		without := r.Without
		if without == "" {
			without = "nothing"
		}
		p.line("%-12s  %.3f / %.3f  %8.2f  %.3f / %.3f  %5s / %5s  %12.0f  %.3f / %.3f  %8.2f  %10d", without, r.PH.InBandMean, r.PH.InBandP5, r.PH.IAE,
			r.PH.OvershootP95, r.PH.OvershootMax, r.PH.SettleP50, r.PH.SettleP95, r.PH.Counter, r.EC.InBandMean, r.EC.InBandP5, r.EC.IAE, r.Invariants.Violations)
	}
	if len(reports) > 0 {
		r := reports[0]
		p.line("%d nights of set %s from seed %d, faults %s; in band: mean / worst 5 %% of nights; overshoot: p95 / max; settle: p50 / p95", r.Nights, r.Set, r.Seed, r.Faults)
	}
	return p.err
}
