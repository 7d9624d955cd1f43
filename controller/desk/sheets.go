package desk

import (
	"errors"
	"fmt"
	"os"
	"strings"

	"leat/controller/config"
	"leat/dosing/blend"
	"leat/dosing/blend/worksheet"
	"leat/dosing/ratio"
)

// read makes a job of what the flags name: files, short lists and the configuration.
func (a *Blend) read() (*worksheet.Job, error) {
	job := &worksheet.Job{}
	plan, err := a.readStocks(job)
	if err != nil {
		return nil, err
	}
	if a.Recipe == "" && plan != nil {
		job.Task.Recipe, job.Task.MaxNH4 = plan.Recipe, plan.MaxNH4
	} else if a.Recipe == "" && !(a.Making && a.Stocks+a.Config != "") {
		return nil, WrongUse("no -recipe: name one of " + strings.Join(blend.RecipeNames(), ", ") + ", a file, or a list")
	}
	if a.Recipe != "" {
		if job.Task.Recipe, err = readRecipe(a.Recipe); err != nil {
			return nil, err
		}
	}
	if a.Water == "" && plan != nil {
		job.Water = plan.Water
	} else if a.Water == "" {
		job.Notes = append(job.Notes, "no -water: pure water is taken; a real one brings calcium and needs acid")
	} else {
		water, err := readAnalysis("-water", a.Water)
		if err != nil {
			return nil, err
		}
		water = water.Water()
		job.Water, job.Notes = water.Content, append(job.Notes, water.Remarks...)
	}
	job.Task.Base = job.Water
	for _, n := range []struct {
		name   string
		to     *float64
		factor float64
	}{{"ec", &job.Task.EC, 1}, {"ph", &job.Task.PH, 1}, {"temp", &job.Task.TempC, 1}, {"nh4", &job.Task.MaxNH4, 0.01}} {
		given, err := a.number(n.name, *n.to/n.factor)
		if err != nil {
			return nil, err
		}
		*n.to = given * n.factor
	}
	if job.Litres == 0 {
		job.Litres = 1000
		if a.Making {
			job.Litres = 100
		}
	}
	if job.Litres, err = a.number("litres", job.Litres); err != nil {
		return nil, err
	}
	if !(job.Litres > 0 && job.Litres <= 1e6) {
		return nil, WrongUse("-litres " + *a.Numbers["litres"] + " is no tank")
	}
	return job, nil
}

// readStocks reads what may be given; of a configuration its recipe and water as well.
func (a *Blend) readStocks(job *worksheet.Job) (*ratio.Plan, error) {
	stated := 0
	for _, text := range []string{a.Stocks, a.Salts, a.Config} {
		if text != "" {
			stated++
		}
	}
	switch {
	case stated != 1:
		return nil, WrongUse("name the stocks once: -stocks FILE, -salts LIST or -config FILE")
	case len(a.Acids) > 0 && a.Salts == "":
		return nil, WrongUse("-acid goes with -salts; acids of a row stand among its stocks")
	case a.Tank != "" && a.Config == "":
		return nil, WrongUse("-tank goes with -config")
	case a.Stocks != "":
		text, err := os.ReadFile(a.Stocks)
		if err != nil {
			return nil, err
		}
		if job.Task.Stocks, err = blend.ReadStocks(string(text)); err != nil {
			return nil, fmt.Errorf("%s: %w", a.Stocks, err)
		}
		return nil, nil
	case a.Config != "":
		return a.readConfig(job)
	}
	stocks, err := worksheet.ReadSalts(a.Salts)
	if err != nil {
		return nil, fmt.Errorf("-salts: %w", err)
	}
	for _, text := range a.Acids {
		stock, err := worksheet.ReadAcid(text)
		if err != nil {
			return nil, unreadable("-acid", err)
		}
		stocks = append(stocks, stock)
	}
	job.Task.Stocks = stocks
	return nil, nil
}

// unreadable makes a word that cannot be read a wrong use of its flag.
func unreadable(flag string, err error) error {
	var word worksheet.Unreadable
	if errors.As(err, &word) {
		return WrongUse(flag + ": " + string(word))
	}
	return err
}

