package main

import (
	"errors"
	"flag"
	"io"
	"os"
	"strings"

	"leat/dosing/blend"
	"leat/dosing/blend/worksheet"
	"leat/dosing/chem/solution"
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
