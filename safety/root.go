package safety

import "time"

// roots names for each root cause what follows from it: a person is told of the
// root, not of its ten consequences. What is latched was positively seen and is
// explained by nothing, save where a person caused it.
var roots = map[Cause][]Cause{
	CauseBrokerDisconnected: {CauseFarmSilent, CausePHMissing, CausePHStale, CausePHInvalid, CauseECMissing, CauseECStale, CauseECInvalid, CauseTemperatureInvalid,
		CauseProbesDisagree, CauseSampleFlowOff, CauseCirculationOff, CauseLevelUnknown, CauseLeak, CauseStopInput, CauseOutletUnproved,
		CauseContainerEmpty, CauseNodeOffline, CauseNodeBusy, CauseDoseUncertain},
	CauseFarmSilent: {CausePHMissing, CausePHStale, CausePHInvalid, CauseECMissing, CauseECStale, CauseECInvalid, CauseTemperatureInvalid,
		CauseProbesDisagree, CauseSampleFlowOff, CauseCirculationOff, CauseLevelUnknown, CauseLeak, CauseFlood, CauseStopInput,
		CauseOutletUnproved, CauseContainerEmpty, CauseNodeOffline, CauseNodeBusy, CauseDoseUncertain, CauseSolutionUnconfirmed},
	CauseStarting: {CauseFarmSilent, CausePHMissing, CauseECMissing, CauseTemperatureInvalid, CauseLevelUnknown, CauseOutletUnproved, CauseSampleFlowOff,
		CauseCirculationOff, CauseLeak, CauseStopInput, CauseNodeOffline, CauseNodeBusy},
	CauseLedgerUnavailable: {CauseDisarmed},
	CauseNodeOffline:       {CauseNodeBusy, CauseNodeClock, CauseOutletUnproved, CauseDoseUncertain},
	CauseNodeRebooted:      {CauseNodeBusy, CauseNodeOffline},
	CauseCirculationOff: {CauseSampleFlowOff, CausePHInvalid, CauseECInvalid, CauseProbesDisagree, CauseTemperatureInvalid,
		CauseTemperatureRange},
	CauseSampleFlowOff:       {CausePHInvalid, CausePHStale, CauseECInvalid, CauseECStale, CauseProbesDisagree, CauseTemperatureInvalid},
	CauseProbesDisagree:      {CausePHInvalid, CauseECInvalid},
	CauseTemperatureInvalid:  {CauseECInvalid, CauseECMissing, CauseECStale},
	CauseNoResponse:          {CauseBufferScale},
	CauseWrongDirection:      {CauseBufferScale},
	CauseLeak:                {CauseLevelLow},
	CauseFlood:               {CauseLevelLow, CauseLevelUnknown},
	CauseSolutionUnconfirmed: {CausePHInvalid, CauseECInvalid, CauseTemperatureRange},
	CauseStopInput:           {CauseNodeBusy, CauseDoseUncertain},
	CauseMaintenance: {CausePHMissing, CausePHStale, CausePHInvalid, CauseECMissing, CauseECStale, CauseECInvalid, CauseTemperatureInvalid,
		CauseTemperatureRange, CauseProbesDisagree, CauseSampleFlowOff, CauseNodeBusy},
	CauseCleaning: {CausePHMissing, CausePHStale, CausePHInvalid, CauseECMissing, CauseECStale, CauseECInvalid, CauseTemperatureInvalid,
		CauseTemperatureRange, CauseProbesDisagree, CauseSampleFlowOff, CauseCirculationOff, CauseLevelLow, CauseLevelHigh, CauseLevelUnknown,
		CauseSolutionUnconfirmed},
}

// explainedBy is roots the other way round.
var explainedBy = func() (by [CauseCount][]Cause) {
	for root, consequences := range roots {
		for _, c := range consequences {
			by[c] = append(by[c], root)
		}
	}
	return by
}()

// Explained says that another of the trips is the root of this one.
func Explained(trip *Trip, trips []Trip) bool {
	for i := range trips {
		root := trips[i].Cause
		if trip.Latched && root != CauseCleaning {
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
func (t *tankAlarms) explained(c Cause, up time.Duration) bool {
	if c == CauseOutOfBand || c == CauseDosingBlockedLong {
		return t.heldAloud()
	}
	latched := t.record[c].latched
	for _, root := range explainedBy[c] {
		if latched && root != CauseCleaning {
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
		if r.present && r.action < Run && r.state != AlarmNormal && r.state != AlarmSuppressed && r.priority < PriorityLog {
			return true
		}
	}
	return false
}

// byDesign says that a hold is part of the work: waits and caps of single doses, a
// flood, the settling after a start, and what a person does on purpose. It is shown, but
// nobody is called; if it stays too long, CauseDosingBlockedLong calls, and a stop that is not
// released or work that is not ended may have been forgotten.
func byDesign(row *Interlock, r *alarmRecord, up time.Duration) bool {
	switch row.Cause {
	case CauseOperatorPause, CauseOperatorStop, CauseCleaning:
		return true
	case CauseStopInput:
		return r.latched && up-r.cameAt < personFor
	case CauseMaintenance:
		return up-r.cameAt < personFor
	case CauseNodeRebooted:
		return false
	}
	return row.Action == Hold && row.Priority == PriorityLog && !r.latched
}
