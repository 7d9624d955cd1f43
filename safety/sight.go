package safety

import (
	"leat/dosing"
	"math"
	"time"
)

// own names the dose that is judged a second time.
type own struct {
	key uint64
	is  bool
}

var none own

// limit is the largest volume that one rule allows.
type limit struct {
	cause Cause
	most  dosing.Volume
}

// sight is all that the gate computes for one dose.
type sight struct {
	watch   *Watch
	now     dosing.Instant
	plan    dosing.Plan
	tank    *tankState
	pump    *dosing.Pump
	own     own
	looking bool    // for a person: nothing changes
	volume  float64 // L, the least plausible

	commissioned, floor float64 // buffer capacities, meq/L per pH
	credit              float64 // alkalinity that top-up brought and nothing has answered, meq/L
	transit             inTransit
	pH, ec              float64 // where the water will come to rest with what is in it

	hour, day dosing.Volume // counted, without the dose itself
	limits    [7]limit
	trip      Trip // what stands, when something stands
	wait      time.Duration
}

// most is the largest volume within every limit, or zero and the limit that leaves
// not even the smallest dose.
func (s *sight) most() (dosing.Volume, Cause) {
	cause, most := CauseDoseCap, dosing.Volume(math.MaxInt64)
	for i := range s.limits {
		if l := &s.limits[i]; l.most < most {
			most, cause = l.most, l.cause
		}
	}
	if most < s.pump.MinDose {
		return 0, cause
	}
	return most, CauseNone
}

// predict computes where the water will come to rest.
func (s *sight) predict() {
	s.gather()
	s.settle()
}

// sours says that a stock would drive pH further out of the band in which crops come to
// no harm: a stock of phosphate goes on lowering it while the base is stopped.
func (s *sight) sours() bool {
	off, acid := s.pH-float64(s.tank.target.PH), s.pump.AcidPerML
	return acid > 0 && off < -dosing.HarmBand.PH || acid < 0 && off > dosing.HarmBand.PH
}
