package main

import (
	"flag"
	"io"
	"runtime"
	"strings"

	"leat/controller/campaign"
	"leat/controller/desk"
)

const rehearseUsage = `usage: leat rehearse [flags]

Plays seeded nights of a simulated farm with the daemon's own core, gate, ledger code and parsers, scores them and
checks the rules (-rules prints them) on what truly happened. The same seed is the same night, byte for byte.
With -replay it feeds a recording of your own probes through the same parsers and quality tests instead: is this probe
fit to dose by, how much does it scatter, and what would have called you?
Exit code: 0 no violation, 1 a violation or a failure, 2 wrong use.

`

func rehearseCommand(flags *flag.FlagSet) task {
	var r desk.Rehearsal
	flags.StringVar(&r.Set, "set", "standard", "`SET` of nights: "+setNames())
	flags.IntVar(&r.Nights, "nights", 400, "`K` nights")
	flags.Uint64Var(&r.Seed, "seed", 1, "of the first night; each further night has the next one")
	flags.StringVar(&r.Faults, "faults", "none", "none, one or two a night, each (one a night, kind by kind), swarm (one to five of kinds drawn for each night), or `NAMES` such as pump-dead or pump-dead@2h5m+30m,ph-silent@3h")
	flags.BoolVar(&r.Baselines, "baselines", false, "play the same nights under the timer, wait-and-look and perfect-knowledge too")
	flags.BoolVar(&r.People, "people", false, "let people work on the farm: pause, refill, calibrate, clean, set another setpoint, pour by hand; with slips that they put right; and let them ask for less and more at once while the disk is slow")
	flags.IntVar(&r.Workers, "workers", runtime.GOMAXPROCS(0), "nights played at once; the result does not depend on it")
	flags.StringVar(&r.Without, "without", "", "leave a `PART` of the law out, to see what it is worth: transit, learning, feed-forward or pessimism; all plays the law whole and without each")
	flags.StringVar(&r.From, "from", "", "with -config: begin with the record in this state `FOLDER` and play its recorded nights; nothing in it is changed")
	flags.StringVar(&r.Part, "farm", "", "play the one night of a `FILE` as a failed rehearsal prints it, with the tanks, stocks, faults and people's acts that the failure takes; - is the standard input")
	flags.StringVar(&r.Config, "config", "", "configuration `FILE`: rehearse your own farm in place of drawn ones")
	flags.BoolVar(&r.JSON, "json", false, "print one JSON document")
	flags.StringVar(&r.Picture, "picture", "", "SVG `FILE` of one night (that of -night, else the worst) and of all nights")
	flags.BoolVar(&r.Month, "month", false, "a month of one farm (the sample, or -config), whose plants take by another ratio than the recipe: shares fixed, and with an analysis when the account wants one, at the latest after a fortnight; with -seed, -picture and -json")
	flags.StringVar(&r.Recording, "replay", "", "CSV `FILE` of readings of one tank (time, and ph, ec, temperature or level): say which of them leat would dose by, which not and why, and what alarms it would give; with -config by the limits of its first tank; with -json")
	flags.IntVar(&r.Night, "night", -1, "play only night `K` of the seed")
	flags.BoolVar(&r.Rules, "rules", false, "print the rules that every night is checked by, and the faults with what names them and what they need to show")
	flags.BoolVar(&r.Trace, "trace", false, "with -night: print what the daemon did, line by line")
	flags.StringVar(&r.Plant, "plant", "", "`COMMAND` that computes the water in place of the simulation, over JSON lines; deploy/plant.py is an example")
	return task{usage: rehearseUsage, values: map[string][]string{"set": strings.Split(setNames(), ", ")}, do: func(stdout, stderr io.Writer) error {
		ctx, stop := interrupted()
		defer stop()
		r.Given = setFlags(flags)
		return r.Do(ctx, stdout, stderr)
	}}
}

func setNames() string {
	var names []string
	for _, s := range campaign.Sets() {
		names = append(names, s.Name)
	}
	return strings.Join(names, ", ")
}
