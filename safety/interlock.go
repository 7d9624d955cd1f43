package safety

import "time"

// Interlock is one row of the table: what withholds doses, how far it reaches,
// when a person must act, and the words for the grower.
type Interlock struct {
	Cause    Cause
	Action   Action // when tripped by what it names; a silent sensor and a trip that is not yet latched hold
	Scope    Scope
	Priority Priority
	Latches  Latching
	// Delay is how long it must stand before a person is told, unless it latched; the
	// dose is withheld at once in any case.
	Delay  time.Duration
	Text   string // what is so
	Advice string // what to do
	Clears string // what ends it

	judged judged
}

// Of is the row of a cause. A cause without a row locks the station: what is not
// in the table was never thought through.
func Of(c Cause) Interlock {
	if c < CauseCount {
		if place := places[c]; place > 0 {
			return table[place-1]
		}
	}
	return Interlock{Cause: c, Text: "Nothing was judged.", Advice: "Restart the program; if it stays, report it.",
		Clears: "when the gate has judged"}
}

// OfOneDose says that a cause is judged for a single dose and never stands by
// itself: a cap, or a wait between reagents.
func OfOneDose(c Cause) bool {
	return c < CauseCount && places[c] > 0 && table[places[c]-1].judged == byPlan && table[places[c]-1].Action < Run
}

// Causes are the causes of the table, in its order.
func Causes() []Cause {
	causes := make([]Cause, 0, len(table))
	for i := range table {
		causes = append(causes, table[i].Cause)
	}
	return causes
}

// places holds for each cause its place in the table plus one.
var places = func() (at [CauseCount]uint8) {
	for i := range table {
		at[table[i].Cause] = uint8(i + 1)
	}
	return at
}()

