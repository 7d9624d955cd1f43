package desk

import (
	"context"
	"fmt"
	"io"
	"leat/controller/demo"
)

// PlayDemo plays a night on this machine and prints its report.
func PlayDemo(ctx context.Context, o demo.Options, stdout io.Writer) error {
	if err := MayWrite(o.Picture); err != nil {
		return fmt.Errorf("picture of the night: %w", err)
	}
	o.Out, o.Wide = stdout, Columns(stdout)
	report, err := demo.Run(ctx, o)
	if report != nil {
		fmt.Fprint(stdout, report.Text)
	}
	return err
}

// ofTheStage are flags that have no meaning for the farm alone, ofTheFarm those that
// have none without it.
var (
	ofTheStage = []string{"speed", "listen", "mqtt", "state", "picture"}
	ofTheFarm  = []string{"broker", "user", "password-file"}
)

// DemoProblem says what is wrong with the flags; empty = nothing.
func DemoProblem(o *demo.Options, farmOnly bool, given map[string]bool) string {
	switch {
	case !(o.Speed > 0) || o.Speed > 1e6:
		return "-speed is above 0 and at most 1000000"
	case o.For < 0:
		return "-for is not negative"
	case farmOnly && !given["broker"]:
		return "-farm-only wants the URL of a broker: -broker tcp://127.0.0.1:1883"
	}
	for _, name := range ofTheFarm {
		if !farmOnly && given[name] {
			return "-" + name + " goes with -farm-only"
		}
	}
	for _, name := range ofTheStage {
		if farmOnly && given[name] {
			return "-" + name + " does not go with -farm-only"
		}
	}
	if err := demo.CheckFault(o.Fault); err != nil {
		return err.Error()
	}
	return ""
}
