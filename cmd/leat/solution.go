package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"strings"

	"leat/dosing/chem"
	"leat/dosing/chem/solution"
)

const solutionUsage = `usage: leat solution [flags] ION=MMOL …

What a solution is: pH, EC, species, saturation. Amounts in mmol per kg of water.
Ions: %s
(NH4 total ammonia, P total phosphorus, DIC total inorganic carbon, Si total silicate,
B total boron)

  leat solution -temp 20 NO3=7.5 K=3 Ca=2.5 Mg=1 SO4=1 P=0.5
  leat solution -add HNO3=3 Ca=2 Mg=0.5 Na=0.8 Cl=1.4 SO4=0.25 DIC=4

`

// solutionAsked is what the command line asks for.
type solutionAsked struct {
	solution.Question
	json                 bool
	cases, temp, ph, co2 string
	additions            []string
}

func solutionCommand(flags *flag.FlagSet) task {
	var asked solutionAsked
	flags.BoolVar(&asked.json, "json", false, "print one JSON document")
	flags.StringVar(&asked.cases, "cases", "", "solve every row of a CSV `FILE` (case, temp_c, mmol_per_kg_water, log10_pco2_atm, ph_from), print a JSON array")
	flags.BoolVar(&asked.Spread, "spread", false, "add how far each pH, EC and saturation index reaches over the published constants, and which constant moves it most")
	flags.BoolVar(&asked.NitratePairs, "nitrate-pairs", false, "count the ion pairs CaNO3+ and KNO3, which the model leaves out, and say what that changes")
	flags.StringVar(&asked.temp, "temp", "25", "temperature in `°C`, 0 to 50")
	flags.StringVar(&asked.ph, "ph", "", "a given `pH`; the charge that is then missing is reported")
	flags.StringVar(&asked.co2, "co2", "", "open to air with this carbon dioxide: `400ppm` (of 1 atm) or log10=-3.4")
	flags.Func("add", "add mmol per kg of water of an acid or base first: `HNO3=0.5` (HNO3 H3PO4 H2SO4 KOH NaOH K2CO3 KHCO3 K2SiO3); repeatable", func(text string) error {
		asked.additions = append(asked.additions, text)
		return nil
	})
	return task{usage: fmt.Sprintf(solutionUsage, strings.Join(chem.Ions[:], " ")), words: anyNumber, do: func(stdout, _ io.Writer) error {
		if err := asked.read(flags.Args()); err != nil {
			return wrongUse(err.Error())
		}
		err := asked.answer(stdout)
		var input *chem.InputError
		if errors.As(err, &input) && asked.cases == "" {
			return wrongUse(err.Error()) // an amount on the command line is no amount
		}
		return err
	}}
}

// read reads what the words and flags hold.
func (a *solutionAsked) read(ions []string) (err error) {
	if a.cases != "" {
		if len(ions) > 0 {
			return fmt.Errorf("-cases takes its ions from the file, not %q", ions[0])
		}
		return nil
	}
	if len(ions) == 0 && len(a.additions) == 0 {
		return errors.New("no ions given, for example NO3=7.5 K=3 Ca=2.5")
	}
	if a.Totals, err = solution.ReadIons(ions); err != nil {
		return err
	}
	for _, text := range a.additions {
		added, err := solution.ReadAdditions(text)
		if err != nil {
			return fmt.Errorf("-add %w", err)
		}
		a.Added = a.Added.Add(added, 1)
	}
	if a.Conditions.TempC, err = solution.Decimal("-temp", a.temp); err != nil {
		return err
	}
	if a.ph != "" {
		if a.Conditions.FixedPH, err = solution.Decimal("-ph", a.ph); err != nil {
			return err
		}
		if a.Conditions.FixedPH == 0 {
			return errors.New("-ph 0 lies outside 0.5 to 13.5")
		}
	}
	if a.co2 != "" {
		a.Conditions.Open = true
		a.Conditions.CO2Atm, err = solution.ReadCO2("-co2", a.co2)
	}
	return err
}

func (a *solutionAsked) answer(stdout io.Writer) error {
	switch {
	case a.cases != "":
		file, err := os.Open(a.cases)
		if err != nil {
			return err
		}
		defer file.Close()
		documents, failed, err := a.Cases(file)
		if err != nil {
			return fmt.Errorf("%s: %w", a.cases, err)
		}
		return errors.Join(writeJSON(stdout, documents), failed)
	case a.json:
		document, err := a.Document()
		if err != nil {
			return err
		}
		return writeJSON(stdout, document)
	}
	text, err := a.Text()
	if err != nil {
		return err
	}
	_, err = io.WriteString(stdout, text)
	return err
}