// table is the one table of interlocks. Its order is the order of roots: of two
// trips of equal action and scope the upper one is named first, so that a stopped
// circulation is named before the readings that it spoils.
var table = [...]Interlock{
	// The instance and its record.
	{Cause: CauseConfigurationUnsafe, Action: Lockout, Scope: ScopeTank, Priority: PriorityTonight, judged: byTank,
		Text: "The settings are not safe to dose with.", Advice: "Run leat check and correct what it names.",
		Clears: "when a corrected configuration is loaded"},
	{Cause: CauseInputNotEvaluated, Action: Lockout, Scope: ScopeTank, Priority: PriorityTonight, judged: byTank,
		Text: "A check was not made, so it counts as failed.", Advice: "Restart the program; if it stays, report it.",
		Clears: "when every check is made again"},
	{Cause: CauseOtherController, Action: Lockout, Scope: ScopeStation, Priority: PriorityTonight, judged: byTank,
		Text: "Another controller gives orders to these pumps.", Advice: "Find the second program and stop one of the two.",
		Clears: "when the other controller is gone"},
	{Cause: CauseLedgerBehindNode, Action: Lockout, Scope: ScopeStation, Priority: PriorityTonight, Latches: LatchesAtOnce, judged: byTank,
		Text:   "A pump node knows of later orders than the ledger does: the ledger was lost, an older copy was put back, or somebody else gave orders.",
		Advice: "Restore the newest backup with leat ledger restore. If there is none, find out what was dosed meanwhile, then raise the epoch with leat mode raise-epoch, saying in the note what was checked.",
		Clears: "when a person raises the epoch with leat mode raise-epoch"},
	{Cause: CauseLedgerUnavailable, Action: Lockout, Scope: ScopeStation, Priority: PriorityTonight, judged: byTank,
		Text: "Doses cannot be recorded.", Advice: "Look at disk space and disk health; verify the ledger with leat ledger verify.",
		Clears: "a full or slow disk: when all that waited is written; anything else: after a restart that verified the ledger"},
	{Cause: CauseClockUntrusted, Action: Lockout, Scope: ScopeStation, Priority: PriorityTonight, judged: byTank,
		Text: "The machine's monotonic clock went backwards, so no age can be trusted.", Advice: "Restart the machine; if it comes back, replace it.",
		Clears: "after a restart"},
	// People.
	{Cause: CauseStopInput, Action: Stop, Scope: ScopeStation, Priority: PriorityLog, Latches: LatchesAtOnce, Delay: lastsFor, judged: byTank,
		Text: "The stop is pressed, or its contact does not answer.", Advice: "Release it when the plant is safe, then clear the stop.",
		Clears: "when it is released and a person clears; a contact that was silent: when it answers again; a single signal: half a minute later"},
	{Cause: CauseOperatorStop, Action: Stop, Scope: ScopeTank, Priority: PriorityLog, judged: byTank,
		Text: "A person stopped this tank.", Advice: "Clear the stop when dosing may go on.", Clears: "when a person clears it"},
	{Cause: CauseSolutionUnconfirmed, Action: Stop, Scope: ScopeTank, Priority: PriorityNow, Latches: LatchesAtOnce, Delay: lastsFor, judged: byTank,
		Text:   "It is not certain that the tank holds nutrient solution: it may hold a disinfectant.",
		Advice: "Never let acid meet a chlorine cleaner: it gives a poisonous gas. Look, rinse if need be, then confirm: water or nutrient solution, no disinfectant, rinsed.",
		Clears: "when a person confirms the water; neither a restart nor arming does"},
	{Cause: CauseCleaning, Action: Hold, Scope: ScopeTank, Priority: PriorityLog, judged: byTank,
		Text: "The tank is being cleaned.", Advice: "Confirm the water when the tank is rinsed and filled; that ends the cleaning.",
		Clears: "when a person confirms the water"},
	{Cause: CauseMaintenance, Action: Hold, Scope: ScopeTank, Priority: PriorityLog, judged: byTank,
		Text: "A probe or a pump is being calibrated or serviced.", Advice: "Resume when it is back in place; that ends the maintenance.",
		Clears: "when a person resumes"},
	{Cause: CauseOperatorPause, Action: Hold, Scope: ScopeTank, Priority: PriorityLog, judged: byTank,
		Text: "Dosing is paused by a person.", Advice: "Resume when dosing may go on.",
		Clears: "when a person resumes, or at the end of the pause"},
	{Cause: CauseObserving, Action: Hold, Scope: ScopeTank, Priority: PriorityLog, judged: byTank,
		Text: "Observing: it shows what it would dose and doses nothing.", Advice: "Arm the tank when its readings and proposals are right.",
		Clears: "when a person arms the tank"},
	// The way to the plant.
	{Cause: CauseBrokerDisconnected, Action: Hold, Scope: ScopeStation, Priority: PriorityTonight, Delay: 10 * time.Minute, judged: byTank,
		Text: "The broker is disconnected.", Advice: "Check the broker, the network and the daemon's password.",
		Clears: "when the link is up and two good pH readings came in"},
	{Cause: CauseFarmSilent, Action: Hold, Scope: ScopeStation, Priority: PriorityTonight, Delay: time.Minute, judged: byTank,
		Text: "Nothing arrives from the farm: neither readings nor nodes are heard.", Advice: "Check the network between the farm and the broker: supply, cables, access point.",
		Clears: "when a reading or a node is heard again"},
	{Cause: CauseStarting, Action: Hold, Scope: ScopeStation, Priority: PriorityLog, judged: byTank,
		Text: "Just started: what was dosed before is left time to mix.", Advice: "Nothing to do.", Clears: "after the settling time"},
	// Water.
	{Cause: CauseUncommandedRun, Action: Stop, Scope: ScopeTank, Priority: PriorityNow, Latches: LatchesAtOnce, judged: byTank,
		Text: "A pump runs or draws current without an order.", Advice: "Cut the supply of the pumps, then look for a welded contact or a second controller.",
		Clears: "when the pump is off and a person clears"},
	{Cause: CauseUnexplainedChange, Action: Stop, Scope: ScopeTank, Priority: PriorityNow, Latches: LatchesAtOnce, Delay: lastsFor, judged: byTank,
		Text:   "pH or EC runs away although nothing was dosed: a pump may run on, or a reagent siphon through one that stands.",
		Advice: "Close the reagents' valves or lift their hoses out at once; the pumps' supply was cut where leat can. Look for a welded contact, a siphon, or somebody who poured something in without entering it.",
		Clears: "when a person has found the cause and clears; re-close the supply contactor by hand"},
	{Cause: CauseLeak, Action: Stop, Scope: ScopeTank, Priority: PriorityNow, Latches: LatchesAtOnce, Delay: lastsFor, judged: byTank,
		Text: "Leak detected, or leak sensor not responding.", Advice: "Find the leak, dry the sensor, then clear.",
		Clears: "when the sensor is dry and a person clears; a sensor that was silent: when it answers again; a single signal: half a minute later"},
	{Cause: CauseCirculationOff, Action: Hold, Scope: ScopeTank, Priority: PriorityTonight, Latches: LatchesThird, Delay: 30 * time.Second, judged: byTank,
		Text: "Circulation has stopped, or its sensor is not responding: a dose would not be mixed.", Advice: "Check the circulation pump, its fuse, strainer and flow switch.",
		Clears: "after one mixing time of flow; the third time in 24 h when a person clears"},
	{Cause: CauseLevelUnknown, Action: Hold, Scope: ScopeTank, Priority: PriorityTonight, Delay: time.Minute, judged: byTank,
		Text: "The level is not known, so the strength of a dose is not known.", Advice: "Check the level sensor and its wire.",
		Clears: "when a good level reading comes in"},
	{Cause: CauseLevelLow, Action: Hold, Scope: ScopeTank, Priority: PriorityTonight, Latches: LatchesThird, Delay: 30 * time.Second, judged: byTank,
		Text: "The level is below the minimum for dosing.", Advice: "Check top-up, valve and leaks.",
		Clears: "after one mixing time of good level; the third time in 24 h when a person clears"},
	{Cause: CauseLevelHigh, Action: Hold, Scope: ScopeTank, Priority: PriorityNow, Delay: 30 * time.Second, judged: byTank,
		Text: "The level is above the maximum.", Advice: "Close the top-up by hand; look for a stuck valve or float.",
		Clears: "when the level is 1 % of the volume below the maximum"},
	{Cause: CauseFlood, Action: Hold, Scope: ScopeTank, Priority: PriorityLog, judged: byTank,
		Text: "A flood is in progress or about to begin: part of the water is out of the tank, or will be.", Advice: "Nothing to do.",
		Clears: "one dead time and mixing lag after the water is back"},
	{Cause: CauseOutletUnproved, Action: Hold, Scope: ScopeTank, Priority: PriorityTonight, Delay: time.Minute, judged: byTank,
		Text: "The outlet into this tank was not proved open for its dose.", Advice: "Check the outlet valve and its end switch.",
		Clears: "when the outlet is proved open; one that rests shut shows it with the next dose, a mixing time later"},
	{Cause: CauseSampleFlowOff, Action: Hold, Scope: ScopeTank, Priority: PriorityTonight, Delay: time.Minute, judged: byTank,
		Text: "The sample line does not flow: the probes see old water.", Advice: "Open the sample line, clean its filter.",
		Clears: "when the sample line flows"},
	// Readings.
	{Cause: CauseProbesDisagree, Action: Hold, Scope: ScopeTank, Priority: PriorityTonight, judged: byTank,
		Text: "Two probes disagree, and nobody can say which is right.", Advice: "Check both with a hand meter and calibrate the wrong one.",
		Clears: "when they agree again"},
	{Cause: CausePHMissing, Action: Hold, Scope: ScopeTank, Priority: PriorityTonight, Delay: time.Minute, judged: byTank,
		Text: "No pH reading has come in yet.", Advice: "Check the probe's transmitter and its topic.",
		Clears: "when a good pH reading comes in"},
	{Cause: CausePHStale, Action: Hold, Scope: ScopeTank, Priority: PriorityTonight, Delay: time.Minute, judged: byTank,
		Text: "The pH reading is too old.", Advice: "Check the probe's transmitter and the network.",
		Clears: "when a good pH reading comes in"},
	{Cause: CausePHInvalid, Action: Hold, Scope: ScopeTank, Priority: PriorityTonight, Delay: time.Minute, judged: byTank,
		Text: "The pH reading is not valid for dosing.", Advice: "Check the pH probe with a hand meter; clean, calibrate or replace it.",
		Clears: "when a good pH reading comes in"},
	{Cause: CauseProbeSilent, Action: Hold, Scope: ScopeReagents, Priority: PriorityTonight, judged: byTank,
		Text: "The pH probe shows nothing of test doses: it may stand in held water, or be dead.", Advice: "Measure the tank with a hand meter, and open the probe's cell: is its water the tank's, and does it flow? Clean, calibrate or replace the probe, then enter the service.",
		Clears: "when the reading moves, or a service is entered"},
	{Cause: CauseECMissing, Action: Hold, Scope: ScopeNutrients, Priority: PriorityTonight, Delay: time.Minute, judged: byTank,
		Text: "No EC reading has come in yet.", Advice: "Check the probe's transmitter and its topic.",
		Clears: "when a good EC reading comes in"},
	{Cause: CauseECStale, Action: Hold, Scope: ScopeNutrients, Priority: PriorityTonight, Delay: time.Minute, judged: byTank,
		Text: "The EC reading is too old.", Advice: "Check the probe's transmitter and the network.",
		Clears: "when a good EC reading comes in"},
	{Cause: CauseECInvalid, Action: Hold, Scope: ScopeNutrients, Priority: PriorityTonight, Delay: time.Minute, judged: byTank,
		Text: "The EC reading is not valid for dosing.", Advice: "Check the EC probe with a hand meter; look for a bubble or dirt.",
		Clears: "when a good EC reading comes in"},
	{Cause: CauseECDoubted, Action: Hold, Scope: ScopeNutrients, Priority: PriorityTomorrow, Delay: time.Hour, judged: byTank,
		Text: "A hand meter and the EC probe are far apart, and nobody knows yet which is right.", Advice: "Measure once more, check the meter in a fresh standard, calibrate whichever is wrong, then resume.", Clears: "when a person resumes"},
	{Cause: CauseTemperatureInvalid, Action: Hold, Scope: ScopeNutrients, Priority: PriorityTomorrow, Delay: time.Minute, judged: byTank,
		Text: "The temperature is not known, so EC cannot be brought to 25 °C.", Advice: "Check the temperature sensor.",
		Clears: "when a good temperature reading comes in"},
	{Cause: CauseTemperatureRange, Action: Hold, Scope: ScopeNutrients, Priority: PriorityTonight, Delay: time.Minute, judged: byTank,
		Text: "The solution is too warm or too cold for feeding.", Advice: "Check heater, chiller and shading.",
		Clears: "when the temperature is 0.5 °C inside its limits"},
	// Nodes.
	{Cause: CauseNodeOffline, Action: Hold, Scope: ScopePump, Priority: PriorityTonight, Delay: time.Minute, judged: byPump,
		Text: "The pump node is offline.", Advice: "Check its supply and network.",
		Clears: "when it is heard again"},
	{Cause: CauseNodeRebooted, Action: Hold, Scope: ScopePump, Priority: PriorityLog, Latches: LatchesThird, judged: byPump,
		Text: "The pump node has just restarted.", Advice: "If it repeats, check its supply.",
		Clears: "after 10 s of steady heartbeat; after more than three starts in 10 min when a person clears"},
	{Cause: CauseNodeClock, Action: Hold, Scope: ScopePump, Priority: PriorityTomorrow, judged: byPump,
		Text: "The pump node's clock does not keep time: it could run a dose too long or too late.", Advice: "Restart the node; replace it if it comes back.",
		Clears: "after one minute of steady time"},
	{Cause: CauseNodeBusy, Action: Hold, Scope: ScopePump, Priority: PriorityLog, judged: byPump,
		Text: "The pump node is busy.", Advice: "Nothing to do, unless it stays.",
		Clears: "when the node is idle"},
	// What earlier doses told.
	{Cause: CauseDoseOpen, Action: Hold, Scope: ScopeStation, Priority: PriorityLog,
		Text: "A dose is under way; there is one at a time.", Advice: "Nothing to do.",
		Clears: "when the dose is reported or given up as uncertain"},
	{Cause: CauseDoseUncertain, Action: Hold, Scope: ScopeTank, Priority: PriorityTomorrow, Latches: LatchesThird, judged: byTank,
		Text: "It is not known whether a dose was delivered; it counts in full.", Advice: "If it repeats, check the node and the network.",
		Clears: "by the node's report, or after one mixing time with good readings; the third in 24 h when a person clears"},
	{Cause: CauseNoResponse, Action: Stop, Scope: ScopePump, Priority: PriorityTonight, Latches: LatchesAtOnce, judged: byPump,
		Text: "No measurable response to this pump's doses.", Advice: "Look for an empty container, a burst line, air, a closed valve or a dead probe. Do not dose again before the cause is found.",
		Clears: "when a person has found the cause and clears"},
	{Cause: CauseWrongDirection, Action: Stop, Scope: ScopeReagents, Priority: PriorityTonight, Latches: LatchesAtOnce, judged: byTank,
		Text: "pH moved opposite to the expected direction.", Advice: "Look for swapped containers or lines, or a wrong filling.",
		Clears: "when a person has found the cause and clears"},
	{Cause: CauseTooStrong, Action: Stop, Scope: ScopeNutrients, Priority: PriorityTonight, Latches: LatchesAtOnce, judged: byTank,
		Text: "EC rose far more than the dose should cause: a stock is too strong, or its pump gives more than it counts.", Advice: "Compare the container with its label and recipe; measure the pump's rate. Dilute or empty what is wrong, then enter the service. A tank with ponds or long channels that are not in the configuration looks like that, too: state their zones.",
		Clears: "when a person has found the cause and clears"},
	{Cause: CauseReagentStrong, Action: Stop, Scope: ScopePump, Priority: PriorityTonight, Latches: LatchesAtOnce, judged: byPump,
		Text:   "Acid or base did far more than it usually does: it may be undiluted, or the water has lost its buffer.",
		Advice: "Compare the container with its label and what was last filled in; if that is right, measure the water's phosphate and alkalinity. Dilute or replace what is wrong and enter the service; water without buffer needs another stock or a change.",
		Clears: "when a person has found the cause and clears"},
	{Cause: CauseReportContradicts, Action: Stop, Scope: ScopePump, Priority: PriorityTonight, Latches: LatchesAtOnce, judged: byPump,
		Text:   "What the node said of a dose contradicts the order, its run time or its heartbeat. The dose counts in full.",
		Advice: "Measure what the pump gives in a timed run and compare it with the node's count, which is in mL; look for a second sender on the node's topics. Then clear.",
		Clears: "when a person has found the cause and clears"},
	{Cause: CauseNodeRefuses, Action: Stop, Scope: ScopePump, Priority: PriorityTonight, Latches: LatchesAtOnce, judged: byPump,
		Text:   "The node refuses this pump's orders, and would refuse them again.",
		Advice: "Run leat check and set the node's own limits to what it prints, or correct the configuration; then load it again.",
		Clears: "when a configuration is loaded, or a person clears"},
	{Cause: CauseContainerBalance, Action: Stop, Scope: ScopePump, Priority: PriorityTonight, Latches: LatchesAtOnce, judged: byPump,
		Text:   "A container's level does not go with what its pump was told to give.",
		Advice: "Look whether water siphons back into it or the pump gives more than it counts: lift the hose out, measure a timed run, and compare the container's strength with its label. Then enter the service.",
		Clears: "when a person has found the cause and clears"},
	// Limits and waits.
	{Cause: CauseContainerEmpty, Action: Hold, Scope: ScopePump, Priority: PriorityTonight, Delay: time.Minute, judged: byPump,
		Text: "The container is empty, or its level is not known.", Advice: "Refill it and enter the refill.",
		Clears: "when the level shows a refill"},
	{Cause: CauseDailyCap, Action: Hold, Scope: ScopePump, Priority: PriorityTonight, judged: byPump,
		Text: "The daily cap of this pump is reached.", Advice: "Ask why so much was needed: probe, source water, leak. Only the configuration file can change the cap.",
		Clears: "as the oldest doses fall out of the last 24 h"},
	{Cause: CauseHourlyCap, Action: Hold, Scope: ScopePump, Priority: PriorityTomorrow, Delay: time.Hour, judged: byPump,
		Text: "The hourly cap of this pump is reached.", Advice: "Nothing to do, unless it stays.",
		Clears: "as the oldest doses fall out of the last hour"},
	{Cause: CauseTopUpHeld, Action: Hold, Scope: ScopePump, Priority: PriorityTonight, Latches: LatchesThird, Delay: 10 * time.Minute, judged: byPump,
		Text: "Source water is held back: the level does not go with it.", Advice: "See the figures. Look at the supply, its stop valve and strainer, whether the valve closes, whether the gauge shows the level, and whether the benches' water is home. Then clear; if a bench's water is lost, enter the service.",
		Clears: "when the benches' water is home; after pulses that the level did not show, when a person clears"},
	{Cause: CauseContainerCap, Action: Hold, Scope: ScopePump, Priority: PriorityLog,
		Text: "The container holds less than the dose.", Advice: "Refill it and enter the refill.",
		Clears: "when the level shows a refill"},
	{Cause: CauseMixingWait, Action: Hold, Scope: ScopeTank, Priority: PriorityLog, judged: byTank,
		Text: "Earlier doses are not yet mixed in.", Advice: "Nothing to do.",
		Clears: "after the time named"},
	{Cause: CauseIncompatibleWait, Action: Hold, Scope: ScopePump, Priority: PriorityLog,
		Text: "Two concentrates that must not meet are kept apart.", Advice: "Nothing to do.",
		Clears: "when the first is mixed away from the injection"},
	{Cause: CauseAcidBaseChangeover, Action: Hold, Scope: ScopePump, Priority: PriorityLog,
		Text: "Waiting before switching between acid and base.", Advice: "Nothing to do, unless it repeats: then compare the probe with a hand meter.",
		Clears: "20 min after the other, or when the error is beyond 0.15 pH"},
	{Cause: CauseAnswerWait, Action: Hold, Scope: ScopePump, Priority: PriorityLog,
		Text: "The probe has not clearly answered what was given so far: the water is given rest, so that its answer can be told from drift.", Advice: "Nothing to do, unless it repeats: then compare the probe with a hand meter.",
		Clears: "after the time named"},
	{Cause: CauseAwayFromSetpoint, Action: Hold, Scope: ScopePump, Priority: PriorityLog,
		Text: "The dose would lead away from the setpoint.", Advice: "Nothing to do.",
		Clears: "when the settled reading is on the other side of the setpoint"},
	{Cause: CauseUnconfirmed, Action: Hold, Scope: ScopePump, Priority: PriorityLog,
		Text: "Earlier doses have not been seen by the probe yet.", Advice: "Nothing to do; if it stays, measure with a hand meter.",
		Clears: "when the reading follows the doses, or moves by itself"},
	{Cause: CauseInTransitCap, Action: Hold, Scope: ScopePump, Priority: PriorityLog,
		Text: "Enough is on its way that the probes have not seen yet.", Advice: "Nothing to do.",
		Clears: "as earlier doses mix"},
	{Cause: CauseEffectCap, Action: Hold, Scope: ScopePump, Priority: PriorityLog,
		Text: "The dose would move the water too far at once.", Advice: "If even the smallest dose does, dilute the reagent: leat check names the dilution.",
		Clears: "with a smaller dose"},
	{Cause: CauseDoseCap, Action: Hold, Scope: ScopePump, Priority: PriorityLog,
		Text: "The dose is larger than one dose may be.", Advice: "Nothing to do.",
		Clears: "with a smaller dose"},
	{Cause: CauseOrderTooSmall, Action: Hold, Scope: ScopePump, Priority: PriorityLog,
		Text: "The dose is smaller than the pump can repeat.", Advice: "Nothing to do.",
		Clears: "when more is needed"},
	// Alarms that stop nothing; alarm.go judges them.
	{Cause: CauseOutOfBand, Action: Run, Scope: ScopeTank, Priority: PriorityTomorrow,
		Text: "pH or EC stays outside its warn band.", Advice: "Compare the probe with a hand meter; check containers, pumps and source water.",
		Clears: "when both are back inside, or on their way"},
	{Cause: CauseECHigh, Action: Run, Scope: ScopeNutrients, Priority: PriorityTomorrow, Delay: 30 * time.Minute,
		Text: "EC is above its band, and adding cannot lower it.", Advice: "Dump some of the solution and top up with water.",
		Clears: "when EC is back in its warn band"},
	{Cause: CauseBufferScale, Action: Run, Scope: ScopeReagents, Priority: PriorityTomorrow, Delay: 10 * time.Minute,
		Text: "Doses work otherwise than commissioned.", Advice: "See what the figures point to and check it; then enter the service, or correct the configuration.",
		Clears: "when doses work as commissioned again, or a service is entered"},
	{Cause: CauseSurplus, Action: Run, Scope: ScopeNutrients, Priority: PriorityTomorrow, Delay: 30 * time.Minute,
		Text: "Acid or base supplies more of a nutrient than the crop takes.", Advice: "Change or split the acid (or base): a second one without this nutrient takes over part of the work. Have the tank analysed.",
		Clears: "when less of it is brought than is taken, or with the next analysis"},
	{Cause: CauseGroundLoop, Action: Run, Scope: ScopeReagents, Priority: PriorityTomorrow, Delay: time.Minute,
		Text: "pH reads off whenever a pump runs, which is a ground loop; readings are left out meanwhile.", Advice: "Use separate, isolated supplies for pump and transmitter; then enter the service.",
		Clears: "when a service is entered"},
	{Cause: CauseLevelStuck, Action: Run, Scope: ScopeTank, Priority: PriorityTonight,
		Text: "The level does not move with the water: it is dosed as for the least water there may be, and no valve of leat lets water in.", Advice: "Look into the tank: is the level as shown? If not, free or clean the gauge. If it is, look at what should have moved it: the supply, its valve and its strainer, the pump of the benches.",
		Clears: "when the level moves again, or a service is entered"},
	{Cause: CauseUnconfirmedLong, Action: Run, Scope: ScopeTank, Priority: PriorityTonight,
		Text: "Doses have gone in and the readings show nothing of them; no more of that liquid is given.", Advice: "Measure the tank with a hand meter. If the probe is wrong, look at its flow and its water; if it is right, look whether the pump delivers, then enter the service: leat tries again with small doses. Measure the buffer capacity.",
		Clears: "when the reading follows the doses or moves by itself, or a service is entered"},
	{Cause: CauseCompensation, Action: Run, Scope: ScopeNutrients, Priority: PriorityTomorrow,
		Text: "EC follows the temperature of the water: the probe's compensation is declared wrongly.", Advice: "See what the transmitter sends, raw EC or EC at 25 °C, and by which slope it corrects; write that as compensation of the EC input. Compare it with a hand meter.",
		Clears: "when EC no longer follows the temperature, or a corrected configuration is loaded"},
	{Cause: CauseContainerLow, Action: Run, Scope: ScopePump, Priority: PriorityTomorrow,
		Text: "A container is empty in some days.", Advice: "See what to buy with leat report shopping, make the stock by leat blend make, refill it and enter the refill.",
		Clears: "when a refill is entered, or its level shows one"},
	{Cause: CauseMixingSlow, Action: Run, Scope: ScopeTank, Priority: PriorityTomorrow,
		Text: "Doses show later than commissioned: the water mixes slowly.", Advice: "Look at the circulation: pump, filter, valves, air. If it runs as it should, time the pH probe in two buffers, then measure dead time and lag anew.",
		Clears: "when doses show in time again, or a service is entered"},
	{Cause: CauseProbeSlow, Action: Run, Scope: ScopeReagents, Priority: PriorityTomorrow,
		Text: "The pH probe answers slowly.", Advice: "Clean the pH probe and time it in two buffers: it should show nine tenths of the step within a minute. Replace it if it does not, then enter the service.",
		Clears: "when it answers in time again, or a service is entered"},
	{Cause: CauseSourceWater, Action: Run, Scope: ScopeTank, Priority: PriorityTomorrow,
		Text: "The top-up water brings more than the configuration says.", Advice: "Measure its alkalinity and EC: another source, a spent softener or membrane? Correct the cause, or the water in the configuration.",
		Clears: "when the next top-ups bring what was told, or a corrected configuration is loaded"},
	{Cause: CauseOffBalance, Action: Run, Scope: ScopeNutrients, Priority: PriorityTomorrow, Delay: 10 * time.Minute,
		Text: "One stock does otherwise than the others of its blend.", Advice: "Look at the container that is named: empty, settled, wrongly made? Then measure what its pump gives in a timed run. When the cause is found, enter the refill or the service, and have the tank analysed.",
		Clears: "when it does as the others do again, or a refill or a service is entered"},
	// The watched line; safety/line judges it.
	{Cause: CauseOxygenLow, Action: Run, Scope: ScopeTank, Priority: PriorityTonight, Delay: time.Minute,
		Text: "Oxygen in the water is low.", Advice: "Look at air pump, air stones and falling water, then at circulation; cool the water. Compare with a hand meter.",
		Clears: "when there is enough oxygen again"},
	{Cause: CauseWaterWarm, Action: Run, Scope: ScopeTank, Priority: PriorityTomorrow, Delay: 30 * time.Minute,
		Text: "The water is warm: it holds less oxygen, and root rot grows faster in it.", Advice: "Cool or shade the tank, aerate more, look at the heater.",
		Clears: "when the water is cooler"},
	{Cause: CauseFilmStopped, Action: Run, Scope: ScopeTank, Priority: PriorityTonight,
		Text: "A film has stopped: its roots dry.", Advice: "Look at its pump, valve, filter and spouts; wet the channels by hand until it flows.",
		Clears: "when it flows again"},
	{Cause: CauseFloodNotDrained, Action: Run, Scope: ScopeTank, Priority: PriorityTonight,
		Text: "A flood bench does not drain: its roots stand without air, and the tank lacks the water.", Advice: "Free the drain and its strainer; let the bench run empty by hand, and look whether its valve closes.",
		Clears: "when the bench is empty"},
	{Cause: CauseZoneSchedule, Action: Run, Scope: ScopeTank, Priority: PriorityTonight, Delay: time.Minute,
		Text: "A zone is not known to run as leat schedules it.", Advice: "Look at the zone itself: is it watered? Then at its node, its power and its network. If it refuses its schedule, see in which words, and set its own limits or the schedule in the configuration.",
		Clears: "when its node says that it runs its schedule"},
	{Cause: CauseFilterClogged, Action: Run, Scope: ScopeTank, Priority: PriorityTomorrow, Delay: 5 * time.Minute,
		Text: "The filter is clogged.", Advice: "Flush it or change its insert; if that lasts only days, look at what comes back from the benches.",
		Clears: "when it is flushed"},
	{Cause: CauseUVLampOut, Action: Run, Scope: ScopeTank, Priority: PriorityTomorrow, Delay: 2 * time.Minute,
		Text: "The UV lamp is out: the water comes back untreated.", Advice: "Look at its supply, ballast and lamp, mains off before you open it.",
		Clears: "when it burns again"},
	{Cause: CauseUVDoseLow, Action: Run, Scope: ScopeTank, Priority: PriorityTomorrow, Delay: 15 * time.Minute,
		Text: "The water gets less UV than was asked for.", Advice: "Let less water through, clean the sleeve, look at the filter before it; if that does not help, change the lamp.",
		Clears: "when the dose is reached"},
	{Cause: CauseUVLampOld, Action: Run, Scope: ScopeTank, Priority: PriorityTomorrow,
		Text: "The UV lamp is at the end of its life.", Advice: "Change it and set its hours back to zero.",
		Clears: "when its hours begin anew"},
	{Cause: CauseWatchedInvalid, Action: Run, Scope: ScopeTank, Priority: PriorityTomorrow, Delay: 10 * time.Minute,
		Text: "A sensor that is only watched is silent or reads what cannot be: its alarms are blind.", Advice: "Look at the sensor, its wire and its unit.",
		Clears: "when it reads well again"},
	{Cause: CauseDisarmed, Action: Run, Scope: ScopeTank, Priority: PriorityTonight,
		Text: "The tank was armed and now only observes, without a person's word: nothing is dosed.", Advice: "Find out why, then arm the tank; or say observe, if it shall only observe.",
		Clears: "when a person arms the tank or says observe"},
	{Cause: CauseDosingBlockedLong, Action: Run, Scope: ScopeTank, Priority: PriorityTomorrow,
		Text: "A dose that is needed has been withheld for a long time.", Advice: "See the active interlocks and whether they can be right.",
		Clears: "when it is dosed or no longer needed"},
}
