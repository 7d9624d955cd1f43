package main

import (
	"flag"
	"io"
	"net/url"
	"os"

	"leat/controller"
	"leat/controller/app"
	"leat/controller/config"
	"leat/controller/desk"
)

const calibratePumpUsage = `usage: leat calibrate-pump -config FILE [-new] PUMP

Leads through the measuring of a pump by cylinder or balance: nothing is dosed into its tanks meanwhile, the pump is run
at its node, rate and repeatability are entered and compared with the file. Only the file changes how long a dose runs:
the answer says what to write. With -new the pump or its tube was replaced, in five named steps: its rate, the file with
that rate and whether the sizing passes, the limits to set at its node, and a first dose that is small and looked at; its
hours begin anew. leat report pumps tells rates, wear and tube hours. One entry alone: leat act pump-rate, leat act new-tube.

`

func calibratePumpCommand(flags *flag.FlagSet) task {
	var d daemonFlags
	d.declare(flags)
	isNew := flags.Bool("new", false, "the pump or its tube was replaced")
	return task{usage: calibratePumpUsage, words: 1, do: func(stdout, _ io.Writer) error {
		switch {
		case flags.Arg(0) == "":
			return desk.Misuse("name the pump")
		case d.config == "":
			return desk.Misuse("name the configuration with -config FILE: it tells which tanks the pump serves")
		case d.json || d.tank != "":
			return desk.Misuse("it asks and tells, for all tanks that the pump serves")
		}
		tanks, err := desk.TanksOf(d.config, flags.Arg(0))
		if err != nil {
			return err
		}
		folder, err := d.folder(false)
		if err != nil {
			return err
		}
		guide := desk.PumpCalibration{Pump: flags.Arg(0), Config: d.config, Tanks: tanks, New: *isNew,
			Check: func() (config.Report, error) { return config.CheckFile(d.config) },
			Ask: func(tank string, form url.Values) (controller.Answer, error) {
				form.Set("tank", tank)
				form.Set("by", desk.WhoAmI())
				return app.Ask(folder, form)
			}}
		return guide.Guide(os.Stdin, stdout)
	}}
}
