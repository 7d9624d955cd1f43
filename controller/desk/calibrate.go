package desk

import (
	"bufio"
	"fmt"
	"io"
	"net/url"
	"strings"

	"leat/controller"
)

// Calibration leads a person at a terminal through the calibration of a probe, step by step.
type Calibration struct {
	Probe string
	Ask   func(url.Values) (controller.Answer, error) // of the running daemon
	Wait  func()                                      // before the same is asked again
	in    *bufio.Scanner
	out   io.Writer
}

// Guide asks and tells until the calibration is accepted or given up.
func (c *Calibration) Guide(in io.Reader, out io.Writer) error {
	c.in, c.out = bufio.NewScanner(in), out
	answer, err := c.step("begin", nil)
	if err != nil || !answer.Accepted {
		return c.refused(answer, err)
	}
	celsius := ""
	for {
		standard, ok := c.line("Standard it stands in (empty: accept what was read, x: give up): ")
		switch {
		case !ok || standard == "x":
			answer, err = c.step("cancel", nil)
			return c.refused(answer, err)
		case standard == "":
			answer, err = c.step("accept", nil)
			if err != nil {
				return err
			}
			if answer.Accepted {
				return c.resume()
			}
			continue
		}
		text, ok := c.line("Temperature of it, °C" + former(celsius) + ": ")
		if !ok {
			continue
		}
		if text != "" {
			celsius = strings.ReplaceAll(text, ",", ".")
		}
		if err := c.read(standard, celsius); err != nil {
			return err
		}
	}
}

func former(celsius string) string {
	if celsius == "" {
		return ""
	}
	return " (" + celsius + ")"
}

// read asks for a reading until the probe has come to rest.
func (c *Calibration) read(standard, celsius string) error {
	for {
		answer, err := c.step("read", url.Values{"standard": {standard}, "celsius": {celsius}})
		if err != nil || !answer.Again {
			return err
		}
		c.Wait()
	}
}

// resume ends the maintenance when the person has put the probe back.
func (c *Calibration) resume() error {
	if _, ok := c.line("Put the probe back into the tank's water, then press Enter and dosing may go on: "); !ok {
		return nil
	}
	answer, err := c.Ask(url.Values{"do": {controller.RequestResume.String()}, "note": {c.Probe + " was calibrated"}})
	if err == nil {
		_, err = fmt.Fprintln(c.out, answer.Text)
	}
	return err
}

func (c *Calibration) step(step string, with url.Values) (controller.Answer, error) {
	form := url.Values{"do": {controller.RequestCalibrate.String()}, "probe": {c.Probe}, "step": {step}}
	for name, values := range with {
		form[name] = values
	}
	answer, err := c.Ask(form)
	if err == nil {
		_, err = fmt.Fprintln(c.out, answer.Text)
	}
	return answer, err
}

// refused is an error where the daemon said no; its words were printed.
func (c *Calibration) refused(answer controller.Answer, err error) error {
	if err == nil && !answer.Accepted {
		return fmt.Errorf("%s was not calibrated", c.Probe)
	}
	return err
}

// line asks for one line; false = there is none any more.
func (c *Calibration) line(prompt string) (string, bool) {
	fmt.Fprint(c.out, prompt)
	if !c.in.Scan() {
		fmt.Fprintln(c.out)
		return "", false
	}
	return strings.TrimSpace(c.in.Text()), true
}
