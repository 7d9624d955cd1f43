package safety

// Cause names why a dose is withheld or an alarm stands: one closed set, used
// unchanged in the log, the metrics, the topics and on the page.
type Cause uint8

// The causes, by kind. CauseNone is the zero value and means that nothing was
// judged; a verdict never allows a dose with an unknown cause.
const (
	CauseNone Cause = iota
	// Modes and people.
	CauseObserving
	CauseOperatorStop
	CauseOperatorPause
	CauseStopInput
	CauseMaintenance
	CauseCleaning
	CauseSolutionUnconfirmed
	// Readings.
	CausePHMissing
	CausePHStale
	CausePHInvalid
	CauseECMissing
	CauseECStale
	CauseECInvalid
	CauseTemperatureInvalid
	CauseTemperatureRange
	CauseProbesDisagree
	CauseSampleFlowOff
	// Water.
	CauseCirculationOff
	CauseLevelUnknown
	CauseLevelLow
	CauseLevelHigh
	CauseLeak
	CauseFlood
	CauseOutletUnproved
	CauseContainerEmpty
	// Nodes, link, process.
	CauseNodeOffline
	CauseNodeRebooted
	CauseNodeBusy
	CauseNodeClock
	CauseUncommandedRun    // flow or current without an order
	CauseUnexplainedChange // pH or EC runs without a dose
	CauseBrokerDisconnected
	CauseLedgerUnavailable
	CauseClockUntrusted
	CauseOtherController
	CauseConfigurationUnsafe
	CauseLedgerBehindNode // a node knows of orders that the ledger does not
	CauseStarting
	CauseInputNotEvaluated
	// What earlier doses told.
	CauseDoseOpen
	CauseDoseUncertain
	CauseNoResponse
	CauseWrongDirection
	CauseTooStrong
	CauseReportContradicts // a node contradicts the order, its run time or its heartbeat
	CauseNodeRefuses       // a node refuses what no repeat can cure
	// Limits and waits of one dose.
	CauseDoseCap
	CauseEffectCap
	CauseInTransitCap
	CauseUnconfirmed // reagent that no reading has shown
	CauseHourlyCap
	CauseDailyCap
	CauseContainerCap
	CauseAwayFromSetpoint
	CauseAcidBaseChangeover
	CauseMixingWait
	CauseIncompatibleWait
	CauseOrderTooSmall
	// Alarms that stop nothing.
	CauseOutOfBand
	CauseECHigh
	CauseBufferScale
	CauseDosingBlockedLong
	CauseSurplus
	CauseGroundLoop
	CauseDisarmed
	// The network between broker and farm.
	CauseFarmSilent
	// More alarms that stop nothing.
	CauseLevelStuck
	CauseUnconfirmedLong
	CauseCompensation
	// One more wait of one dose.
	CauseAnswerWait
	// One more alarm that stops nothing.
	CauseContainerLow
	// What answers tell beside yes and no.
	CauseReagentStrong    // acid or base does far more than it usually does
	CauseMixingSlow       // doses show later than commissioned
	CauseProbeSlow        // pH shows them later than EC does
	CauseSourceWater      // top-up brings more than was told
	CauseProbeSilent      // pH shows nothing of test doses
	CauseContainerBalance // a container's level does not go with its pump's count
	CauseOffBalance       // one stock does otherwise than the others
	// The watched line: alarms that stop nothing.
	CauseOxygenLow
	CauseWaterWarm
	CauseFilmStopped
	CauseFloodNotDrained
	CauseFilterClogged
	CauseUVLampOut
	CauseUVDoseLow
	CauseUVLampOld
	CauseWatchedInvalid // a watched sensor is silent or reads what cannot be
	// Top-up by a valve of ours.
	CauseTopUpHeld // the level does not go with the water that is let in, or a flood kept some
	// Zones that leat runs.
	CauseZoneSchedule // a zone's node does not run what it was sent
	// A person's meter beside the EC probe.
	CauseECDoubted // they are far apart
	CauseCount
)

