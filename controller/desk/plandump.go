package desk

import (
	"fmt"
	"io"
	"time"

	"leat/controller/store"
	"leat/dosing/blend"
	"leat/dosing/blend/worksheet"
	"leat/dosing/ratio"
	"leat/safety/ledger"
)

// Dump is what leat plan dump and leat plan fill are asked.
type Dump struct {
	Config, Tank string
	Litres       float64 // that are dumped; 0 = all
	Water        string  // source, or an analysis of what is filled in
	Analysis     string  // what the tank holds; empty = by the daemon's account
	Numbers      map[string]*string
	JSON         bool
}

// Run prints the plan. Nothing is changed by it.
func (d *Dump) Run(stdout io.Writer) error {
	ask := Blend{Config: d.Config, Tank: d.Tank, Numbers: d.Numbers}
	job := &worksheet.Job{}
	plan, err := ask.readStocks(job)
	switch {
	case err != nil:
		return err
	case plan == nil:
		return fmt.Errorf("the tank has no recipe in %s, so there is nothing to plan for: state [tank.recipe], or use leat blend with -recipe", d.Config)
	}
	if job, err = ask.read(); err != nil {
		return err
	}
	share := 1.0
	if d.Litres > 0 {
		share = d.Litres / job.Litres
	}
	if !(share > 0 && share <= 1) {
		return Misuse("-litres %g: the tank holds %g L", d.Litres, job.Litres)
	}
	water := plan.Water
	if d.Water != "source" {
		a, err := readAnalysis("-water", d.Water)
		if err != nil {
			return err
		}
		a = a.Water()
		water, job.Notes = a.Content, append(job.Notes, a.Remarks...)
	}
	before, whence, err := d.before(plan)
	if err != nil {
		return err
	}
	sheet, err := job.Refill(before, whence, water, share)
	if err != nil {
		return err
	}
	if d.JSON {
		return WriteJSON(stdout, sheet.Document())
	}
	_, err = io.WriteString(stdout, sheet.Text())
	return err
}

// before is what the tank holds: by an analysis, by the account that the daemon keeps, or
// as the recipe makes it.
func (d *Dump) before(plan *ratio.Plan) (blend.Analysis, string, error) {
	if d.Analysis != "" {
		a, err := readAnalysis("-analysis", d.Analysis)
		return a, "the analysis", err
	}
	tank, err := ratio.New(plan)
	if err != nil {
		return blend.Analysis{}, "", err
	}
	whence := "what the recipe makes, since no ledger tells; give -analysis where it is known better"
	if folder, err := FolderOf("", d.Config); err == nil {
		if text, at := d.account(folder); text != "" && tank.Restore(text) == nil {
			whence = "by the daemon's account of its ions, of " + at.Format("2006-01-02 15:04")
		}
	}
	return tank.Sample(plan.PH), whence, nil
}

// account is the newest account of the tank's ions in a ledger; empty where there is none.
func (d *Dump) account(folder string) (text string, at time.Time) {
	db, err := store.OpenReader(folder)
	if err != nil {
		return "", at
	}
	defer db.Close()
	_ = db.EachEntry(func(e ledger.Entry) error { // what is read before a break is of use here
		if e.Change == ledger.ChangeIons && (e.Tank == d.Tank || d.Tank == "") {
			text, at = e.Text, e.At.Wall
		}
		return nil
	})
	return text, at
}
