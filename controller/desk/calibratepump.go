package desk

import (
	"bufio"
	"fmt"
	"io"
	"net/url"
	"strings"

	"leat/controller"
	"leat/controller/config"
	"leat/dosing"
	"leat/dosing/calibration"
)

// PumpCalibration leads a person at a terminal through the measuring of a pump, or its
// replacement.
type PumpCalibration struct {
	Pump, Config string
	Tanks        []string // that it serves
	New          bool     // it, or its tube, was replaced
	Ask          func(tank string, form url.Values) (controller.Answer, error)
	Check        func() (config.Report, error) // of the file as it is now
	rate         calibration.Rate              // as it was entered
	in           *bufio.Scanner
	out          io.Writer
}

// runsWanted is how many runs tell how well it repeats.
const runsWanted = 3

// Guide asks and tells until the rate is entered or given up.
func (c *PumpCalibration) Guide(in io.Reader, out io.Writer) error {
	c.in, c.out = bufio.NewScanner(in), out
	c.step(1, "nothing is dosed meanwhile")
	for _, tank := range c.Tanks {
		if _, err := c.tell(tank, url.Values{"do": {controller.RequestMaintenance.String()}, "note": {"measuring pump " + c.Pump}}); err != nil {
			return err
		}
	}
	if c.New {
		fmt.Fprintln(out, "Gloves and goggles. Close the container, lay in the new tube or pump, and prime it into its own container at the node until no air is left.")
		if _, err := c.tell("", url.Values{"do": {controller.RequestNewTube.String()}, "pump": {c.Pump}}); err != nil {
			return err
		}
	}
	c.step(2, "its rate")
	fmt.Fprintf(out, "Hold the outlet into a measuring cylinder at its working height, let pump %s run at the node itself for about a minute, and read the cylinder. Pour it back.\n", c.Pump)
	entered, err := c.measure()
	if err != nil {
		return err
	}
	if entered && c.New {
		if err := c.fit(); err != nil {
			return err
		}
	}
	c.step(5, "its first dose")
	if _, ok := c.line("With the hose back at its place and the container open, press Enter and dosing may go on: "); !ok {
		return nil
	}
	for _, tank := range c.Tanks {
		if _, err := c.tell(tank, url.Values{"do": {controller.RequestResume.String()}, "note": {"pump " + c.Pump + " was measured"}}); err != nil {
			return err
		}
	}
	return nil
}

// measure takes runs and enters them, until they are accepted or given up.
func (c *PumpCalibration) measure() (entered bool, err error) {
	var runs []string
	for {
		text, ok := c.line(fmt.Sprintf("Run %d: seconds=mL, such as 60=98.5 (empty: enter what was measured, x: give up): ", len(runs)+1))
		switch {
		case !ok || text == "x":
			fmt.Fprintln(c.out, "nothing was entered")
			return false, nil
		case text != "":
			runs = append(runs, strings.ReplaceAll(text, ",", "."))
		}
		if text != "" && len(runs) < runsWanted {
			continue
		}
		answer, err := c.tell("", url.Values{"do": {controller.RequestPumpRate.String()}, "pump": {c.Pump}, "runs": {strings.Join(runs, ", ")}})
		if err == nil && answer.Accepted {
			c.rate, err = calibration.ReadRuns(strings.Join(runs, ", "))
		}
		if err != nil || answer.Accepted {
			return answer.Accepted, err
		}
		runs = nil
	}
}

func (c *PumpCalibration) tell(tank string, form url.Values) (controller.Answer, error) {
	answer, err := c.Ask(tank, form)
	if err == nil {
		_, err = fmt.Fprintln(c.out, strings.TrimPrefix(tank+": "+answer.Text, ": "))
	}
	return answer, err
}

// line asks for one line; false = there is none any more.
func (c *PumpCalibration) line(prompt string) (string, bool) {
	fmt.Fprint(c.out, prompt)
	if !c.in.Scan() {
		fmt.Fprintln(c.out)
		return "", false
	}
	return strings.TrimSpace(c.in.Text()), true
}

// TanksOf are the tanks that a pump of a configuration serves.
func TanksOf(path, pump string) ([]string, error) {
	file, err := config.Look(path)
	if err != nil {
		return nil, err
	}
	var tanks, names []string
	for i := range file.Settings.Safety.Pumps {
		p := &file.Settings.Safety.Pumps[i]
		names = append(names, p.Name)
		for id := range file.Settings.Safety.Tanks {
			if p.Name == pump && p.ServesTank(dosing.TankID(id)) {
				tanks = append(tanks, file.Settings.Safety.Tanks[id].Name)
			}
		}
	}
	if tanks == nil {
		return nil, Misuse("%q is no pump of %s: %s", pump, path, strings.Join(names, ", "))
	}
	return tanks, nil
}
