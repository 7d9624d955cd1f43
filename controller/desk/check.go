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

// Check prints what leat run would do with a configuration, and says whether it is refused. Of
// several stations each is told after the other, as JSON in one list.
func Check(path string, asJSON bool, stdout io.Writer) error {
	names, err := config.Each(path)
	if err != nil {
		return err
	}
	var reports []*config.Report
	faults := 0
	for _, name := range names {
		report, err := config.CheckFile(name)
		if err != nil {
			return err
		}
		reports, faults = append(reports, &report), faults+len(report.Faults)
		if asJSON {
			continue
		}
		if len(names) > 1 {
			fmt.Fprintf(stdout, "=== %s\n\n", name)
		}
		if err := report.Write(stdout); err != nil {
			return err
		}
	}
	switch {
	case asJSON && len(reports) == 1:
		err = WriteJSON(stdout, reports[0])
	case asJSON:
		err = WriteJSON(stdout, reports)
	}
	if err != nil {
		return err
	}
	if faults > 0 {
		return fmt.Errorf("%s refused, faults: %d", path, faults)
	}
	if len(names) > 1 {
		_, err = config.Stations(path) // what they must not share
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
