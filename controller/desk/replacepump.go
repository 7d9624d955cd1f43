package desk

import (
	"errors"
	"fmt"
	"math"

	"leat/controller/config"
)

// The steps of a replacement beside the measuring: the file and its sizing, and the limits
// at the node.

// step names a step of a replacement.
func (c *PumpCalibration) step(n int, what string) {
	if c.New {
		fmt.Fprintf(c.out, "\nStep %d of 5: %s.\n", n, what)
	}
}

// rateFits is how near the file's rate must be to the measured one.
const rateFits = 0.02

// fit leads from the measured rate to a file that passes and a node that is set to it.
func (c *PumpCalibration) fit() error {
	c.step(3, "the file and its sizing")
	perMinute := c.rate.PerSecond * 60
	for {
		report, err := c.Check()
		if err != nil {
			return err
		}
		pump := pumpOf(&report, c.Pump)
		switch {
		case !report.OK:
			for _, fault := range report.Faults {
				fmt.Fprintf(c.out, "  %v\n", fault)
			}
			fmt.Fprintf(c.out, "%s is refused with this pump. Dilute, throttle or choose another as it says, and write it into the file.\n", c.Config)
		case pump == nil:
			return fmt.Errorf("%s no longer has a pump %s", c.Config, c.Pump)
		case math.Abs(perMinute/pump.PerMinute-1) > rateFits:
			fmt.Fprintf(c.out, "%s says %.3g mL/min. Write rate = \"%.3g mL/min\" into [[pump]] %s.\n", c.Config, pump.PerMinute, perMinute, c.Pump)
		default:
			fmt.Fprintf(c.out, "The file says %.3g mL/min, and its sizing passes.\n", pump.PerMinute)
			return c.limits(pump)
		}
		if text, ok := c.line("Press Enter when it is written (x: give up): "); !ok || text == "x" {
			return errors.New("the pump is replaced, but the file does not fit it: its tanks stay in maintenance until leat mode resume")
		}
	}
}

// limits tells what to set at the node.
func (c *PumpCalibration) limits(pump *config.PumpReport) error {
	c.step(4, "the limits at the node")
	fmt.Fprintf(c.out, "At node %s set for pump %s: longest run %.3g s, at most %.3g mL in an hour. Write node_max_on_time = \"%.3gs\" into [[pump]] %s, and have the daemon read the file (SIGHUP, such as systemctl reload leat).\n",
		pump.Node, c.Pump, pump.OnTime, pump.HourlyCap, pump.OnTime, c.Pump)
	fmt.Fprintln(c.out, "If the node's program or wiring changed with the pump, prove the node again, with water: leat prove.")
	if text, ok := c.line("Press Enter when the node is set and the file is read (x: give up): "); !ok || text == "x" {
		return errors.New("the node was not set: its tanks stay in maintenance until leat mode resume")
	}
	return nil
}

func pumpOf(report *config.Report, name string) *config.PumpReport {
	for i := range report.Pumps {
		if report.Pumps[i].Name == name {
			return &report.Pumps[i]
		}
	}
	return nil
}
