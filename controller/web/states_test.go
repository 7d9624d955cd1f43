package web

import (
	"time"

	"leat/controller"
	"leat/dosing/blend"
	"leat/dosing/ratio"
	"leat/safety"
	"leat/safety/alarm"
)

// state is a farm in which its pages say other things than on a quiet day.
type state struct {
	name  string
	view  func() *controller.View
	paths []string
	wordy bool // longest in another language
}

// withHolds is the sample's farm with its tank held by these alone.
func withHolds(mode safety.Mode, causes ...safety.Cause) *controller.View {
	v := sampleView()
	t := &v.Tanks[0]
	t.Mode, t.Holds, t.Alarms = mode, nil, nil
	for _, cause := range causes {
		row := safety.Of(cause)
		t.Holds = append(t.Holds, controller.HoldView{Cause: cause, Action: row.Action, Scope: row.Scope, Since: v.At, Text: row.Text, Clears: row.Clears})
		if row.Priority < safety.PriorityLog {
			t.Alarms = append(t.Alarms, controller.AlarmView{Cause: cause, State: alarm.Acknowledged, Priority: row.Priority, Text: row.Text, Advice: row.Advice, Since: v.At})
		}
	}
	return v
}

// allStates are those beside the four tanks of a common night.
var allStates = []state{
	{"calibrating", func() *controller.View {
		v := withHolds(safety.ModeHolding, safety.CauseMaintenance)
		v.Tanks[0].Calibrating, v.Tanks[0].StepBy = "ph", v.At.Wall.Add(20*time.Minute)
		return v
	}, []string{"/", "/tank/north", "/tank/north/probes", "/tank/north/change", "/pump/acid-north"}, true},
	{"a calibration that was given up", func() *controller.View {
		v := withHolds(safety.ModeHolding, safety.CauseMaintenance)
		v.Tanks[0].Lapsed = "ph"
		v.Pumps[0].Largest = []controller.LargestView{{Tank: "north"}}
		return v
	}, []string{"/tank/north/probes", "/pump/acid-north"}, false},
	{"observing", func() *controller.View {
		v := withHolds(safety.ModeObserving, safety.CauseObserving)
		v.Tanks[0].WouldDose = "would dose acid: pH 5.99, wanted 5.80"
		v.Pumps[0].Left, v.Pumps[0].Largest = -1, []controller.LargestView{{Tank: "north"}}
		return v
	}, []string{"/", "/tank/north", "/tank/north/first", "/tank/north/change", "/stocks"}, false},
	{"stopped", func() *controller.View { return withHolds(safety.ModeStopped, safety.CauseOperatorStop) }, []string{"/", "/tank/north", "/tank/north/change"}, false},
	{"paused", func() *controller.View {
		v := withHolds(safety.ModeHolding, safety.CauseOperatorPause)
		v.Tanks[0].PauseEnds = v.At.Wall.Add(2 * time.Hour)
		return v
	}, []string{"/", "/tank/north", "/tank/north/change"}, false},
	{"unconfirmed water", func() *controller.View { return withHolds(safety.ModeHolding, safety.CauseSolutionUnconfirmed) }, []string{"/", "/tank/north", "/alarm/north/solution-unconfirmed"}, false},
	{"latched", func() *controller.View { return withHolds(safety.ModeStopped, safety.CauseLeak) }, []string{"/", "/alarm/north/leak", "/alarm/north/ph-stale"}, false},
	{"no readings", func() *controller.View {
		v := withHolds(safety.ModeHolding, safety.CausePHMissing)
		v.LinkUp = false
		for i := range v.Tanks[0].Inputs {
			v.Tanks[0].Inputs[i].Present = false
		}
		v.Tanks[0].Settled.Known, v.Nodes[0].Seen = false, false
		v.Tanks[0].LeavesWarn, v.Tanks[0].LeavesHarm = alarm.Unforeseen, alarm.Unforeseen
		return v
	}, []string{"/", "/tank/north", "/tank/north/first", "/stocks", "/tank/north/probes"}, true},
	{"a dump is due", func() *controller.View {
		v := withHolds(safety.ModeArmed)
		v.Tanks[0].Ions.Dumps, v.Tanks[0].Ions.Offer = []ratio.Dump{{Ion: blend.Mg, Off: 0.6, Share: 0.34}}, nil
		return v
	}, []string{"/tank/north/solution"}, true},
	{"no tank is analysed", func() *controller.View {
		v := withHolds(safety.ModeArmed)
		v.Tanks[0].Ions.Plan, v.Tanks[0].Ions.Offer, v.Tanks[0].Ions.Analysed = nil, nil, time.Time{}
		v.Tanks[0].Ions.Advice = "never analysed: the recipe is all that is known; have the tank analysed"
		return v
	}, []string{"/tank/north/solution"}, false},
}

// judged is the view of a state with its verdicts.
func (s *state) judged() *controller.View {
	v := s.view()
	v.Judge()
	return v
}
