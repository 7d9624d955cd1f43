package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"runtime"
	"runtime/debug"
	"strings"
	"time"

	"leat/controller/campaign"
	"leat/controller/config"
	"leat/controller/sim"
)

const rehearseUsage = `usage: leat rehearse [flags]

Plays seeded nights of a simulated farm with the daemon's own core, gate, ledger code and parsers, scores them and
checks the rules (-rules prints them) on what truly happened. The same seed is the same night, byte for byte.
With -replay it feeds a recording of your own probes through the same parsers and quality tests instead: is this probe
fit to dose by, how much does it scatter, and what would have called you?
Exit code: 0 no violation, 1 a violation or a failure, 2 wrong use.

`

func rehearseCommand(flags *flag.FlagSet) task {
	o := campaign.Options{}
	flags.StringVar(&o.Set, "set", "standard", "`SET` of nights: "+setNames())
	flags.IntVar(&o.Nights, "nights", 400, "`K` nights")
	flags.Uint64Var(&o.Seed, "seed", 1, "of the first night; each further night has the next one")
	flags.StringVar(&o.Faults, "faults", "none", "none, one or two a night, each (one a night, kind by kind), swarm (one to five of kinds drawn for each night), or `NAMES` such as pump-dead or pump-dead@2h5m+30m,ph-silent@3h")
	flags.BoolVar(&o.Yardsticks, "yardsticks", false, "play the same nights under the timer, the patient law and the clairvoyant too")
	flags.BoolVar(&o.People, "people", false, "let people pour by hand, write it down wrong or mistype a setpoint, and put it right minutes later; and let them ask for less and more at once while the disk is slow")
	flags.IntVar(&o.Workers, "workers", runtime.GOMAXPROCS(0), "nights played at once; the result does not depend on it")
	flags.StringVar(&o.Without, "without", "", "leave a `PART` of the law out, to see what it is worth: transit, learning, feed-forward or pessimism; all plays the law whole and without each")
	flags.StringVar(&o.From, "from", "", "with -config: begin with the record in this state `FOLDER` and play its recorded nights; nothing in it is changed")
	path := flags.String("config", "", "configuration `FILE`: rehearse your own farm in place of drawn ones")
	asJSON := flags.Bool("json", false, "print one JSON document")
	picture := flags.String("picture", "", "SVG `FILE` of one night (that of -night, else the worst) and of all nights")
	month := flags.Bool("month", false, "a month of one farm (the sample, or -config), whose plants take by another ratio than the recipe: shares fixed, and with an analysis a fortnight; with -seed, -picture and -json")
	recording := flags.String("replay", "", "CSV `FILE` of readings of one tank (time, and ph, ec, temperature or level): say which of them leat would dose by, which not and why, and what alarms it would give; with -config by the limits of its first tank; with -json")
	night := flags.Int("night", -1, "play only night `K` of the seed")
	rules := flags.Bool("rules", false, "print the rules that every night is checked by, and the faults with what names them and what they need to show")
	trace := flags.Bool("trace", false, "with -night: print what the daemon did, line by line")
	flags.StringVar(&o.Plant, "plant", "", "`COMMAND` that computes the water in place of the simulation, over JSON lines; deploy/plant.py is an example")
	return task{usage: rehearseUsage, values: map[string][]string{"set": strings.Split(setNames(), ", ")}, do: func(stdout, stderr io.Writer) error {
		o.Stderr = stderr
		if *rules {
			if len(setFlags(flags)) > 1 {
				return wrongUse("-rules goes alone")
			}
			return campaign.WriteRules(stdout)
		}
		if problem := rehearseProblem(&o, setFlags(flags)); problem != "" {
			return wrongUse(problem)
		}
		if err := mayWrite(*picture); err != nil {
			return fmt.Errorf("picture: %w", err)
		}
		if *recording != "" {
			return rehearseRecording(*recording, *path, *asJSON, stdout)
		}
		// Nights are short-lived heaps: collecting less often is a sixth of the time.
		debug.SetGCPercent(400)
		if *month {
			return rehearseMonth(*path, o.Seed, *asJSON, *picture, stdout, stderr)
		}
		if *path != "" {
			if err := playOwnFarm(&o, *path); err != nil {
				return err
			}
		}
		switch {
		case *night >= 0:
			return violated(rehearseOne(&o, *night, *trace, *asJSON, *picture, stdout))
		case o.Without == "all":
			return rehearseWithout(o, *asJSON, stdout, stderr)
		}
		return violated(rehearseAll(&o, *asJSON, *picture, stdout, stderr))
	}}
}

// playOwnFarm has the nights play the user's farm, from its record where that is named.
func playOwnFarm(o *campaign.Options, path string) error {
	farm, err := farmOf(path)
	if err == nil && o.From != "" {
		farm.Past, err = pastOf(o.From, farm)
	}
	o.Farm, o.Path = farm, path
	return err
}

// ofARecording are the flags that a recording knows.
var ofARecording = map[string]bool{"replay": true, "config": true, "json": true}

// ofAMonth are the flags that a month knows.
var ofAMonth = map[string]bool{"month": true, "config": true, "seed": true, "picture": true, "json": true}

