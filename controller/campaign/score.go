package campaign

import (
	"math"
	"slices"
	"time"

	"leat/dosing"
)

// How a night is scored stands in doc.go: true bulk values every ten seconds.
const (
	sampleEvery = 10 * time.Second
	scoreFrom   = time.Hour // shares and IAE count from here on
	settledFor  = 30 * time.Minute
)

// Figure is one quantity of one tank over one night.
type Figure struct {
	InBand, InWarn float64 // share of the time from hour 1 on
	IAE            float64 // pH·h or mS/cm·h, from hour 1 on
	Overshoot      float64 // beyond the setpoint, away from the start
	SettleMinutes  float64 // negative: started inside the band
}

// Score is one tank over one night.
type Score struct {
	PH, EC     Figure
	Acid, Base float64 // meq truly given
	Doses      int
	Unsolved   int // speciations that failed
}

// follower follows one quantity through the night.
type follower struct {
	band, warn       float64
	night            time.Duration
	side             float64 // of the start: above is 1
	begun, crossed   bool
	insideSince      time.Duration
	inside           bool
	settled          bool
	in, inWarn, seen int
	figure           Figure
}

// follow takes the true value less the effective setpoint at a moment of the night.
func (f *follower) follow(at time.Duration, off float64) {
	if !f.begun {
		f.begun = true
		f.side = math.Copysign(1, off)
		f.figure.SettleMinutes = f.night.Minutes()
		if math.Abs(off) <= f.band {
			f.figure.SettleMinutes, f.settled = -1, true
		}
	}
	if off*f.side <= 0 {
		f.crossed = true
	}
	if f.crossed {
		f.figure.Overshoot = max(f.figure.Overshoot, -off*f.side)
	}
	inside := math.Abs(off) <= f.band
	switch {
	case inside && !f.inside:
		f.insideSince = at
	case inside && !f.settled && at-f.insideSince >= settledFor:
		f.settled = true
		f.figure.SettleMinutes = f.insideSince.Minutes()
	}
	f.inside = inside
	if at <= scoreFrom {
		return
	}
	f.seen++
	if inside {
		f.in++
	}
	if math.Abs(off) <= f.warn {
		f.inWarn++
	}
	f.figure.IAE += math.Abs(off) * sampleEvery.Hours()
}

func (f *follower) end() Figure {
	if f.seen > 0 {
		f.figure.InBand, f.figure.InWarn = float64(f.in)/float64(f.seen), float64(f.inWarn)/float64(f.seen)
	}
	return f.figure
}

// scorer follows one tank.
type scorer struct{ ph, ec follower }

func newScorer(night time.Duration) *scorer {
	return &scorer{ph: follower{band: dosing.StartBand.PH, warn: dosing.WarnBand.PH, night: night},
		ec: follower{band: dosing.StartBand.EC, warn: dosing.WarnBand.EC, night: night}}
}

func (s *scorer) sample(at time.Duration, ph, ec float64, target dosing.Target) {
	s.ph.follow(at, ph-float64(target.PH))
	s.ec.follow(at, ec-float64(target.EC))
}

// quantile is the value of the nearest rank; NaN of nothing.
func quantile(x []float64, q float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	sorted := slices.Clone(x)
	slices.Sort(sorted)
	return sorted[min(len(sorted)-1, int(q*float64(len(sorted))))]
}

func mean(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}

// Summary is one quantity over many nights.
type Summary struct {
	InBandMean   float64 `json:"in_band_mean"`
	InBandP5     float64 `json:"in_band_p5"`
	InWarnMean   float64 `json:"in_warn_mean"`
	IAE          float64 `json:"iae"` // sum over the nights
	OvershootP95 float64 `json:"overshoot_p95"`
	OvershootMax float64 `json:"overshoot_max"`
	SettleP50    float64 `json:"settle_p50_min"` // NaN when none started outside
	SettleP95    float64 `json:"settle_p95_min"`
}

func summarise(scores []Score, of func(*Score) *Figure) Summary {
	var in, warn, over, settle []float64
	var s Summary
	for i := range scores {
		f := of(&scores[i])
		in, warn, over = append(in, f.InBand), append(warn, f.InWarn), append(over, f.Overshoot)
		s.IAE += f.IAE
		if f.SettleMinutes >= 0 {
			settle = append(settle, f.SettleMinutes)
		}
	}
	s.InBandMean, s.InBandP5, s.InWarnMean = mean(in), quantile(in, 0.05), mean(warn)
	s.OvershootP95, s.OvershootMax = quantile(over, 0.95), quantile(over, 1)
	s.SettleP50, s.SettleP95 = quantile(settle, 0.5), quantile(settle, 0.95)
	return s
}

func ofPH(s *Score) *Figure { return &s.PH }
func ofEC(s *Score) *Figure { return &s.EC }

// counter is the reagent that was spent against the other: the lesser of acid and
// base of each night, meq.
func counter(scores []Score) float64 {
	sum := 0.0
	for i := range scores {
		sum += min(scores[i].Acid, scores[i].Base)
	}
	return sum
}
