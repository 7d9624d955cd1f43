package alarm

import (
	"time"

	"leat/safety"
)

// roots names for each root cause what follows from it: a person is told of the
// root, not of its ten consequences. What is latched was positively seen and is
// explained by nothing, save where a person caused it.
var roots = map[safety.Cause][]safety.Cause{
	safety.CauseBrokerDisconnected: {safety.CauseFarmSilent, safety.CausePHMissing, safety.CausePHStale, safety.CausePHInvalid, safety.CauseECMissing, safety.CauseECStale, safety.CauseECInvalid, safety.CauseTemperatureInvalid,
		safety.CauseProbesDisagree, safety.CauseSampleFlowOff, safety.CauseCirculationOff, safety.CauseLevelUnknown, safety.CauseLeak, safety.CauseStopInput, safety.CauseOutletUnproved,
		safety.CauseContainerEmpty, safety.CauseNodeOffline, safety.CauseNodeBusy, safety.CauseDoseUncertain, safety.CauseWatchedInvalid},
	safety.CauseFarmSilent: {safety.CausePHMissing, safety.CausePHStale, safety.CausePHInvalid, safety.CauseECMissing, safety.CauseECStale, safety.CauseECInvalid, safety.CauseTemperatureInvalid,
		safety.CauseProbesDisagree, safety.CauseSampleFlowOff, safety.CauseCirculationOff, safety.CauseLevelUnknown, safety.CauseLeak, safety.CauseFlood, safety.CauseStopInput,
		safety.CauseOutletUnproved, safety.CauseContainerEmpty, safety.CauseNodeOffline, safety.CauseNodeBusy, safety.CauseDoseUncertain, safety.CauseSolutionUnconfirmed, safety.CauseWatchedInvalid},
	safety.CauseStarting: {safety.CauseFarmSilent, safety.CausePHMissing, safety.CauseECMissing, safety.CauseTemperatureInvalid, safety.CauseLevelUnknown, safety.CauseOutletUnproved, safety.CauseSampleFlowOff,
		safety.CauseCirculationOff, safety.CauseLeak, safety.CauseStopInput, safety.CauseNodeOffline, safety.CauseNodeBusy},
	safety.CauseLedgerUnavailable: {safety.CauseDisarmed},
	safety.CauseNodeOffline:       {safety.CauseNodeBusy, safety.CauseNodeClock, safety.CauseOutletUnproved, safety.CauseDoseUncertain},
	safety.CauseNodeRebooted:      {safety.CauseNodeBusy, safety.CauseNodeOffline},
	safety.CauseCirculationOff: {safety.CauseSampleFlowOff, safety.CausePHInvalid, safety.CauseECInvalid, safety.CauseProbesDisagree, safety.CauseTemperatureInvalid,
		safety.CauseTemperatureRange},
	safety.CauseSampleFlowOff:       {safety.CausePHInvalid, safety.CausePHStale, safety.CauseECInvalid, safety.CauseECStale, safety.CauseProbesDisagree, safety.CauseTemperatureInvalid},
	safety.CauseProbesDisagree:      {safety.CausePHInvalid, safety.CauseECInvalid},
	safety.CauseTemperatureInvalid:  {safety.CauseECInvalid, safety.CauseECMissing, safety.CauseECStale},
	safety.CauseNoResponse:          {safety.CauseBufferScale},
	safety.CauseWrongDirection:      {safety.CauseBufferScale},
	safety.CauseLeak:                {safety.CauseLevelLow},
	safety.CauseFlood:               {safety.CauseLevelLow, safety.CauseLevelUnknown},
	safety.CauseSolutionUnconfirmed: {safety.CausePHInvalid, safety.CauseECInvalid, safety.CauseTemperatureRange},
	safety.CauseStopInput:           {safety.CauseNodeBusy, safety.CauseDoseUncertain},
	safety.CauseMaintenance: {safety.CausePHMissing, safety.CausePHStale, safety.CausePHInvalid, safety.CauseECMissing, safety.CauseECStale, safety.CauseECInvalid, safety.CauseTemperatureInvalid,
		safety.CauseTemperatureRange, safety.CauseProbesDisagree, safety.CauseSampleFlowOff, safety.CauseNodeBusy},
	safety.CauseCleaning: {safety.CausePHMissing, safety.CausePHStale, safety.CausePHInvalid, safety.CauseECMissing, safety.CauseECStale, safety.CauseECInvalid, safety.CauseTemperatureInvalid,
		safety.CauseTemperatureRange, safety.CauseProbesDisagree, safety.CauseSampleFlowOff, safety.CauseCirculationOff, safety.CauseLevelLow, safety.CauseLevelHigh, safety.CauseLevelUnknown,
		safety.CauseSolutionUnconfirmed},
}

// explainedBy is roots the other way round.
var explainedBy = func() (by [safety.CauseCount][]safety.Cause) {
	for root, consequences := range roots {
		for _, c := range consequences {
			by[c] = append(by[c], root)
		}
	}
	return by
}()

// Explained says that another of the trips is the root of this one.
func Explained(trip *safety.Trip, trips []safety.Trip) bool {
	for i := range trips {
		root := trips[i].Cause
		if trip.Latched && root != safety.CauseCleaning {
			continue
		}
		for _, by := range explainedBy[trip.Cause] {
			if by == root {
				return true
			}
		}
	}
	return false
}

// explained says that a root of c stands, or stood a moment ago.
func (t *tankAlarms) explained(c safety.Cause, up time.Duration) bool {
	if c == safety.CauseOutOfBand || c == safety.CauseDosingBlockedLong {
		return t.heldAloud()
	}
	latched := t.record[c].latched
	for _, root := range explainedBy[c] {
		if latched && root != safety.CauseCleaning {
			continue
		}
		if r := &t.record[root]; r.present || r.ever && up-r.wentAt < rootTail {
			return true
		}
	}
	return false
}

// heldAloud says that an alarm already tells why doses are withheld; being out of
// band is then its consequence.
func (t *tankAlarms) heldAloud() bool {
	for c := range t.record {
		r := &t.record[c]
		if r.present && r.action < safety.Run && r.state != Normal && r.state != Suppressed && r.priority < safety.PriorityLog {
			return true
		}
	}
	return false
}

// byDesign says that a hold is part of the work: waits and caps of single doses, a
// flood, the settling after a start, and what a person does on purpose. It is shown, but
// nobody is called; if it stays too long, CauseDosingBlockedLong calls, and a stop that is not
// released or work that is not ended may have been forgotten.
func byDesign(row *safety.Interlock, r *record, up time.Duration) bool {
	switch row.Cause {
	case safety.CauseOperatorPause, safety.CauseOperatorStop, safety.CauseCleaning:
		return true
	case safety.CauseStopInput:
		return r.latched && up-r.cameAt < PersonFor
	case safety.CauseMaintenance:
		return up-r.cameAt < PersonFor
	case safety.CauseNodeRebooted:
		return false
	}
	return row.Action == safety.Hold && row.Priority == safety.PriorityLog && !r.latched
}
