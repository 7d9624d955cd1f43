package main

import (
	"flag"
	"io"
	"maps"
	"net/url"
	"slices"
	"strings"

	"leat/controller"
	"leat/controller/app"
	"leat/controller/desk"
	"leat/safety"
)

const actUsage = `usage: leat act -config FILE -tank NAME VERB [flags]

Enters what a person did or wants, over the socket in the running daemon's state folder: the same acts as the page's,
with the same checks and in the same ledger. Modes, pauses and confirmed water: leat mode.

  setpoint     -ph VALUE or -ec VALUE [-until TIME] [-note TEXT]
  cleaning     begins a cleaning: no dose until leat mode confirm-water
  maintenance  work on probes or pumps: no dose until leat mode resume
  serviced     a pump or probe was serviced, or the filling changed: what was learned starts anew
  hand-dose    -pump NAME -ml VOLUME: what was added by hand
  void         -entry NAME: an entry by hand was a mistake
  refill       -pump NAME -litres VOLUME [-batch TEXT] [-note STRENGTH]: what the container holds now; needs no -tank
  analysis     -analysis LIST [-sampled TIME]: what a laboratory found
  meter        -ph VALUE, -ec VALUE or both: what a hand meter reads in the tank itself, once a week. Where it agrees with
               the probe, doses that no reading has shown count as seen; far apart, nothing (of EC: no stock) is dosed until resumed
  calibrate    -probe NAME -step STEP [-standard NAME -celsius T] [-found LIST]: one step; leat calibrate leads through them
  pump-rate    -pump NAME -runs LIST: seconds and mL of each run into a cylinder; needs no -tank
  titrate      small doses measure how much the water buffers and how it mixes; the page of the tank tells the result
  fill         source water up to the working level, then acid and stocks up to the setpoints: the answer is the plan and
               its code, -confirm CODE approves it within 10 minutes; leat mode observe ends it
  new-tube     -pump NAME: the pump or its tube was replaced; needs no -tank
  end-holiday  a holiday of the schedule is over: setpoints return to the stage of the crop
  acknowledge  -cause CAUSE: a person knows of an alarm
  shelve       -cause CAUSE and -for DURATION or -until TIME: no call for so long
  mark         -note TEXT: found again at this time in leat report

A step that is large is asked about first: -yes answers that it is so. It approves no plan, which nobody has read yet.

`

// actTakes are what each verb takes beside the daemon, the tank and a note.
var actTakes = map[controller.RequestKind]string{
	controller.RequestSetpoint: "ph ec until", controller.RequestCleaning: "", controller.RequestMaintenance: "", controller.RequestServiced: "",
	controller.RequestHandDose: "pump ml", controller.RequestVoid: "entry", controller.RequestRefill: "pump litres batch",
	controller.RequestAnalysis: "analysis sampled", controller.RequestAcknowledge: "cause", controller.RequestShelve: "cause for until", controller.RequestMark: "", controller.RequestCalibrate: "probe step standard celsius found", controller.RequestEndHoliday: "",
	controller.RequestPumpRate: "pump runs", controller.RequestNewTube: "pump", controller.RequestMeter: "ph ec", controller.RequestTitrate: "", controller.RequestFill: "confirm",
}

// actNeeds are those of them without which there is nothing to ask.
var actNeeds = map[controller.RequestKind]string{controller.RequestHandDose: "pump ml", controller.RequestVoid: "entry", controller.RequestRefill: "pump litres",
	controller.RequestAnalysis: "analysis", controller.RequestAcknowledge: "cause", controller.RequestShelve: "cause", controller.RequestMark: "note", controller.RequestCalibrate: "probe step", controller.RequestPumpRate: "pump runs", controller.RequestNewTube: "pump"}

func actCommand(flags *flag.FlagSet) task {
	var d daemonFlags
	d.declare(flags)
	for _, f := range []struct{ name, does string }{
		{"note", "why, or what else is to be known, as `TEXT`"}, {"ph", "pH as `VALUE`: a setpoint, or a hand meter's reading"}, {"ec", "EC as `VALUE` in mS/cm, likewise"},
		{"until", "`TIME` at which the configuration's setpoint returns, default without a time limit; or at which a shelved alarm calls again: 06:00 or 2 h"},
		{"pump", "`NAME` of the pump whose liquid it is"}, {"ml", "`VOLUME` added by hand, in mL"}, {"litres", "`VOLUME` that the container holds now, in L"},
		{"batch", "of what was filled in, as `TEXT`"}, {"entry", "`NAME` of the entry by hand, such as H7-1"},
		{"analysis", "what the laboratory found, as `LIST`: \"NO3-N=168 mg/L, K=275 mg/L\""},
		{"sampled", "`TIME` at which the sample was taken, such as 2031-03-04T09:00; default now"},
		{"runs", "what a pump gave in each run, as `LIST`: \"60=98.5, 60=98.1\""}, {"probe", "`NAME` of the probe, such as ph"}, {"step", "`STEP` of the calibration: begin, read, accept, cancel or entered"},
		{"standard", "`NAME` of the standard that the probe stands in, such as 4.01, or label:7.02"}, {"celsius", "`TEMPERATURE` of it, in °C"},
		{"found", "what a probe that its transmitter calibrated read in each standard, as `LIST`: \"7.00=7.02, 4.01=4.05\""},
		{"confirm", "`CODE` of the plan that was shown and is approved"},
		{"cause", "`CAUSE` of the alarm, such as circulation-off"}, {"for", "`DURATION`, such as 2h"}} {
		flags.String(f.name, "", f.does)
	}
	yes := flags.Bool("yes", false, "a large step is meant so")
	var verbs, causes []string
	for k := range actTakes {
		verbs = append(verbs, k.String())
	}
	slices.Sort(verbs)
	for _, c := range safety.Causes() {
		causes = append(causes, c.String())
	}
	return task{usage: actUsage, words: 1, verbs: verbs, values: map[string][]string{"cause": causes, "step": controller.CalibrationSteps()}, do: func(stdout, _ io.Writer) error {
		form, err := actForm(flags)
		if err != nil {
			return err
		}
		folder, err := d.folder(!ofStation(form.Get("do")))
		if err != nil {
			return err
		}
		return d.ask(folder, form, *yes, stdout)
	}}
}

