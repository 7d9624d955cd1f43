package main

import (
	"errors"
	"flag"
	"io"
	"strings"

	"leat/controller/desk"
	"leat/dosing/blend"
	"leat/dosing/blend/worksheet"
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

func blendCommand(flags *flag.FlagSet) task     { return blendTask(&desk.Blend{}, flags) }
func blendLabCommand(flags *flag.FlagSet) task  { return blendTask(&desk.Blend{Lab: true}, flags) }
func blendMakeCommand(flags *flag.FlagSet) task { return blendTask(&desk.Blend{Making: true}, flags) }

func blendListCommand(*flag.FlagSet) task {
	return task{do: func(stdout, _ io.Writer) error {
		_, err := io.WriteString(stdout, worksheet.Known())
		return err
	}}
}

func blendTask(a *desk.Blend, flags *flag.FlagSet) task {
	a.Numbers = map[string]*string{}
	flags.BoolVar(&a.JSON, "json", false, "print one JSON document")
	flags.StringVar(&a.Recipe, "recipe", "", "the recipe: a `NAME` (leat blend list), a file, or a list such as \"N=150 mg/L, K=210 mg/L\"")
	flags.StringVar(&a.Water, "water", "", "analysis of the source `WATER`: a file, or a list such as \"Ca=61 mg/L, HCO3=180 mg/L\"; none: pure water")
	flags.StringVar(&a.Stocks, "stocks", "", "`FILE` of stocks: stock,holds,amount,unit")
	flags.StringVar(&a.Salts, "salts", "", "salts by the gram instead of stocks: a `LIST` of names and labels (grade 13-0-46 + 13 NO3-N), or common")
	flags.Func("acid", "an acid or base beside -salts, repeatable: `\"nitric acid 38 %\"`, or \"nitric acid 38 % 1:10\" of one made up to ten times its volume", func(text string) error {
		a.Acids = append(a.Acids, text)
		return nil
	})
	flags.StringVar(&a.Config, "config", "", "take stocks, volume and setpoints, and what is not given here of recipe and water, from a configuration `FILE`")
	flags.StringVar(&a.Tank, "tank", "", "which `TANK` of the configuration")
	number := func(name, usage string) {
		a.Numbers[name] = flags.String(name, "", usage)
	}
	number("ec", "scale the macronutrients to this EC, `mS/cm` at 25 °C")
	number("ph", "`pH` once carbon dioxide has left; default the recipe's, else 5.8")
	number("temp", "water temperature in `°C`; default 25")
	number("nh4", "ammonium's largest share of nitrogen in `%`; default 10, at most 15")
	switch {
	case a.Making:
		number("litres", "`litres` of each stock tank; default 100")
		number("factor", "how many `times` as strong as the solution; default 100 (with -salts)")
		number("store", "temperature of the store in `°C`; default 15")
	default:
		number("litres", "`litres` of the tank; default 1000, or the configuration's")
		flags.StringVar(&a.CSV, "csv", "", "write the amounts to a CSV `FILE` too")
	}
	if a.Lab {
		flags.StringVar(&a.Analysis, "analysis", "", "the laboratory's `SHEET` of the tank: a file or a list, with pH and EC")
		flags.StringVar(&a.Estimate, "estimate", "", "what the tank was thought to hold: a `SHEET` to compare with")
		flags.StringVar(&a.Before, "before", "", "the `SHEET` before: with -given and -topup it tells new standing shares")
		flags.StringVar(&a.Given, "given", "", "what was given since, mL: a `LIST` such as calcium=1200,bloom=900")
		number("topup", "`litres` of water topped up since")
		flags.BoolVar(&a.Payload, "payload", false, "print only the message for the topic leat/STATION/TANK/analysis/ask of a running daemon")
		flags.BoolVar(&a.Send, "send", false, "send the analysis to the daemon that runs on -config: its shares follow")
		flags.StringVar(&a.Sampled, "sampled", "", "when the sample was taken, with -payload or -send: a `TIME` such as 2026-01-01T09:00:00Z; default now")
		flags.StringVar(&a.Note, "note", "", "a `TEXT` for the record, with -payload or -send")
		number("tolerance", "how far each macronutrient may be off, `%`; default 10")
	}
	return task{usage: blendUsage, values: map[string][]string{"recipe": blend.RecipeNames()}, do: func(stdout, _ io.Writer) error {
		err := a.Run(stdout)
		if err == nil || errors.As(err, new(desk.WrongUse)) {
			return err
		}
		return errors.New(strings.ReplaceAll(err.Error(), "\n", " "))
	}}
}
