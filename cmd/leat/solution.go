package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"leat/dosing/chem"
)

// roomCO2 is the carbon dioxide of a ventilated room, for the second end point
// of an addition.
const roomCO2 = 420e-6 // atm

// solutionAsked is what the command line asks for.
type solutionAsked struct {
	json       bool
	spread     bool
	pairs      bool // of nitrate
	cases      string
	totals     chem.Totals
	conditions chem.Conditions
	added      chem.Totals
	additions  []string
}

func solutionCommand(args []string, stdout, stderr io.Writer) int {
	asked, code, done := readSolutionArgs(args, stdout, stderr)
	if done {
		return code
	}
	var err error
	switch {
	case asked.cases != "":
		err = solveCases(asked, stdout)
	case asked.json:
		err = printSolutionJSON(asked, stdout)
	default:
		err = printSolutionTable(asked, stdout)
	}
	if err == nil {
		return 0
	}
	fmt.Fprintf(stderr, "leat solution: %v\n", err)
	var input *chem.InputError
	if errors.As(err, &input) && asked.cases == "" {
		return 2 // an amount on the command line is no amount
	}
	return 1
}

func readSolutionArgs(args []string, stdout, stderr io.Writer) (asked solutionAsked, code int, done bool) {
	flags := flag.NewFlagSet("leat solution", flag.ContinueOnError)
	flags.BoolVar(&asked.json, "json", false, "print one JSON document")
	flags.StringVar(&asked.cases, "cases", "", "solve every row of a CSV `FILE` (case, temp_c, mmol_per_kg_water, log10_pco2_atm, ph_from), print a JSON array")
	flags.BoolVar(&asked.spread, "spread", false, "add how far each pH, EC and saturation index reaches over the published constants, and which constant moves it most")
	flags.BoolVar(&asked.pairs, "nitrate-pairs", false, "count the ion pairs CaNO3+ and KNO3, which the model leaves out, and say what that changes")
	temp := flags.String("temp", "25", "temperature in `°C`, 0 to 50")
	ph := flags.String("ph", "", "a given `pH`; the charge that is then missing is reported")
	co2 := flags.String("co2", "", "open to air with this carbon dioxide: `400ppm` (of 1 atm) or log10=-3.4")
	flags.Func("add", "add mmol per kg of water of an acid or base first: `HNO3=0.5` (HNO3 H3PO4 H2SO4 KOH NaOH K2CO3 KHCO3 K2SiO3); repeatable", func(text string) error {
		asked.additions = append(asked.additions, text)
		return nil
	})
	flags.Usage = func() {
		fmt.Fprint(flags.Output(), `usage: leat solution [flags] ION=MMOL …

What a solution is: pH, EC, species, saturation. Amounts in mmol per kg of water.
Ions: `+strings.Join(chem.Ions[:], " ")+`
(NH4 total ammonia, P total phosphorus, DIC total inorganic carbon, Si total silicate,
B total boron)

  leat solution -temp 20 NO3=7.5 K=3 Ca=2.5 Mg=1 SO4=1 P=0.5
  leat solution -add HNO3=3 Ca=2 Mg=0.5 Na=0.8 Cl=1.4 SO4=0.25 DIC=4

`)
		flags.PrintDefaults()
	}
	if code, done = parseFlags(flags, args, stdout, stderr, -1); done {
		return asked, code, true
	}
	if err := asked.set(flags.Args(), *temp, *ph, *co2); err != nil {
		return asked, misused("leat solution", err.Error(), stderr), true
	}
	return asked, 0, false
}

func (a *solutionAsked) set(ions []string, temp, ph, co2 string) (err error) {
	if a.cases != "" {
		if len(ions) > 0 {
			return fmt.Errorf("-cases takes its ions from the file, not %q", ions[0])
		}
		return nil
	}
	if len(ions) == 0 && len(a.additions) == 0 {
		return errors.New("no ions given, for example NO3=7.5 K=3 Ca=2.5")
	}
	if a.totals, err = readIons(ions); err != nil {
		return err
	}
	for _, text := range a.additions {
		if err = a.add(text); err != nil {
			return err
		}
	}
	if a.conditions.TempC, err = decimal("-temp", temp); err != nil {
		return err
	}
	if ph != "" {
		if a.conditions.FixedPH, err = decimal("-ph", ph); err != nil {
			return err
		}
		if a.conditions.FixedPH == 0 {
			return errors.New("-ph 0 lies outside 0.5 to 13.5")
		}
	}
	if co2 != "" {
		a.conditions.Open = true
		a.conditions.CO2Atm, err = readCO2(co2)
	}
	return err
}