var causeNames = [CauseCount]string{
	CauseNone:                "none",
	CauseObserving:           "observing",
	CauseOperatorStop:        "operator-stop",
	CauseOperatorPause:       "operator-pause",
	CauseStopInput:           "stop-input",
	CauseMaintenance:         "maintenance",
	CauseCleaning:            "cleaning",
	CauseSolutionUnconfirmed: "solution-unconfirmed",
	CausePHMissing:           "ph-missing",
	CausePHStale:             "ph-stale",
	CausePHInvalid:           "ph-invalid",
	CauseECMissing:           "ec-missing",
	CauseECStale:             "ec-stale",
	CauseECInvalid:           "ec-invalid",
	CauseTemperatureInvalid:  "temperature-invalid",
	CauseTemperatureRange:    "temperature-range",
	CauseProbesDisagree:      "probes-disagree",
	CauseSampleFlowOff:       "sample-flow-off",
	CauseCirculationOff:      "circulation-off",
	CauseLevelUnknown:        "level-unknown",
	CauseLevelLow:            "level-low",
	CauseLevelHigh:           "level-high",
	CauseLeak:                "leak",
	CauseFlood:               "flood",
	CauseOutletUnproved:      "outlet-unproved",
	CauseContainerEmpty:      "container-empty",
	CauseNodeOffline:         "node-offline",
	CauseNodeRebooted:        "node-rebooted",
	CauseNodeBusy:            "node-busy",
	CauseNodeClock:           "node-clock",
	CauseUncommandedRun:      "uncommanded-run",
	CauseUnexplainedChange:   "unexplained-change",
	CauseBrokerDisconnected:  "broker-disconnected",
	CauseLedgerUnavailable:   "ledger-unavailable",
	CauseClockUntrusted:      "clock-untrusted",
	CauseOtherController:     "other-controller",
	CauseConfigurationUnsafe: "configuration-unsafe",
	CauseStarting:            "starting",
	CauseInputNotEvaluated:   "input-not-evaluated",
	CauseDoseOpen:            "dose-open",
	CauseDoseUncertain:       "dose-uncertain",
	CauseNoResponse:          "no-response",
	CauseWrongDirection:      "wrong-direction",
	CauseTooStrong:           "too-strong",
	CauseReportContradicts:   "report-contradicts",
	CauseNodeRefuses:         "node-refuses",
	CauseLedgerBehindNode:    "ledger-behind-node",
	CauseDoseCap:             "dose-cap",
	CauseEffectCap:           "effect-cap",
	CauseInTransitCap:        "in-transit-cap",
	CauseUnconfirmed:         "unconfirmed-cap",
	CauseHourlyCap:           "hourly-cap",
	CauseDailyCap:            "daily-cap",
	CauseContainerCap:        "container-cap",
	CauseAwayFromSetpoint:    "away-from-setpoint",
	CauseAcidBaseChangeover:  "acid-base-changeover",
	CauseMixingWait:          "mixing-wait",
	CauseIncompatibleWait:    "incompatible-wait",
	CauseOrderTooSmall:       "order-too-small",
	CauseOutOfBand:           "out-of-band",
	CauseECHigh:              "ec-high",
	CauseBufferScale:         "buffer-scale",
	CauseDosingBlockedLong:   "dosing-blocked-long",
	CauseSurplus:             "nutrient-surplus",
	CauseGroundLoop:          "ground-loop",
	CauseDisarmed:            "disarmed",
	CauseFarmSilent:          "farm-silent",
	CauseLevelStuck:          "level-stuck",
	CauseUnconfirmedLong:     "unconfirmed-long",
	CauseCompensation:        "ec-compensation",
	CauseAnswerWait:          "answer-wait",
	CauseContainerLow:        "container-low",
	CauseReagentStrong:       "reagent-too-strong",
	CauseMixingSlow:          "mixing-slow",
	CauseProbeSlow:           "ph-probe-slow",
	CauseSourceWater:         "source-water-changed",
	CauseOffBalance:          "stock-off-balance",
	CauseContainerBalance:    "container-off-balance",
	CauseProbeSilent:         "ph-probe-silent",
	CauseOxygenLow:           "oxygen-low",
	CauseWaterWarm:           "water-warm",
	CauseFilmStopped:         "film-stopped",
	CauseFloodNotDrained:     "flood-not-drained",
	CauseFilterClogged:       "filter-clogged",
	CauseUVLampOut:           "uv-lamp-out",
	CauseUVDoseLow:           "uv-dose-low",
	CauseUVLampOld:           "uv-lamp-old",
	CauseWatchedInvalid:      "watched-invalid",
	CauseTopUpHeld:           "top-up-held",
	CauseZoneSchedule:        "zone-schedule",
	CauseECDoubted:           "ec-doubted",
}

// String is the cause's one name in log, metrics, topics and page.
func (c Cause) String() string {
	if c >= CauseCount {
		return "unknown"
	}
	return causeNames[c]
}

// ParseCause finds a cause by name. CauseNone is no answer: a trip that is named
// "none" in a record is a record that cannot be read.
func ParseCause(name string) (Cause, bool) {
	for c, n := range causeNames {
		if n == name && c > 0 {
			return Cause(c), true
		}
	}
	return CauseNone, false
}
