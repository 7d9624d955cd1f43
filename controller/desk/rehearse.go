package desk

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"runtime/debug"
	"time"

	"leat/controller/campaign"
	"leat/controller/config"
	"leat/controller/sim"
)

// Rehearsal is what leat rehearse is asked.
type Rehearsal struct {
	campaign.Options
	Config, Picture, Recording string
	Part                       string // a file of what is left of a night; "-" = the standard input
	Night                      int    // one night; negative = all
	Rules, Month, JSON, Trace  bool
	Given                      map[string]bool // flags that were set, by name
}

// Do plays what is asked.
func (r *Rehearsal) Do(ctx context.Context, stdout, stderr io.Writer) error {
	o := &r.Options
	o.Stderr = stderr
	if r.Rules {
		if len(r.Given) > 1 {
			return Misuse("-rules goes alone")
		}
		return campaign.WriteRules(stdout)
	}
	if r.Part != "" {
		if err := r.takePart(); err != nil {
			return err
		}
	}
	if problem := rehearseProblem(o, r.Given); problem != "" {
		return WrongUse(problem)
	}
	if err := MayWrite(r.Picture); err != nil {
		return fmt.Errorf("picture: %w", err)
	}
	if r.Recording != "" {
		return rehearseRecording(r.Recording, r.Config, r.JSON, stdout)
	}
	// Nights are short-lived heaps: collecting less often is a sixth of the time.
	debug.SetGCPercent(400)
	if r.Month {
		return rehearseMonth(r.Config, o.Seed, r.JSON, r.Picture, stdout, stderr)
	}
	if r.Config != "" {
		if err := playOwnFarm(o, r.Config); err != nil {
			return err
		}
	}
	switch {
	case r.Night >= 0:
		return Violated(rehearseOne(o, r.Night, r.Trace, r.JSON, r.Picture, stdout))
	case o.Without == "all":
		return rehearseWithout(ctx, *o, r.JSON, stdout, stderr)
	}
	return Violated(rehearseAll(ctx, o, r.JSON, r.Picture, stdout, stderr))
}

// ofAPart are the flags that a part of a night knows.
var ofAPart = map[string]bool{"farm": true, "trace": true, "json": true, "picture": true}

// takePart plays the one night of a file.
func (r *Rehearsal) takePart() error {
	for name := range r.Given {
		if !ofAPart[name] {
			return WrongUse("-" + name + " does not go with -farm, whose file says it")
		}
	}
	var file io.Reader = os.Stdin
	if r.Part != "-" {
		f, err := os.Open(r.Part)
		if err != nil {
			return err
		}
		defer f.Close()
		file = f
	}
	part, err := campaign.ReadPart(file)
	if err != nil {
		return err
	}
	r.Options, r.Config, r.Night = part.Options(r.Options), part.Config, 0
	return nil
}

// playOwnFarm has the nights play the user's farm, from its record where that is named.
func playOwnFarm(o *campaign.Options, path string) error {
	farm, err := FarmOf(path)
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
	case given["trace"] && !given["night"] && !given["farm"]:
		return "-trace goes with -night K or -farm FILE"
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

// FarmOf reads the user's configuration as leat run would.
func FarmOf(path string) (*campaign.Farm, error) {
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

// Violated makes an error of what did not hold.
func Violated(violation string, err error) error {
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
		err = WriteJSON(stdout, outcome)
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

func rehearseAll(ctx context.Context, o *campaign.Options, asJSON bool, picture string, stdout, stderr io.Writer) (string, error) {
	start := processorTime()
	o.Clock = func() time.Duration { return processorTime() - start }
	end := showProgress(o, o.Nights, stderr)
	report, err := campaign.Rehearse(ctx, *o)
	end()
	if err != nil {
		return "", err
	}
	if asJSON {
		err = WriteJSON(stdout, report)
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
func rehearseWithout(ctx context.Context, o campaign.Options, asJSON bool, stdout, stderr io.Writer) error {
	end := showProgress(&o, o.Nights*campaign.Ablations, stderr)
	reports, err := campaign.Ablate(ctx, o)
	end()
	if err != nil {
		return err
	}
	if asJSON {
		return WriteJSON(stdout, reports)
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
