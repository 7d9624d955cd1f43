package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"strings"

	"leat/controller/desk"
	"leat/dosing/chem"
)

const solutionUsage = `usage: leat solution [flags] ION=MMOL …

What a solution is: pH, EC, species, saturation. Amounts in mmol per kg of water.
Ions: %s
(NH4 total ammonia, P total phosphorus, DIC total inorganic carbon, Si total silicate,
B total boron)

  leat solution -temp 20 NO3=7.5 K=3 Ca=2.5 Mg=1 SO4=1 P=0.5
  leat solution -add HNO3=3 Ca=2 Mg=0.5 Na=0.8 Cl=1.4 SO4=0.25 DIC=4

`

func solutionCommand(flags *flag.FlagSet) task {
	var asked desk.Solution
	flags.BoolVar(&asked.JSON, "json", false, "print one JSON document")
	flags.StringVar(&asked.Cases, "cases", "", "solve every row of a CSV `FILE` (case, temp_c, mmol_per_kg_water, log10_pco2_atm, ph_from), print a JSON array")
	flags.BoolVar(&asked.Spread, "spread", false, "add how far each pH, EC and saturation index reaches over the published constants, and which constant moves it most")
	flags.BoolVar(&asked.NitratePairs, "nitrate-pairs", false, "count the ion pairs CaNO3+ and KNO3, which the model leaves out, and say what that changes")
	flags.StringVar(&asked.Temp, "temp", "25", "temperature in `°C`, 0 to 50")
	flags.StringVar(&asked.PH, "ph", "", "a given `pH`; the charge that is then missing is reported")
	flags.StringVar(&asked.CO2, "co2", "", "open to air with this carbon dioxide: `400ppm` (of 1 atm) or log10=-3.4")
	flags.Func("add", "add mmol per kg of water of an acid or base first: `HNO3=0.5` (HNO3 H3PO4 H2SO4 KOH NaOH K2CO3 KHCO3 K2SiO3); repeatable", func(text string) error {
		asked.Additions = append(asked.Additions, text)
		return nil
	})
	return task{usage: fmt.Sprintf(solutionUsage, strings.Join(chem.Ions[:], " ")), words: anyNumber, do: func(stdout, _ io.Writer) error {
		if err := asked.Read(flags.Args()); err != nil {
			return desk.WrongUse(err.Error())
		}
		err := asked.Answer(stdout)
		var input *chem.InputError
		if errors.As(err, &input) && asked.Cases == "" {
			return desk.WrongUse(err.Error()) // an amount on the command line is no amount
		}
		return err
	}}
}
