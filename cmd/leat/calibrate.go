package main

import (
	"flag"
	"io"
	"net/url"
	"os"
	"time"

	"leat/controller"
	"leat/controller/app"
	"leat/controller/desk"
)

const calibrateUsage = `usage: leat calibrate -config FILE -tank NAME PROBE

Leads through the calibration of a pH or EC probe of the running daemon: nothing is dosed meanwhile, each standard's
reading is taken when it is steady, swapped standards are refused, and slope and offset are used from then on.
PROBE is its name in the configuration: ph, ph_2, ec or ec_2.

Standards that are known with their temperature: pH 4.01, 6.86, 7.00, 9.18, 10.01; potassium chloride 1408, 1413
uS/cm, 12.82 and 12.88 mS/cm. Of another, give what its label says at its temperature: label:7.02. Keep the temperature
probe beside the probe where its transmitter compensates by it.

A probe that its own transmitter calibrates is only entered, with what it read afterwards:
  leat act calibrate -tank NAME -probe ph -step entered -celsius 22 -found "7.00=7.02, 4.01=4.05"
leat report probes tells all calibrations and which is due.

`

func calibrateCommand(flags *flag.FlagSet) task {
	var d daemonFlags
	d.declare(flags)
	return task{usage: calibrateUsage, words: 1, do: func(stdout, _ io.Writer) error {
		switch {
		case flags.Arg(0) == "":
			return desk.Misuse("name the probe, such as ph or ec")
		case d.json:
			return desk.Misuse("it asks and tells: for one step as JSON, leat act calibrate -json")
		}
		folder, err := d.folder(true)
		if err != nil {
			return err
		}
		guide := desk.Calibration{Probe: flags.Arg(0), Wait: func() { time.Sleep(5 * time.Second) },
			Ask: func(form url.Values) (controller.Answer, error) {
				form.Set("tank", d.tank)
				form.Set("by", desk.WhoAmI())
				return app.Ask(folder, form)
			}}
		return guide.Guide(os.Stdin, stdout)
	}}
}
