package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"strings"

	"leat/controller/config"
	"leat/dosing/blend"
	"leat/dosing/blend/worksheet"
	"leat/dosing/chem/solution"
	"leat/dosing/ratio"
)

const blendUsage = `usage: leat blend -recipe R -water W (-stocks FILE | -salts LIST | -config FILE) [flags]
       leat blend lab  … -analysis A     an analysis of the tank: what to add, what to dump, what to change
       leat blend make … -factor F       how the stocks are made: grams, order, what may share a tank
       leat blend list                   recipes, salts, acids and bases that are known by name

How much of each stock, acid and base makes a recipe from a water. R, W and A are files or short lists:

  leat blend -recipe steiner -ec 2.0 -litres 1000 -water "Ca=61 mg/L, Mg=9 mg/L, HCO3=180 mg/L" -stocks stocks.csv
  leat blend -recipe "N=150 mg/L, P=31 mg/L, K=210 mg/L, Ca=90 mg/L, Mg=24 mg/L" -salts common -json

A file begins with the header what,amount,unit (a recipe may add weight,never_above); a list of stocks with
stock,holds,amount,unit. Amounts may be elements, oxides, ions or, in a recipe, salts; units mg/L, mmol/L, µmol/L, meq/L;
a water's hardness and alkalinity also in mg/L CaCO3, °dH or °fH. An iron chelate states its iron: iron DTPA 7 %.
Exit code: 0 done, 1 refused, 2 wrong use.

`

// blendAsked is what the command line asks for.
type blendAsked struct {
	json        bool
	csv         string
	recipe      string
	water       string
	stocks      string
	salts       string
	acids       []string
	config      string
	tank        string
	numbers     map[string]*string
	analysis    string
	estimate    string
	before      string
	given       string
	sampled     string
	note        string
	payload     bool
	send        bool
	lab, making bool
}

func blendCommand(flags *flag.FlagSet) task     { return (&blendAsked{}).task(flags) }
func blendLabCommand(flags *flag.FlagSet) task  { return (&blendAsked{lab: true}).task(flags) }
func blendMakeCommand(flags *flag.FlagSet) task { return (&blendAsked{making: true}).task(flags) }

func blendListCommand(*flag.FlagSet) task {
	return task{do: func(stdout, _ io.Writer) error {
		_, err := io.WriteString(stdout, worksheet.Known())
		return err
	}}
}

func (a *blendAsked) task(flags *flag.FlagSet) task {
	a.numbers = map[string]*string{}
	flags.BoolVar(&a.json, "json", false, "print one JSON document")
	flags.StringVar(&a.recipe, "recipe", "", "the recipe: a `NAME` (leat blend list), a file, or a list such as \"N=150 mg/L, K=210 mg/L\"")
	flags.StringVar(&a.water, "water", "", "analysis of the source `WATER`: a file, or a list such as \"Ca=61 mg/L, HCO3=180 mg/L\"; none: pure water")
	flags.StringVar(&a.stocks, "stocks", "", "`FILE` of stocks: stock,holds,amount,unit")
	flags.StringVar(&a.salts, "salts", "", "salts by the gram instead of stocks: a `LIST` of names and labels (grade 13-0-46 + 13 NO3-N), or common")
	flags.Func("acid", "an acid or base beside -salts, repeatable: `\"nitric acid 38 %\"`, or \"nitric acid 38 % 1:10\" of one made up to ten times its volume", func(text string) error {
		a.acids = append(a.acids, text)
		return nil
	})
	flags.StringVar(&a.config, "config", "", "take stocks, volume and setpoints, and what is not given here of recipe and water, from a configuration `FILE`")
	flags.StringVar(&a.tank, "tank", "", "which `TANK` of the configuration")
	number := func(name, usage string) {
		a.numbers[name] = flags.String(name, "", usage)
	}
	number("ec", "scale the macronutrients to this EC, `mS/cm` at 25 °C")
	number("ph", "`pH` once carbon dioxide has left; default the recipe's, else 5.8")
	number("temp", "water temperature in `°C`; default 25")
	number("nh4", "ammonium's largest share of nitrogen in `%`; default 10, at most 15")
	switch {
	case a.making:
		number("litres", "`litres` of each stock tank; default 100")
		number("factor", "how many `times` as strong as the solution; default 100 (with -salts)")
		number("store", "temperature of the store in `°C`; default 15")
	default:
		number("litres", "`litres` of the tank; default 1000, or the configuration's")
		flags.StringVar(&a.csv, "csv", "", "write the amounts to a CSV `FILE` too")
	}
	if a.lab {
		flags.StringVar(&a.analysis, "analysis", "", "the laboratory's `SHEET` of the tank: a file or a list, with pH and EC")
		flags.StringVar(&a.estimate, "estimate", "", "what the tank was thought to hold: a `SHEET` to compare with")
		flags.StringVar(&a.before, "before", "", "the `SHEET` before: with -given and -topup it tells new standing shares")
		flags.StringVar(&a.given, "given", "", "what was given since, mL: a `LIST` such as calcium=1200,bloom=900")
		number("topup", "`litres` of water topped up since")
		flags.BoolVar(&a.payload, "payload", false, "print only the message for the topic leat/STATION/TANK/analysis/ask of a running daemon")
		flags.BoolVar(&a.send, "send", false, "send the analysis to the daemon that runs on -config: its shares follow")
		flags.StringVar(&a.sampled, "sampled", "", "when the sample was taken, with -payload or -send: a `TIME` such as 2026-01-01T09:00:00Z; default now")
		flags.StringVar(&a.note, "note", "", "a `TEXT` for the record, with -payload or -send")
		number("tolerance", "how far each macronutrient may be off, `%`; default 10")
	}
	return task{usage: blendUsage, values: map[string][]string{"recipe": blend.RecipeNames()}, do: func(stdout, _ io.Writer) error {
		err := a.run(stdout)
		if err == nil || errors.As(err, new(wrongUse)) {
			return err
		}
		return errors.New(strings.ReplaceAll(err.Error(), "\n", " "))
	}}
}

