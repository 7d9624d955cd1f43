package desk

import (
	"context"
	"fmt"
	"io"
	"runtime"
	"runtime/debug"

	"leat/controller/campaign"
	"leat/controller/config"
)

// Check prints what leat run would do with a configuration, and says whether it is refused.
func Check(path string, asJSON bool, stdout io.Writer) error {
	report, err := config.CheckFile(path)
	if err != nil {
		return err
	}
	if asJSON {
		err = WriteJSON(stdout, &report)
	} else {
		err = report.Write(stdout)
	}
	if err == nil && !report.OK {
		err = fmt.Errorf("%s refused, faults: %d", path, len(report.Faults))
	}
	return err
}

// RehearseChecked plays nights of a farm whose file passed and says what they showed.
func RehearseChecked(ctx context.Context, path string, nights int, stdout, stderr io.Writer) error {
	farm, err := FarmOf(path)
	if err != nil {
		return err
	}
	debug.SetGCPercent(400)
	o := &campaign.Options{Set: "standard", Nights: nights, Seed: 1, Faults: "none", Workers: runtime.GOMAXPROCS(0), Farm: farm, Path: path, Stderr: stderr}
	fmt.Fprintf(stdout, "\nRehearsal, nights: %d\n", nights)
	return Violated(rehearseAll(ctx, o, false, "", stdout, stderr))
}
