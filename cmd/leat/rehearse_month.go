package main

import (
	"fmt"
	"io"
	"os"
	"strings"

	"leat/controller/campaign"
	"leat/controller/config"
	"leat/deploy"
)

// rehearseMonth plays a month of the user's farm, or of the sample, twice: with fixed
// shares and with the account of the ions.
func rehearseMonth(path string, seed uint64, asJSON bool, picture string, stdout, stderr io.Writer) error {
	farm, err := monthFarm(path)
	if err != nil {
		return err
	}
	month := campaign.Month{Seed: seed}
	live := isTerminal(stderr)
	if live {
		month.Tick = func(done float64) {
			const wide = 40
			filled := int(wide * done)
			fmt.Fprintf(stderr, "\r%s%s %.0f %% of two months", strings.Repeat("█", filled), strings.Repeat("░", wide-filled), 100*done)
		}
	}
	report, err := month.Play(farm)
	if live {
		fmt.Fprint(stderr, "\r\x1b[K")
	}
	if err != nil {
		return err
	}
	if asJSON {
		err = writeJSON(stdout, report)
	} else {
		err = report.Write(stdout)
	}
	if err == nil && picture != "" {
		err = os.WriteFile(picture, []byte(report.Picture()), 0o644)
	}
	return err
}

func monthFarm(path string) (*campaign.Farm, error) {
	if path != "" {
		return farmOf(path)
	}
	file, err := config.Parse("the sample farm", deploy.Sample, config.Env{})
	if err != nil {
		return nil, err
	}
	return farmIn(file), nil
}
