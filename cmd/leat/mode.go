package main

import (
	"flag"
	"fmt"
	"io"
	"net/url"
	"os/user"

	"leat/controller"
	"leat/controller/app"
	"leat/controller/config"
)

func modeCommand(args []string, stdout, stderr io.Writer) int {
	flags := flag.NewFlagSet("leat mode", flag.ContinueOnError)
	path := flags.String("config", "", "configuration `FILE` of the running daemon, to find its state folder")
	state := flags.String("state", "", "state `FOLDER` of the running daemon, instead of -config")
	tank := flags.String("tank", "", "`NAME` of the tank")
	note := flags.String("note", "", "what was checked; needed by clear, confirm-water and raise-epoch")
	water := flags.String("water", "", "which `WATER` confirm-water finds in the tank: source, recipe, analysis, tank:NAME (the solution of that tank), same or unknown; needed where the tank has a recipe")
	replaced := flags.String("replaced", "", "with -water source, how much of the tank was replaced, as `PERCENT`; empty = all of it")
	analysis := flags.String("analysis", "", "with -water analysis, what the solution holds, as `LIST`: \"NO3-N=168 mg/L, K=275 mg/L\"")
	asJSON := flags.Bool("json", false, "print the answer as JSON")
	flags.Usage = func() {
		fmt.Fprint(flags.Output(), modeUsage)
		flags.PrintDefaults()
	}
	if code, done := parseFlags(flags, args, stdout, stderr, 1); done {
		return code
	}
	kind, ok := controller.ParseRequestKind(flags.Arg(0))
	switch {
	case !ok || !oneOfModes(kind):
		return misused("leat mode", fmt.Sprintf("%q: want one of arm, observe, stop, clear, pause, resume, confirm-water, raise-epoch", flags.Arg(0)), stderr)
	case *tank == "":
		return misused("leat mode", "name the tank with -tank NAME", stderr)
	case (*path == "") == (*state == ""):
		return misused("leat mode", "name the running daemon by -config FILE or -state FOLDER, one of the two", stderr)
	}
	folder := *state
	if folder == "" {
		file, err := config.Look(*path)
		if err != nil {
			return exit("leat mode", err, stderr)
		}
		folder = file.State
	}
	answer, err := app.Ask(folder, url.Values{"do": {kind.String()}, "tank": {*tank}, "note": {*note}, "water": {*water}, "replaced": {*replaced}, "analysis": {*analysis}, "by": {whoAmI()}})
	if err != nil {
		return exit("leat mode", err, stderr)
	}
	if *asJSON {
		_ = writeJSON(stdout, struct { // stdout that is gone is the caller's
			Tank     string `json:"tank"`
			Accepted bool   `json:"accepted"`
			Text     string `json:"text"`
		}{*tank, answer.Accepted, answer.Text})
	} else if answer.Accepted {
		fmt.Fprintf(stdout, "%s: %s\n", *tank, answer.Text)
	}
	if !answer.Accepted {
		return exit("leat mode", fmt.Errorf("%s: refused: %s", *tank, answer.Text), stderr)
	}
	return 0
}

const modeUsage = `usage: leat mode -config FILE -tank NAME [-note TEXT] [-water WATER] arm|observe|stop|clear|pause|resume|confirm-water|raise-epoch

Tells the running daemon, over the socket in its state folder. arm doses, observe only shows what it would dose, stop
ends dosing until a person clears it, saying with -note what was checked. A software stop is no emergency stop.
raise-epoch ends record-behind-node: the nodes know of later orders than the ledger. Find out what was dosed meanwhile,
and say it in the note; afterwards every tank of the station observes. confirm-water says with -water which water is in:
from it the account of the ions starts anew.

`

func oneOfModes(kind controller.RequestKind) bool {
	switch kind {
	case controller.RequestArm, controller.RequestObserve, controller.RequestStop, controller.RequestClear,
		controller.RequestPause, controller.RequestResume, controller.RequestConfirmWater, controller.RequestRaiseEpoch:
		return true
	}
	return false
}

func whoAmI() string {
	if u, err := user.Current(); err == nil {
		return u.Username
	}
	return "local"
}