// readIons reads "NO3=7.5"; a name that is none gets the one suggested that was plainly meant.
func readIons(words []string) (t chem.Totals, err error) {
	given := map[string]bool{}
	for _, word := range words {
		name, amount, found := strings.Cut(word, "=")
		if !found {
			return t, fmt.Errorf("%q is not ION=MMOL, for example NO3=7.5", word)
		}
		ion := t.Ion(name)
		if ion == nil {
			hint := ""
			if guess := nearestIon(name); guess != "" {
				hint = "; did you mean " + guess + "?"
			}
			return t, fmt.Errorf("%q is not an ion of the list%s (%s)", name, hint, strings.Join(chem.Ions[:], " "))
		}
		if given[name] {
			return t, fmt.Errorf("%s is given twice", name)
		}
		given[name] = true
		if *ion, err = decimal(name, amount); err != nil {
			return t, err
		}
	}
	return t, nil
}

func (a *solutionAsked) add(text string) error {
	for _, word := range strings.Split(text, ",") {
		name, amount, found := strings.Cut(word, "=")
		reagent, known := chem.ReagentNamed(name)
		if !found || !known {
			return fmt.Errorf("-add %q is not one of HNO3 H3PO4 H2SO4 KOH NaOH K2CO3 KHCO3 K2SiO3 with =MMOL", word)
		}
		v, err := decimal("-add "+name, amount)
		if err != nil {
			return err
		}
		if !(v >= 0) {
			return fmt.Errorf("-add %s is below zero", word)
		}
		a.added = a.added.Add(reagent.Ions, v)
	}
	return nil
}

// readCO2 reads "400ppm" or "log10=-3.4" as atm.
func readCO2(text string) (atm float64, err error) {
	if log, found := strings.CutPrefix(text, "log10="); found {
		if atm, err = decimal("-co2 log10", log); err != nil {
			return 0, err
		}
		return math.Pow(10, atm), nil
	}
	ppm, found := strings.CutSuffix(text, "ppm")
	if !found {
		return 0, fmt.Errorf("-co2 %q: write 400ppm or log10=-3.4", text)
	}
	atm, err = decimal("-co2", strings.TrimSpace(ppm))
	return atm * 1e-6, err
}

// decimal reads a plain decimal number; Go's NaN, Inf, hex and underscores are
// no amounts.
func decimal(what, text string) (float64, error) {
	if text != "" && strings.Trim(text, "0123456789.eE+-") == "" {
		if v, err := strconv.ParseFloat(text, 64); err == nil {
			return v, nil
		}
	}
	return 0, fmt.Errorf("%s: %q is not a number", what, text)
}

// solve computes the solution with what is added to it.
func (a *solutionAsked) solve(r *chem.Result) (chem.Totals, error) {
	t := a.totals.Add(a.added, 1)
	s := chem.Solver{NitratePairs: a.pairs}
	return t, s.Solve(&t, a.conditions, r)
}

// solutionDocument is the JSON of one solution; its keys are promised.
type solutionDocument struct {
	Case          string              `json:"case,omitempty"`
	Error         string              `json:"error,omitempty"`
	PH            *float64            `json:"ph"`
	EC            *float64            `json:"ec_ms_per_cm"`
	EC25          *float64            `json:"ec25_ms_per_cm"`
	TempC         float64             `json:"temp_c"`
	IonicStrength *float64            `json:"ionic_strength"`
	ChargeError   *float64            `json:"charge_error_meq"`
	Buffer        *float64            `json:"buffer_meq_per_ph"`
	Species       map[string]float64  `json:"species_mmol"`
	Saturation    map[string]*float64 `json:"saturation"`
	Published     map[string]*span    `json:"saturation_published,omitempty"`
	Spread        *spreadDocument     `json:"spread,omitempty"`
	Pairs         *pairsDocument      `json:"nitrate_pairs,omitempty"`
	Warnings      []string            `json:"warnings"`
}

func documentOf(r *chem.Result) solutionDocument {
	d := solutionDocument{
		PH: digits(r.PH), EC: digits(r.EC), EC25: digits(r.EC25), TempC: r.TempC,
		IonicStrength: digits(r.IonicStrength), ChargeError: digits(chargeShown(r)), Buffer: digits(r.Buffer),
		Species: map[string]float64{}, Saturation: map[string]*float64{}, Warnings: []string{},
	}
	for i, m := range r.Species {
		if m > 0 {
			d.Species[chem.Species(i).String()] = *digits(m)
		}
	}
	for i, si := range r.Saturation {
		d.Saturation[chem.Phase(i).String()] = digits(si)
	}
	d.Published = publishedSaturation(&r.Saturation)
	r.Warnings.Each(func(text string) { d.Warnings = append(d.Warnings, text) })
	return d
}

// chargeShown leaves out what is only the solver's last digit.
func chargeShown(r *chem.Result) float64 {
	if math.Abs(r.ChargeError) < 1e-5 {
		return 0
	}
	return r.ChargeError
}

// digits rounds to eight significant digits; nil, JSON's null, for what is no
// number.
func digits(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	v, _ = strconv.ParseFloat(strconv.FormatFloat(v, 'g', 8, 64), 64)
	return &v
}

func printSolutionJSON(a solutionAsked, w io.Writer) error {
	var r chem.Result
	t, err := a.solve(&r)
	if err != nil {
		return err
	}
	d, err := a.document(&t, a.conditions, &r)
	if err != nil {
		return err
	}
	return writeJSON(w, d)
}
