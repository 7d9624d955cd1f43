package main

import (
	"flag"
	"io"
	"net/url"
	"slices"
	"strings"

	"leat/controller"
	"leat/controller/desk"
)

// modes are what a person may tell the daemon from its machine.
var modes = []controller.RequestKind{controller.RequestArm, controller.RequestObserve, controller.RequestStop, controller.RequestClear,
	controller.RequestPause, controller.RequestResume, controller.RequestConfirmWater, controller.RequestRaiseEpoch}

func modeCommand(flags *flag.FlagSet) task {
	var d daemonFlags
	d.declare(flags)
	note := flags.String("note", "", "what was checked; needed by clear, confirm-water and raise-epoch")
	water := flags.String("water", "", "which `WATER` confirm-water finds in the tank: source, recipe, analysis, tank:NAME (the solution of that tank), same or unknown; needed where the tank has a recipe")
	replaced := flags.String("replaced", "", "with -water source, how much of the tank was replaced, as `PERCENT`; empty = all of it")
	analysis := flags.String("analysis", "", "with -water analysis, what the solution holds, as `LIST`: \"NO3-N=168 mg/L, K=275 mg/L\"")
	until := flags.String("until", "", "`TIME` at which a pause ends by itself, such as 06:00 or 2 h; default when it is resumed")
	var verbs []string
	for _, m := range modes {
		verbs = append(verbs, m.String())
	}
	return task{usage: modeUsage, words: 1, verbs: verbs, values: map[string][]string{"water": {"source", "recipe", "analysis", "same", "unknown"}}, do: func(stdout, _ io.Writer) error {
		kind, ok := controller.ParseRequestKind(flags.Arg(0))
		switch {
		case !ok || !slices.Contains(modes, kind):
			return desk.Misuse("%q: want one of %s", flags.Arg(0), strings.Join(verbs, ", "))
		case *until != "" && kind != controller.RequestPause:
			return desk.Misuse("-until goes with pause")
		}
		folder, err := d.folder(true)
		if err != nil {
			return err
		}
		return d.ask(folder, url.Values{"do": {kind.String()}, "note": {*note}, "water": {*water}, "replaced": {*replaced}, "analysis": {*analysis}, "until": {*until}}, false, stdout)
	}}
}

const modeUsage = `usage: leat mode -config FILE -tank NAME [-note TEXT] [-water WATER] [-until TIME] arm|observe|stop|clear|pause|resume|confirm-water|raise-epoch

Tells the running daemon, over the socket in its state folder. arm doses, observe only shows what it would dose, stop
ends dosing until a person clears it, saying with -note what was checked. A software stop is no emergency stop.
raise-epoch ends ledger-behind-node: the nodes know of later orders than the ledger. Find out what was dosed meanwhile,
and say it in the note; afterwards every tank of the station observes. confirm-water says with -water which water is in:
from it the account of the ions starts anew.

`
