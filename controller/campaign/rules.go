package campaign

// Rule is an invariant: what must hold in every night, whatever happens in it.
type Rule struct {
	Number int    `json:"number"`
	Name   string `json:"name"`
	Text   string `json:"text"`
	// By says how it is checked where no checker of nights does: by the command of a
	// test, or why it is counted and not judged.
	By string `json:"checked_by"`

	// check computes from the settings and the trace of what truly happened, not from
	// what the gate computed, but for the gate's buffer floor, to which the rules refer.
	check func(t *trail)
}

// byNights is what Rule.By says of a rule that has a checker.
const byNights = "every night of leat rehearse"

// rules are the invariants. Their numbers are what a report, a planted bug and the
// safety case call them by; a number is never given to another rule.
var rules = []Rule{
	{1, "at most once", "A pump starts at most once for an order, however often the order arrives.",
		"go test ./controller/sim -run DuplicatedOrderRunsOnce", nil},
	{2, "intent first", "No order goes out, and no pump starts for it, before its intent is durable.", byNights, intentFirst},
	{3, "ledger covers truth", "The ledger never counts less of a dose than its pump gave, whatever nodes or others report.", byNights, covers},
	{4, "dose cap", "One dose is worth at most 0.10 pH at the gate's floor of the buffer, more only by known unanswered alkalinity, and at most 0.10 mS/cm; it keeps its pump's cap on volume and run time.", byNights, doseCap},
	{5, "in-transit cap", "What is on its way, net of its opposite, is worth at most 0.30 pH at the gate's floor of the buffer and known unanswered alkalinity, and at most 0.20 mS/cm.", byNights, transitCap},
	{6, "rolling caps", "Whenever an order goes out, its pump is within its caps of the hour and of the day.", byNights, rollingCaps},
	{7, "fresh", "Every order rests on a reading that is fresh, valid for dosing and not one the broker had stored.", byNights, fresh},
	{8, "no dose while inhibited", "Every order goes to a tank that is armed and that no interlock holds.", byNights, inhibited},
	{9, "direction", "Acid is given above the setpoint, base and stock below it; no dose is meant to carry the water past it.", byNights, direction},
	{10, "no fighting", "Acid and base do not follow each other within 20 minutes or while a tenth of the in-transit cap of the other is on its way, unless pH is 0.15 off; concentrates that must not meet are given apart.", byNights, fighting},
	{11, "bounded run", "A pump runs no longer than its order, and never without an order that is open.",
		"go test ./controller/sim -run 'OverLongOrder|RebootInADose'", nil},
	{12, "deadline", "A pump starts within ten seconds of the decision, in the boot of the node that the order names, or not at all.",
		"go test ./controller/sim -run 'LateOrder|OrderOfAnotherBoot'", nil},
	{13, "lease", "A pump is off ten seconds after the last valid lease, and off when its node starts.",
		"go test ./controller/sim -run 'LapsedLease|RebootInADose'", nil},
	{14, "setpoint safe", "The working setpoint stays within its bounds and moves no faster than its ramp.", byNights, setpoint},
	{15, "stops in time", "Under a fault that must hold or stop dosing, no pump starts later than the fault takes to be seen.",
		"go test ./controller/sim -run EachFaultShows", nil},
	{16, "attributable harm", "Under one fault, doses add at most 0.30 pH and 0.25 mS/cm to the distance from the setpoint, 0.60 pH where the buffer capacity was commissioned and not measured.",
		"the report of leat rehearse -faults one, which counts the nights above it: it is an aim", nil},
	{17, "fault-free envelope", "Once a night without faults has reached its setpoints, pH stays within 0.5 and EC within 0.2 of them, unless it would leave them with dead pumps too.", byNights, envelope},
	{18, "crash neutral", "After a crash and a restart no dose is given twice, and no less is on its way than before.",
		"go test ./controller/store -run Crash", nil},
	{19, "ledger durable", "A row whose write was acknowledged is there after a loss of power; damage before the end of the ledger doses nothing.",
		"go test ./controller/store -run 'Crash|Damaged'", nil},
	{20, "uncertain counted", "No order goes out while another dose of its tank is open; what is uncertain counts in full.", byNights, uncertain},
	{21, "single writer", "A node takes no order of an epoch below the highest that it has seen.",
		"go test ./controller/sim -run OlderEpoch", nil},
	{22, "wall clock", "The doses of a night are the same under any wall clock.",
		"go test ./controller/campaign -run AnotherWallClock", nil},
	{23, "configuration whole", "A configuration is taken whole or not at all, and a dose ends under the one it began with.",
		"go test ./controller/app -run ReloadIsTakenWhole", nil},
	{24, "in-transit never forgiven", "What is on its way falls by the law of mixing alone, not by a restart, a reload, a calibration or a word.", byNights, forgiven},
	{25, "latched means latched", "What a latched interlock stopped is not dosed until a person clears it.", byNights, latched},
	{26, "no order while the link is closed", "No order goes out while the link to the broker is not open, and the broker stores none.", byNights, linked},
	{27, "alarm exactness", "Each fault that a reading shows is named by its own cause; a night without faults calls nobody.",
		"the recall and the spurious trips in the report of leat rehearse: they are counted", nil},
	{28, "liveness", "A demand that nothing holds is met within a quarter of an hour, and every hold says why and since when.", byNights, liveness},
	{29, "bounded and live", "Queues, maps and memory stay within limits under any flood and any stall of the disk.",
		"go test ./controller/app -run Flood", nil},
	{30, "deterministic", "The same seed is the same night.", "one night in a hundred of leat rehearse, played twice", nil},
	{31, "never into the unknown", "Nothing is dosed into water that nobody has confirmed.", byNights, unknown},
	{32, "whole blends", "Whenever no blend is under way, what was given of the stocks is in the ratio of the blend, within one smallest dose each.", byNights, wholeBlends},
	{33, "scope", "A fault of one stock, or of EC, never stops acid or base.", byNights, scope},
	{34, "irrigation survives", "Nothing in leat can stop circulation, aeration or irrigation: there is no such order.",
		"go test ./controller -run Room", nil},
	{35, "one outlet", "One order of a station runs at a time, and into the tank that it names.", byNights, oneOutlet},
	{36, "less beats more", "After a request that lets less happen, no earlier request for more takes effect.", byNights, lessBeatsMore},
	{37, "live equals replayed", "The core that is rebuilt from its ledger is the living one.", byNights, liveIsReplayed},
	{38, "a word doses nothing", "No entry by hand and no report makes a pump dose against the reading.", byNights, wordless},
	{39, "every nutrient within its limits", "A micronutrient whose stock holds nothing else stays within a fifth of its target, and no stock is given to dilute.",
		"go test ./dosing/blend -run 'EveryNutrientStays|ToThinATankOut'", nil},
	{40, "unseen reagent is bounded", "While what a probe shows stands still, no more reagent goes in than its account admits, and two tests.", byNights, unseen},
	{41, "one sample latches nothing", "One wild sample of one input latches nothing, and what it held is free soon after.", byNights, oneSample},
	{42, "reports never lower the count", "Once a dose is counted, no later report lowers it, whoever sends it.", byNights, neverLowered},
	{43, "same configuration, same plan", "The same file gives the same settings each time.",
		"go test ./controller/config -run TheSameFile", nil},
	{44, "water stays in", "A valve is never ordered to let in more than has room below the overflow; in a night without faults the tank neither runs over nor lacks water for long.", byNights, (*trail).waterStaysIn},
}

// deterministic is the number of the rule that is checked by playing nights twice.
const deterministic = 30

// Rules are all invariants, in the order of their numbers.
func Rules() []Rule { return append([]Rule(nil), rules...) }

// Checked lists the numbers of the invariants that are checked on nights.
func Checked() []int {
	var all []int
	for i := range rules {
		if rules[i].check != nil || rules[i].Number == deterministic {
			all = append(all, rules[i].Number)
		}
	}
	return all
}
