package main

import (
	"flag"
	"fmt"
	"io"
	"net/url"
	"os/user"
	"slices"
	"strings"

	"leat/controller"
	"leat/controller/app"
	"leat/controller/config"
)

// modes are what a person may tell the daemon from its machine.
var modes = []controller.RequestKind{controller.RequestArm, controller.RequestObserve, controller.RequestStop, controller.RequestClear,
	controller.RequestPause, controller.RequestResume, controller.RequestConfirmWater, controller.RequestRaiseEpoch}

func modeCommand(flags *flag.FlagSet) task {
	path := flags.String("config", "", "configuration `FILE` of the running daemon, to find its state folder")
	state := flags.String("state", "", "state `FOLDER` of the running daemon, instead of -config")
	tank := flags.String("tank", "", "`NAME` of the tank")
	note := flags.String("note", "", "what was checked; needed by clear, confirm-water and raise-epoch")
	water := flags.String("water", "", "which `WATER` confirm-water finds in the tank: source, recipe, analysis, tank:NAME (the solution of that tank), same or unknown; needed where the tank has a recipe")
	replaced := flags.String("replaced", "", "with -water source, how much of the tank was replaced, as `PERCENT`; empty = all of it")
	analysis := flags.String("analysis", "", "with -water analysis, what the solution holds, as `LIST`: \"NO3-N=168 mg/L, K=275 mg/L\"")
	asJSON := flags.Bool("json", false, "print the answer as JSON")
	var verbs []string
	for _, m := range modes {
		verbs = append(verbs, m.String())
	}
	return task{usage: modeUsage, words: 1, verbs: verbs, values: map[string][]string{"water": {"source", "recipe", "analysis", "same", "unknown"}}, do: func(stdout, _ io.Writer) error {
		kind, ok := controller.ParseRequestKind(flags.Arg(0))
		switch {
		case !ok || !slices.Contains(modes, kind):
			return misuse("%q: want one of %s", flags.Arg(0), strings.Join(verbs, ", "))
		case *tank == "":
			return misuse("name the tank with -tank NAME")
		case (*path == "") == (*state == ""):
			return misuse("name the running daemon by -config FILE or -state FOLDER, one of the two")
		}
		folder := *state
		if folder == "" {
			file, err := config.Look(*path)
			if err != nil {
				return err
			}
			folder = file.State
		}
		answer, err := app.Ask(folder, url.Values{"do": {kind.String()}, "tank": {*tank}, "note": {*note}, "water": {*water}, "replaced": {*replaced}, "analysis": {*analysis}, "by": {whoAmI()}})
		if err != nil {
			return err
		}
		return tellAnswer(*tank, answer, *asJSON, stdout)
	}}
}

// tellAnswer says what the daemon answered; a refusal is an error.
func tellAnswer(tank string, answer controller.Answer, asJSON bool, stdout io.Writer) (err error) {
	switch {
	case asJSON:
		err = writeJSON(stdout, struct {
			Tank     string `json:"tank"`
			Accepted bool   `json:"accepted"`
			Text     string `json:"text"`
		}{tank, answer.Accepted, answer.Text})
	case answer.Accepted:
		_, err = fmt.Fprintf(stdout, "%s: %s\n", tank, answer.Text)
	}
	if !answer.Accepted {
		err = fmt.Errorf("%s: refused: %s", tank, answer.Text)
	}
	return err
}

const modeUsage = `usage: leat mode -config FILE -tank NAME [-note TEXT] [-water WATER] arm|observe|stop|clear|pause|resume|confirm-water|raise-epoch

Tells the running daemon, over the socket in its state folder. arm doses, observe only shows what it would dose, stop
ends dosing until a person clears it, saying with -note what was checked. A software stop is no emergency stop.
raise-epoch ends record-behind-node: the nodes know of later orders than the ledger. Find out what was dosed meanwhile,
and say it in the note; afterwards every tank of the station observes. confirm-water says with -water which water is in:
from it the account of the ions starts anew.

`

func whoAmI() string {
	if u, err := user.Current(); err == nil {
		return u.Username
	}
	return "local"
}
