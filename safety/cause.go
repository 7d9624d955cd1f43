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
	CauseStoppedByPerson
	CauseOperatorPause
	CauseStopInput
	CauseMaintenance
	CauseCleaning
	CauseSolutionUnconfirmed
	// Readings.
	CausePHMissing
	CausePHStale
	CausePHUnfit
	CauseECMissing
	CauseECStale
	CauseECUnfit
	CauseTemperatureUnfit
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
	CauseStockEmpty
	// Nodes, link, process.
	CauseNodeSilent
	CauseNodeRebooted
	CauseNodeBusy
	CauseNodeClock
	CauseNodeUnbidden // flow or current without an order
	CauseBrokerDown
	CauseLedgerUnavailable
	CauseClockUntrusted
	CauseOtherController
	CauseConfigurationUnsafe
	CauseStarting
	CauseInputNotEvaluated
	// What earlier doses told.
	CauseDoseOpen
	CauseDoseUncertain
	CauseNoResponse
	CauseWrongDirection
	// Limits and waits of one dose.
	CauseDoseCap
	CauseEffectCap
	CauseInTransitCap
	CauseHourCap
	CauseDayCap
	CauseStockCap
	CauseDirection
	CauseCounterReagent
	CauseMixingWait
	CauseIncompatibleWait
	CauseOrderTooSmall
	CauseCount
)