// number is a flag's number, or another where it was not given.
func (a *blendAsked) number(name string, or float64) (float64, error) {
	text := a.numbers[name]
	if text == nil || *text == "" {
		return or, nil
	}
	v, err := solution.Decimal("-"+name, *text)
	if err != nil {
		return 0, wrongUse(err.Error())
	}
	if !(v >= 0) {
		return 0, wrongUse("-" + name + " is below zero")
	}
	return v, nil
}

func (a *blendAsked) run(stdout io.Writer) error {
	if a.lab && (a.payload || a.send) {
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
	if table, ok := sheet.(interface{ CSV() string }); ok && a.csv != "" {
		if err := os.WriteFile(a.csv, []byte(table.CSV()), 0o644); err != nil {
			return err
		}
	}
	if a.json {
		err = writeJSON(stdout, sheet.Document())
	} else {
		_, err = io.WriteString(stdout, sheet.Text())
	}
	if making, ok := sheet.(*worksheet.Making); ok && err == nil {
		err = making.Refused()
	}
	return err
}

// sheet is the answer to what was asked.
func (a *blendAsked) sheet(job *worksheet.Job) (worksheet.Sheet, error) {
	switch {
	case a.lab:
		c, estimate, err := a.correction(job)
		if err != nil {
			return nil, err
		}
		return job.Correct(c, estimate)
	case a.making:
		return a.makeStocks(job)
	}
	return job.Mixture()
}

func (a *blendAsked) read() (*worksheet.Job, error) {
	job := &worksheet.Job{}
	plan, err := a.readStocks(job)
	if err != nil {
		return nil, err
	}
	if a.recipe == "" && plan != nil {
		job.Task.Recipe, job.Task.NH4Most = plan.Recipe, plan.NH4Most
	} else if a.recipe == "" && !(a.making && a.stocks+a.config != "") {
		return nil, wrongUse("no -recipe: name one of " + strings.Join(blend.RecipeNames(), ", ") + ", a file, or a list")
	}
	if a.recipe != "" {
		if job.Task.Recipe, err = readRecipe(a.recipe); err != nil {
			return nil, err
		}
	}
	if a.water == "" && plan != nil {
		job.Water = plan.Water
	} else if a.water == "" {
		job.Notes = append(job.Notes, "no -water: pure water is taken; a real one brings calcium and needs acid")
	} else {
		water, err := readAnalysis("-water", a.water)
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
	}{{"ec", &job.Task.EC, 1}, {"ph", &job.Task.PH, 1}, {"temp", &job.Task.TempC, 1}, {"nh4", &job.Task.NH4Most, 0.01}} {
		given, err := a.number(n.name, *n.to/n.factor)
		if err != nil {
			return nil, err
		}
		*n.to = given * n.factor
	}
	if job.Litres == 0 {
		job.Litres = 1000
		if a.making {
			job.Litres = 100
		}
	}
	if job.Litres, err = a.number("litres", job.Litres); err != nil {
		return nil, err
	}
	if !(job.Litres > 0 && job.Litres <= 1e6) {
		return nil, wrongUse("-litres " + *a.numbers["litres"] + " is no tank")
	}
	return job, nil
}

// readStocks reads what may be given; of a configuration its recipe and water as well.
func (a *blendAsked) readStocks(job *worksheet.Job) (*ratio.Plan, error) {
	stated := 0
	for _, text := range []string{a.stocks, a.salts, a.config} {
		if text != "" {
			stated++
		}
	}
	switch {
	case stated != 1:
		return nil, wrongUse("name the stocks once: -stocks FILE, -salts LIST or -config FILE")
	case len(a.acids) > 0 && a.salts == "":
		return nil, wrongUse("-acid goes with -salts; acids of a row stand among its stocks")
	case a.tank != "" && a.config == "":
		return nil, wrongUse("-tank goes with -config")
	case a.stocks != "":
		text, err := os.ReadFile(a.stocks)
		if err != nil {
			return nil, err
		}
		if job.Task.Stocks, err = blend.ReadStocks(string(text)); err != nil {
			return nil, fmt.Errorf("%s: %w", a.stocks, err)
		}
		return nil, nil
	case a.config != "":
		return a.readConfig(job)
	}
	stocks, err := worksheet.ReadSalts(a.salts)
	if err != nil {
		return nil, fmt.Errorf("-salts: %w", err)
	}
	for _, text := range a.acids {
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
		return wrongUse(flag + ": " + string(word))
	}
	return err
}

func (a *blendAsked) readConfig(job *worksheet.Job) (*ratio.Plan, error) {
	file, err := config.Look(a.config)
	if err != nil {
		return nil, fmt.Errorf("%s is refused: leat check -config %s tells why: %w", a.config, a.config, err)
	}
	row, err := file.Row(a.tank)
	if err != nil {
		return nil, err
	}
	if len(row.Unknown) > 0 {
		job.Notes = append(job.Notes, "left out, since the configuration does not say what they hold: "+strings.Join(row.Unknown, ", "))
	}
	job.Task.Stocks, job.Task.PH = row.Stocks, row.PH
	if !a.making {
		job.Task.EC, job.Litres = row.EC, row.Litres
	}
	return row.Ratio, nil
}

// correction is what is asked of a tank that was analysed.
func (a *blendAsked) correction(job *worksheet.Job) (c blend.Correction, estimate *blend.Analysis, err error) {
	if a.analysis == "" {
		return c, nil, wrongUse("no -analysis: give the laboratory's sheet of the tank")
	}
	if c.Tank, err = readAnalysis("-analysis", a.analysis); err != nil {
		return c, nil, err
	}
	if a.estimate != "" {
		e, err := readAnalysis("-estimate", a.estimate)
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
	if a.before == "" {
		if a.given != "" || c.TopUp > 0 {
			return c, nil, wrongUse("-given and -topup go with -before, the analysis they count from")
		}
		return c, estimate, nil
	}
	before, err := readAnalysis("-before", a.before)
	if err != nil {
		return c, nil, err
	}
	c.Before = &before
	if c.Given, err = worksheet.ReadGiven(a.given, job.Task.Stocks); err != nil {
		return c, nil, unreadable("-given", err)
	}
	return c, estimate, nil
}

// makeStocks tells how stocks that were given are made, or those of a recipe's salts.
func (a *blendAsked) makeStocks(job *worksheet.Job) (*worksheet.Making, error) {
	store, err := a.number("store", 15)
	if err != nil {
		return nil, err
	}
	if !(store >= 0 && store <= 40) {
		return nil, wrongUse("-store is no temperature of a store")
	}
	factor, err := a.number("factor", 100)
	if err != nil {
		return nil, err
	}
	if a.salts != "" {
		return job.Design(factor, store)
	}
	if *a.numbers["factor"] != "" {
		return nil, wrongUse("-factor goes with -salts; stocks that are given have their strength")
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