// rehearseProblem says what is wrong with the flags; empty = nothing.
func rehearseProblem(o *campaign.Options, given map[string]bool) string {
	whole := *o
	if o.Without == "all" {
		whole.Without = ""
	}
	switch {
	case o.Workers < 1:
		return "-workers is at least 1"
	case given["trace"] && !given["night"]:
		return "-trace goes with -night K"
	case given["from"] && !given["config"]:
		return "-from goes with -config, which says what the record is of"
	case given["config"] && given["set"]:
		return "-set draws farms and -config names yours: leave one out"
	case o.Without == "all" && (given["night"] || given["picture"]):
		return "-without all plays many nights for a table: leave out -night and -picture"
	}
	for name := range given {
		if given["month"] && !ofAMonth[name] {
			return "-" + name + " does not go with -month"
		}
		if given["replay"] && !ofARecording[name] {
			return "-" + name + " does not go with -replay"
		}
	}
	if err := whole.Check(); err != nil {
		return err.Error()
	}
	return ""
}

func setNames() string {
	var names []string
	for _, s := range campaign.Sets() {
		names = append(names, s.Name)
	}
	return strings.Join(names, ", ")
}

// farmOf reads the user's configuration as leat run would.
func farmOf(path string) (*campaign.Farm, error) {
	file, err := config.Look(path)
	if err != nil {
		return nil, err
	}
	return farmIn(file), nil
}

// farmIn is the farm of a configuration that was read.
func farmIn(file *config.File) *campaign.Farm {
	farm := &campaign.Farm{Name: file.Name, Settings: &file.Settings, Topics: file.Topics, Wires: make([]sim.Wire, len(file.Settings.Safety.Inputs))}
	for i := range file.InputTopics {
		in := &file.InputTopics[i]
		set := &file.Settings.Safety.Inputs[in.Input]
		farm.Wires[in.Input] = sim.Wire{Topic: in.Topic, Compensation: in.Compensation, Raw: true}
		f := sim.Feed{Topic: in.Topic}
		// The simulated probes send plain numbers in the quantity's own unit.
		f.Input, f.Tank, f.Quantity, f.Format, f.Compensation = in.Input, set.Tank, set.Quantity, sim.PlainFormat(set.Quantity), in.Compensation
		farm.Feeds = append(farm.Feeds, f)
	}
	return farm
}

var errViolation = errors.New("an invariant did not hold")

// violated makes an error of what did not hold.
func violated(violation string, err error) error {
	if err == nil && violation != "" {
		err = fmt.Errorf("%w: %s", errViolation, violation)
	}
	return err
}

func rehearseOne(o *campaign.Options, night int, trace, asJSON bool, picture string, stdout io.Writer) (string, error) {
	log := io.Discard
	if trace && !asJSON {
		log = stdout
	}
	played, outcome, err := o.Follow(night, log)
	if err != nil {
		return "", err
	}
	switch {
	case asJSON:
		err = writeJSON(stdout, outcome)
	case !trace:
		for i, s := range outcome.Scores {
			settles := "starts in band"
			if s.PH.SettleMinutes >= 0 {
				settles = fmt.Sprintf("settles in %.1f min", s.PH.SettleMinutes)
			}
			fmt.Fprintf(stdout, "night %d, seed %d, tank %s: pH in band %.3f, overshoot %.3f, %s; EC in band %.3f; %d doses; trace hash %016x\n",
				night, outcome.Seed, played.Settings.Safety.Tanks[i].Name, s.PH.InBand, s.PH.Overshoot, settles, s.EC.InBand, s.Doses, outcome.Hash)
		}
	}
	if err == nil && picture != "" {
		err = os.WriteFile(picture, []byte(campaign.Picture(played, night, nil)), 0o644)
	}
	violation := ""
	if len(outcome.Violations) > 0 {
		violation = outcome.Violations[0].String()
	}
	return violation, err
}

func rehearseAll(o *campaign.Options, asJSON bool, picture string, stdout, stderr io.Writer) (string, error) {
	ctx, stop := interrupted()
	defer stop()
	start := processorTime()
	o.Clock = func() time.Duration { return processorTime() - start }
	end := showProgress(o, o.Nights, stderr)
	report, err := campaign.Rehearse(ctx, *o)
	end()
	if err != nil {
		return "", err
	}
	if asJSON {
		err = writeJSON(stdout, report)
	} else {
		err = report.Write(stdout)
	}
	if err == nil && picture != "" {
		err = worstPicture(o, report, picture)
	}
	violation := ""
	if v := report.Invariants.First; v != nil {
		violation = v.String()
	}
	return violation, err
}

// showProgress draws a bar while nights are played, until end is called.
func showProgress(o *campaign.Options, nights int, stderr io.Writer) (end func()) {
	draw, end := progress(stderr, "nights")
	if draw != nil {
		o.Progress = func(done int) { draw(float64(done), float64(nights)) }
	}
	return end
}

// rehearseWithout plays the same nights under the whole law and without each part.
func rehearseWithout(o campaign.Options, asJSON bool, stdout, stderr io.Writer) error {
	ctx, stop := interrupted()
	defer stop()
	end := showProgress(&o, o.Nights*campaign.Ablations, stderr)
	reports, err := campaign.Ablate(ctx, o)
	end()
	if err != nil {
		return err
	}
	if asJSON {
		return writeJSON(stdout, reports)
	}
	return campaign.WriteAblation(stdout, reports)
}

func worstPicture(o *campaign.Options, report *campaign.Report, path string) error {
	worst := report.Worst[0].Night
	played, _, err := o.Follow(worst, io.Discard)
	if err != nil {
		return err
	}
	return os.WriteFile(path, []byte(campaign.Picture(played, worst, report)), 0o644)
}
