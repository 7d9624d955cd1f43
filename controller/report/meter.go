package report

import (
	"fmt"
	"math"
	"time"

	"leat/controller/diary"
	"leat/dosing"
	"leat/safety/ledger"
)

// meterEvery is how often a hand meter should be held beside a probe.
const meterEvery = 7 * 24 * time.Hour

// Metered is a hand meter's reading beside the probe's of the same minutes.
type Metered struct {
	At    time.Time `json:"at"`
	By    string    `json:"by,omitempty"`
	Meter float64   `json:"meter"`
	Probe *float64  `json:"probe,omitempty"` // nil = it read nothing then
}

// Trend is by how much a probe reads above the hand meter, on the mean and per week, each
// with one standard uncertainty.
type Trend struct {
	Mean    float64 `json:"mean"`
	MeanU   float64 `json:"mean_uncertainty"`
	PerWeek float64 `json:"per_week"`
	WeekU   float64 `json:"per_week_uncertainty"` // 0 = fewer than three tell of it
}

// meters finds the hand meter's readings of a record and what the probes read then.
func (r *Probes) meters(record Record) error {
	var read []ledger.Entry
	err := record.EachEntry(func(e ledger.Entry) error {
		if e.Change == ledger.ChangeMeter {
			read = append(read, e)
		}
		return nil
	})
	for i := 0; err == nil && i < len(read); i++ {
		var past *diary.Past
		if past, err = record.Past(read[i].At.Wall.Add(-3*time.Minute), read[i].At.Wall.Add(3*time.Minute)); err == nil {
			r.meter(&read[i], past)
		}
	}
	for i := range r.Probes {
		r.Probes[i].trend()
	}
	return err
}

// meter puts one entry beside the probes of its tank.
func (r *Probes) meter(e *ledger.Entry, past *diary.Past) {
	for i := range r.Probes {
		p := &r.Probes[i]
		if p.Tank != e.Tank || p.Quantity != e.Quantity.String() {
			continue
		}
		m := Metered{At: e.At.Wall.In(r.At.Location()), By: ledger.Printable(e.By), Meter: e.Value}
		if minutes := past.Minutes[p.Tank+"/"+p.Name]; len(minutes) > 0 {
			sum := 0.0
			for _, minute := range minutes {
				sum += minute.Mean / float64(len(minutes))
			}
			m.Probe = &sum
		}
		p.Metered = append(p.Metered, m)
	}
}

// trend fits the differences by a line.
func (p *Probe) trend() {
	var at, off []float64
	for _, m := range p.Metered {
		if m.Probe != nil {
			at, off = append(at, m.At.Sub(p.Metered[0].At).Hours()/24/7), append(off, *m.Probe-m.Meter)
		}
	}
	n := float64(len(off))
	if n == 0 {
		return
	}
	t, v, tt, tv := 0.0, 0.0, 0.0, 0.0
	for i := range off {
		t, v = t+at[i]/n, v+off[i]/n
	}
	for i := range off {
		tt, tv = tt+(at[i]-t)*(at[i]-t), tv+(at[i]-t)*(off[i]-v)
	}
	trend := &Trend{Mean: v}
	if n >= 3 && tt > 0 {
		trend.PerWeek = tv / tt
		rest := 0.0
		for i := range off {
			d := off[i] - v - trend.PerWeek*(at[i]-t)
			rest += d * d
		}
		sd := math.Sqrt(rest / (n - 2))
		trend.WeekU, trend.MeanU = sd/math.Sqrt(tt), sd/math.Sqrt(n)
	}
	p.Trend = trend
}

// MeterWords say how a probe stands beside the hand meter, and whether it is time again.
func (p *Probe) MeterWords(now time.Time) string {
	if len(p.Metered) == 0 {
		return fmt.Sprintf("never compared with a hand meter: leat act meter -tank %s -%s VALUE, once a week", p.Tank, p.Quantity)
	}
	last := p.Metered[len(p.Metered)-1]
	words := fmt.Sprintf("hand meter %d ×, last %s", len(p.Metered), last.At.Format("2006-01-02"))
	if last.Probe != nil {
		words += fmt.Sprintf(": it read %.2f where the meter read %.2f", *last.Probe, last.Meter)
	}
	if t := p.Trend; t != nil && t.WeekU > 0 {
		words += fmt.Sprintf("; %s ± %.3f above it on the mean, %s ± %.3f more each week", dosing.Signed(t.Mean, 3), t.MeanU, dosing.Signed(t.PerWeek, 3), t.WeekU)
		if math.Abs(t.PerWeek) > 2*t.WeekU {
			words += ": it drifts"
		}
	}
	if now.Sub(last.At) > meterEvery {
		words += "; compare it again"
	}
	return words
}
