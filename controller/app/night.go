package app

import (
	"time"

	"leat/controller/report"
	"leat/controller/web"
)

// night is what the record tells of the hours before a time, for the strips of the page.
func (a *App) night(from, to time.Time) (map[string]*web.Night, error) {
	past, err := a.db.Lately(from, to)
	if err != nil {
		return nil, err
	}
	told := report.Of(past, "")
	nights := map[string]*web.Night{}
	for i := range told.Tanks {
		t := &told.Tanks[i]
		night := &web.Night{From: from, To: to, Sentence: t.Verdict, PH: traceOf(&t.PH), EC: traceOf(&t.EC)}
		for k := range t.Liquids {
			l := &t.Liquids[k]
			lane := web.Lane{Pump: l.Pump, Liquid: l.Liquid, Role: l.Role, ML: l.ML + l.HandML}
			for _, d := range t.Doses {
				if d.Pump == l.Pump && d.ML > 0 {
					lane.Doses = append(lane.Doses, web.Dose{At: d.At, ML: d.ML, Sure: d.Outcome != "uncertain" && d.Outcome != "open"})
				}
			}
			night.Lanes = append(night.Lanes, lane)
		}
		for _, s := range t.Stood {
			night.Held = append(night.Held, web.Held{From: s.From, To: s.To, Cause: s.Cause})
		}
		nights[t.Name] = night
	}
	return nights, nil
}

func traceOf(h *report.Held) (trace web.Trace) {
	trace.Band = h.Band
	for _, p := range h.Line {
		trace.Line = append(trace.Line, web.Point(p))
	}
	for _, p := range h.Set {
		trace.Set = append(trace.Set, web.Point(p))
	}
	return trace
}