// actForm is the command line as the page's form would say it.
func actForm(flags *flag.FlagSet) (url.Values, error) {
	kind, _ := controller.ParseRequestKind(flags.Arg(0))
	takes, known := actTakes[kind]
	if !known {
		return nil, desk.Misuse("%q: want one of %s", flags.Arg(0), strings.Join(slices.Sorted(maps.Keys(verbsOf(actTakes))), ", "))
	}
	form := url.Values{"do": {kind.String()}}
	var wrong error
	flags.Visit(func(f *flag.Flag) {
		switch {
		case slices.Contains(strings.Fields("config state tank json yes"), f.Name):
		case !slices.Contains(append(strings.Fields(takes), "note"), f.Name):
			wrong = desk.Misuse("-%s does not go with %s", f.Name, kind)
		default:
			form.Set(f.Name, f.Value.String())
		}
	})
	for _, name := range strings.Fields(actNeeds[kind]) {
		if form.Get(name) == "" && wrong == nil {
			wrong = desk.Misuse("%s wants -%s", kind, name)
		}
	}
	if kind == controller.RequestMeter && form.Get("ph") == "" && form.Get("ec") == "" && wrong == nil {
		wrong = desk.Misuse("meter wants -ph, -ec or both")
	}
	if kind == controller.RequestShelve && (form.Get("for") == "") == (form.Get("until") == "") && wrong == nil {
		wrong = desk.Misuse("shelve wants -for or -until, one of the two")
	}
	if kind == controller.RequestSetpoint {
		pH, ec := form.Get("ph"), form.Get("ec")
		if (pH == "") == (ec == "") && wrong == nil {
			wrong = desk.Misuse("setpoint wants -ph or -ec, one of the two")
		}
		form.Set("quantity", map[bool]string{true: "ph", false: "ec"}[pH != ""])
		form.Set("value", pH+ec)
	}
	return form, wrong
}

func verbsOf(acts map[controller.RequestKind]string) map[string]bool {
	names := map[string]bool{}
	for k := range actTakes {
		names[k.String()] = true
	}
	return names
}

// daemonFlags name a running daemon and a tank of it.
type daemonFlags struct {
	config, state, tank string
	json                bool
}

func (d *daemonFlags) declare(flags *flag.FlagSet) {
	flags.StringVar(&d.config, "config", "", "configuration `FILE` of the running daemon, to find its state folder")
	flags.StringVar(&d.state, "state", "", "state `FOLDER` of the running daemon, instead of -config")
	flags.StringVar(&d.tank, "tank", "", "`NAME` of the tank")
	flags.BoolVar(&d.json, "json", false, "print the answer as JSON")
}

// folder is the daemon's state folder.
func (d *daemonFlags) folder(wantsTank bool) (string, error) {
	if d.tank == "" && wantsTank {
		return "", desk.Misuse("name the tank with -tank NAME")
	}
	return desk.FolderOf(d.state, d.config)
}

// ask sends a form and prints the answer. What needs confirmation is confirmed where the
// person said so beforehand.
func (d *daemonFlags) ask(folder string, form url.Values, yes bool, stdout io.Writer) error {
	form.Set("tank", d.tank)
	form.Set("by", desk.WhoAmI())
	answer, err := app.Ask(folder, form)
	plan := form.Get("do") == controller.RequestFill.String() // which nobody has read before it is shown
	if err == nil && answer.Confirm != "" && yes && !plan {
		form.Set("confirm", answer.Confirm)
		answer, err = app.Ask(folder, form)
	}
	if err != nil {
		return err
	}
	switch {
	case answer.Confirm == "":
	case plan:
		answer.Text += ": -confirm " + answer.Confirm
	default:
		answer.Text += "; with -yes it is entered so"
	}
	return desk.TellAnswer(d.tank, answer, d.json, stdout)
}

// ofStation says of a verb that it is of no tank.
func ofStation(verb string) bool {
	kind, _ := controller.ParseRequestKind(verb)
	return kind.OfStation()
}
