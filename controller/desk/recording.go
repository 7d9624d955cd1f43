package desk

import (
	"errors"
	"fmt"
	"io"
	"os"

	"leat/controller/campaign"
)

// rehearseRecording says what leat would have said to a recording.
func rehearseRecording(path, config string, asJSON bool, stdout io.Writer) (err error) {
	var farm *campaign.Farm
	if config != "" {
		if farm, err = FarmOf(config); err != nil {
			return err
		}
	}
	file, err := os.Open(path)
	if err != nil {
		return fmt.Errorf("recording: %w", err)
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	recording, err := campaign.ReadRecording(file)
	if err != nil {
		return fmt.Errorf("recording %s: %w", path, err)
	}
	report, err := recording.Replay(farm)
	if err != nil {
		return err
	}
	if asJSON {
		return WriteJSON(stdout, report)
	}
	return report.Write(stdout)
}
