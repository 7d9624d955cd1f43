package desk

import (
	"io"
	"os"

	"leat/dosing/blend/worksheet"
	"leat/dosing/chem/solution"
)

// Blend is what leat blend, blend lab and blend make are asked.
type Blend struct {
	JSON        bool
	CSV         string // file of the amounts
	Recipe      string
	Water       string
	Stocks      string
	Salts       string
	Acids       []string
	Config      string
	Tank        string
	Numbers     map[string]*string // by flag; a nil or empty one was not given
	Analysis    string
	Estimate    string
	Before      string
	Given       string
	Sampled     string
	Note        string
	Payload     bool
	Send        bool
	Lab, Making bool
}

// number is a flag's number, or another where it was not given.
func (a *Blend) number(name string, or float64) (float64, error) {
	text := a.Numbers[name]
	if text == nil || *text == "" {
		return or, nil
	}
	v, err := solution.Decimal("-"+name, *text)
	if err != nil {
		return 0, WrongUse(err.Error())
	}
	if !(v >= 0) {
		return 0, WrongUse("-" + name + " is below zero")
	}
	return v, nil
}

// Run answers with a sheet.
func (a *Blend) Run(stdout io.Writer) error {
	if a.Lab && (a.Payload || a.Send) {
		return a.tellDaemon(stdout) // needs no recipe here: the daemon has its own
	}
	job, err := a.read()
	if err != nil {
		return err
	}
	sheet, err := a.sheet(job)
	if err != nil {
		return err
	}
	if table, ok := sheet.(interface{ CSV() string }); ok && a.CSV != "" {
		if err := os.WriteFile(a.CSV, []byte(table.CSV()), 0o644); err != nil {
			return err
		}
	}
	if a.JSON {
		err = WriteJSON(stdout, sheet.Document())
	} else {
		_, err = io.WriteString(stdout, sheet.Text())
	}
	if making, ok := sheet.(*worksheet.Making); ok && err == nil {
		err = making.Refused()
	}
	return err
}

// sheet is the answer to what was asked.
func (a *Blend) sheet(job *worksheet.Job) (worksheet.Sheet, error) {
	switch {
	case a.Lab:
		c, estimate, err := a.correction(job)
		if err != nil {
			return nil, err
		}
		return job.Correct(c, estimate)
	case a.Making:
		return a.makeStocks(job)
	}
	return job.Mixture()
}
