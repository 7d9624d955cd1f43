package desk

import (
	"fmt"
	"io"
	"net/url"
	"time"

	"leat/controller"
	"leat/controller/app"
	"leat/controller/config"
	"leat/controller/payload"
	"leat/dosing/blend"
)

// tellDaemon prints an analysis as a message for a running daemon, or sends it over
// the local socket in its state folder.
func (a *Blend) tellDaemon(stdout io.Writer) error {
	if a.Analysis == "" {
		return WrongUse("no -analysis: give the laboratory's sheet of the tank")
	}
	analysis, err := readAnalysis("-analysis", a.Analysis)
	if err != nil {
		return err
	}
	checks, verdict := blend.CheckAnalysis(analysis, 25)
	if verdict == blend.Repeat {
		for _, c := range checks {
			if c.Verdict == blend.Repeat {
				return fmt.Errorf("the daemon would refuse this analysis: %s: %s; have it repeated, or correct what was typed", c.Name, c.Text)
			}
		}
	}
	ask := payload.AnalysisAsk{Analysis: analysis, Note: a.Note}
	if a.Sampled != "" {
		if ask.Sampled, err = time.Parse(time.RFC3339, a.Sampled); err != nil {
			return WrongUse(fmt.Sprintf("-sampled %q is no time such as 2026-01-01T09:00:00Z", a.Sampled))
		}
	}
	if a.Payload {
		_, err = fmt.Fprintf(stdout, "%s\n", payload.AppendAnalysis(nil, ask))
		return err
	}
	if a.Config == "" {
		return WrongUse("-send goes with -config: the file of the running daemon")
	}
	file, err := config.Look(a.Config)
	if err != nil {
		return err
	}
	row, err := file.Row(a.Tank)
	if err != nil {
		return err
	}
	answer, err := app.Ask(file.State, url.Values{"do": {controller.RequestAnalysis.String()}, "tank": {row.Tank}, "analysis": {analysis.List()},
		"sampled": {a.Sampled}, "note": {a.Note}, "by": {WhoAmI()}})
	if err != nil {
		return err
	}
	if !answer.Accepted {
		return fmt.Errorf("%s: refused: %s", row.Tank, answer.Text)
	}
	if a.JSON {
		return WriteJSON(stdout, answer)
	}
	_, err = fmt.Fprintf(stdout, "%s: %s\n", row.Tank, answer.Text)
	return err
}
