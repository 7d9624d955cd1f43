package desk

import (
	"io"
	"os"

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
	draw, end := progress(stderr, "days")
	if draw != nil {
		month.Tick = func(done float64) { draw(60*done, 60) }
	}
	report, err := month.Play(farm)
	end()
	if err != nil {
		return err
	}
	if asJSON {
		err = WriteJSON(stdout, report)
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
		return FarmOf(path)
	}
	file, err := config.Parse("the sample farm", deploy.Sample, config.Env{})
	if err != nil {
		return nil, err
	}
	return farmIn(file), nil
}