func (a *Blend) readConfig(job *worksheet.Job) (*ratio.Plan, error) {
	file, err := config.Look(a.Config)
	if err != nil {
		return nil, fmt.Errorf("%s is refused: leat check -config %s tells why: %w", a.Config, a.Config, err)
	}
	row, err := file.Row(a.Tank)
	if err != nil {
		return nil, err
	}
	if len(row.Unknown) > 0 {
		job.Notes = append(job.Notes, "left out, since the configuration does not say what they hold: "+strings.Join(row.Unknown, ", "))
	}
	job.Task.Stocks, job.Task.PH = row.Stocks, row.PH
	if !a.Making {
		job.Task.EC, job.Litres = row.EC, row.Litres
	}
	return row.Ratio, nil
}

// correction is what is asked of a tank that was analysed.
func (a *Blend) correction(job *worksheet.Job) (c blend.Correction, estimate *blend.Analysis, err error) {
	if a.Analysis == "" {
		return c, nil, WrongUse("no -analysis: give the laboratory's sheet of the tank")
	}
	if c.Tank, err = readAnalysis("-analysis", a.Analysis); err != nil {
		return c, nil, err
	}
	if a.Estimate != "" {
		e, err := readAnalysis("-estimate", a.Estimate)
		if err != nil {
			return c, nil, err
		}
		estimate = &e
	}
	if c.TopUp, err = a.number("topup", 0); err != nil {
		return c, nil, err
	}
	tolerance, err := a.number("tolerance", 10)
	if err != nil {
		return c, nil, err
	}
	c.Tolerance = tolerance / 100
	if a.Before == "" {
		if a.Given != "" || c.TopUp > 0 {
			return c, nil, WrongUse("-given and -topup go with -before, the analysis they count from")
		}
		return c, estimate, nil
	}
	before, err := readAnalysis("-before", a.Before)
	if err != nil {
		return c, nil, err
	}
	c.Before = &before
	if c.Given, err = worksheet.ReadGiven(a.Given, job.Task.Stocks); err != nil {
		return c, nil, unreadable("-given", err)
	}
	return c, estimate, nil
}

// makeStocks tells how stocks that were given are made, or those of a recipe's salts.
func (a *Blend) makeStocks(job *worksheet.Job) (*worksheet.Making, error) {
	store, err := a.number("store", 15)
	if err != nil {
		return nil, err
	}
	if !(store >= 0 && store <= 40) {
		return nil, WrongUse("-store is no temperature of a store")
	}
	factor, err := a.number("factor", 100)
	if err != nil {
		return nil, err
	}
	if a.Salts != "" {
		return job.Design(factor, store)
	}
	if *a.Numbers["factor"] != "" {
		return nil, WrongUse("-factor goes with -salts; stocks that are given have their strength")
	}
	return job.Make(store)
}

// sheetOf reads a file, or a list where the text has an equals sign.
func sheetOf(text string) ([]blend.Entry, error) {
	if strings.Contains(text, "=") {
		return blend.ReadList(text)
	}
	body, err := os.ReadFile(text)
	if err != nil {
		return nil, err
	}
	entries, err := blend.ReadSheet(string(body))
	if err != nil {
		return nil, fmt.Errorf("%s: %w", text, err)
	}
	return entries, nil
}

func readRecipe(text string) (blend.Recipe, error) {
	if r, ok := blend.RecipeNamed(text); ok {
		return r, nil
	}
	entries, err := sheetOf(text)
	if errors.Is(err, os.ErrNotExist) {
		return blend.Recipe{}, fmt.Errorf("-recipe %q is neither a file nor one of %s", text, strings.Join(blend.RecipeNames(), ", "))
	}
	if err != nil {
		return blend.Recipe{}, fmt.Errorf("-recipe: %w", err)
	}
	name := text
	if strings.Contains(text, "=") {
		name = "your recipe"
	}
	r, err := blend.ReadRecipe(name, entries)
	if err != nil {
		return r, fmt.Errorf("-recipe: %w", err)
	}
	return r, nil
}

func readAnalysis(flag, text string) (blend.Analysis, error) {
	entries, err := sheetOf(text)
	if err != nil {
		return blend.Analysis{}, fmt.Errorf("%s: %w", flag, err)
	}
	a, err := blend.ReadAnalysis(entries)
	if err != nil {
		return a, fmt.Errorf("%s: %w", flag, err)
	}
	return a, nil
}
