package controller_test

import (
	"strings"
	"testing"

	"leat/safety"
)

// ledgerRules are what the ledger promises to every cap, each shown by a scenario.
var ledgerRules = map[string]string{
	"intent-before-order":          "an intent is durable before its order leaves",
	"judged-again":                 "a durable intent is judged again before its order",
	"withdrawn-counts-nothing":     "what surely never left counts nothing, and nothing else does",
	"refused-counts-in-full":       "what a node refused counts in full",
	"uncertain-counts-in-full":     "of what no word came counts in full and is never sent again",
	"contradicted-counts-in-full":  "what a node contradicts itself about counts in full",
	"over-delivery-counts":         "what a node says it gave beyond the order counts as well",
	"later-word-only-raises":       "a later word may raise what counts, never lower it",
	"open-at-restart-counts":       "an intent without an end at a start counts in full",
	"epochs-rise":                  "each run has an epoch above all before it",
	"raised-epoch-is-the-same-run": "a person who raises the epoch begins no other run",
	"lost-ledger-locks-out":        "an empty ledger beside nodes that know of orders doses nothing",
	"older-copy-locks-out":         "an older copy beside nodes that know of later orders doses nothing",
	"copy-put-back":                "a copy that was put back on purpose says what it lacks, which counts as given",
	"latch-outlives-restart":       "a stop that latched is there again after a restart",
	"unconfirmed-outlives-restart": "water that nobody confirmed is unconfirmed after a restart, a clear and arming",
	"ask-outlives-restart":         "a setpoint that a person asked for holds after a restart",
	"by-hand-counts":               "what is poured in by hand counts like a dose; taken back it is a second row",
	"container-by-refill":          "what a container holds is what a person said at its refill, and the ledger keeps it",
	"less-beats-more":              "what lets less happen takes away what lets more happen and is not yet durable",
}

// elsewhere are the rows of the table that no file can bring about, and what shows them.
var elsewhere = map[safety.Cause]string{
	safety.CauseInputNotEvaluated: "no input can make the gate forget a check: its own tests leave one out",
	safety.CauseSurplus:           "it follows from a day of plants and doses, which only a simulated farm has",
}

// A row of the table is shown by a scenario that is about it and in which it comes; a
// rule of the ledger by one that is about it and shows rows.
func TestEveryInterlockAndEveryRuleOfTheLedgerHasAScenario(t *testing.T) {
	shown := map[string]bool{}
	for _, file := range scenarioFiles(t) {
		s, text := readScenario(t, file)
		for _, name := range s.about {
			cause, known := safety.ParseCause(name)
			switch {
			case known && !strings.Contains(text, "  -> interlock "+name+" ") && !strings.Contains(text, "  -> alarm "+name+","):
				t.Errorf("%s is about %s, which does not come", file, name)
			case known && elsewhere[cause] != "":
				t.Errorf("%s shows %s, of which it is said that %s", file, name, elsewhere[cause])
			case !known && ledgerRules[name] == "":
				t.Errorf("%s is about %q, which is neither an interlock nor a rule of the ledger", file, name)
			case !known && !strings.Contains(text, "  -> ledger: "):
				t.Errorf("%s is about the rule %s and shows no row", file, name)
			}
			shown[name] = true
		}
	}
	for _, cause := range safety.Causes() {
		if !shown[cause.String()] && elsewhere[cause] == "" {
			t.Errorf("the interlock %s has no scenario", cause)
		}
	}
	for rule, says := range ledgerRules {
		if !shown[rule] {
			t.Errorf("the rule %s (%s) has no scenario", rule, says)
		}
	}
}
