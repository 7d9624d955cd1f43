package demo

import (
	"math"
	"time"

	"leat/dosing"
	"leat/safety"
)

// sampleEvery is how often the night is written down.
const sampleEvery = 10 * time.Second

// sample is one moment of one tank: the water as it truly is, and what was wanted.
type sample struct {
	at             time.Duration // simulated time since the start
	pH, ec         float64
	wantPH, wantEC float64
	holding        bool
}

// night is the record of one tank for the report.
type night struct {
	tank    string
	samples []sample
	doses   []doseMark
	holds   []holdMark
	alarms  []alarmMark
}

type doseMark struct {
	at      time.Duration
	role    dosing.Role
	pump    string
	volume  dosing.Volume
	outcome string
}

// holdMark is an interlock that was active for a time.
type holdMark struct {
	cause, text string
	from, to    time.Duration // to < 0: still active
}

type alarmMark struct {
	at             time.Duration
	cause          safety.Cause
	priority, text string
}

// score is how well a stretch of the night held.
type score struct {
	pHInBand, ecInBand   float64 // shares of time
	pHOvershoot          float64 // pH beyond the setpoint, on the side away from the start
	ecOvershoot          float64
	pHSettled, ecSettled time.Duration // since the start; negative = not
}

// score measures true values against the effective setpoints from one time to
// another, all holds included.
func (n *night) score(from, to time.Duration) score {
	s := score{pHSettled: -1, ecSettled: -1}
	total, pHIn, ecIn := 0, 0, 0
	for _, m := range n.samples {
		if m.at < from || m.at > to {
			continue
		}
		total++
		if math.Abs(m.pH-m.wantPH) <= dosing.StartBand.PH {
			pHIn++
		}
		if math.Abs(m.ec-m.wantEC) <= dosing.StartBand.EC {
			ecIn++
		}
	}
	if total > 0 {
		s.pHInBand, s.ecInBand = float64(pHIn)/float64(total), float64(ecIn)/float64(total)
	}
	s.pHOvershoot = n.overshoot(func(m sample) float64 { return m.pH - m.wantPH })
	s.ecOvershoot = n.overshoot(func(m sample) float64 { return m.ec - m.wantEC })
	s.pHSettled = n.settled(func(m sample) bool { return math.Abs(m.pH-m.wantPH) <= dosing.StartBand.PH })
	s.ecSettled = n.settled(func(m sample) bool { return math.Abs(m.ec-m.wantEC) <= dosing.StartBand.EC })
	return s
}

// overshoot is the largest error on the side away from the start, from the first
// crossing of the setpoint on.
func (n *night) overshoot(err func(sample) float64) float64 {
	if len(n.samples) == 0 {
		return 0
	}
	side := 1.0
	if err(n.samples[0]) > 0 {
		side = -1
	}
	worst, crossed := 0.0, false
	for _, m := range n.samples {
		e := float64(side * err(m))
		crossed = crossed || e >= 0
		if crossed {
			worst = max(worst, e)
		}
	}
	return worst
}

// settled is when the tank first stayed inside for half an hour.
func (n *night) settled(inside func(sample) bool) time.Duration {
	const stay = 30 * time.Minute
	since := time.Duration(-1)
	for _, m := range n.samples {
		switch {
		case !inside(m):
			since = -1
		case since < 0:
			since = m.at
		case m.at-since >= stay:
			return since
		}
	}
	return -1
}

func (n *night) length() time.Duration {
	if len(n.samples) == 0 {
		return 0
	}
	return n.samples[len(n.samples)-1].at
}
