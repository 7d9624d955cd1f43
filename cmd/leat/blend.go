package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"strconv"
	"strings"

	"leat/controller/config"
	"leat/dosing"
	"leat/dosing/blend"
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

func blendCommand(args []string, stdout, stderr io.Writer) int {
	asked := blendAsked{numbers: map[string]*string{}}
	name := "leat blend"
	if len(args) > 0 {
		switch args[0] {
		case "lab":
			asked.lab, args, name = true, args[1:], "leat blend lab"
		case "make":
			asked.making, args, name = true, args[1:], "leat blend make"
		case "list":
			return blendList(args[1:], stdout, stderr)
		}
	}
	flags := asked.flags(name)
	if code, done := parseFlags(flags, args, stdout, stderr, 0); done {
		return code
	}
	var wrong *wrongUse
	err := asked.run(stdout)
	if err == nil {
		return 0
	}
	fmt.Fprintf(stderr, "%s: %s\n", name, strings.ReplaceAll(err.Error(), "\n", " "))
	if errors.As(err, &wrong) {
		return 2
	}
	return 1
}

// wrongUse is a fault of the flags, not of what they name.
type wrongUse struct{ text string }

func (w *wrongUse) Error() string { return w.text + "; leat blend -h tells the flags" }

func (a *blendAsked) flags(name string) *flag.FlagSet {
	flags := flag.NewFlagSet(name, flag.ContinueOnError)
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
	flags.Usage = func() {
		fmt.Fprint(flags.Output(), blendUsage)
		flags.PrintDefaults()
	}
	return flags
}

// number is a flag's number, or another where it was not given.
func (a *blendAsked) number(name string, or float64) (float64, error) {
	text := a.numbers[name]
	if text == nil || *text == "" {
		return or, nil
	}
	v, err := decimal("-"+name, *text)
	if err != nil {
		return 0, &wrongUse{err.Error()}
	}
	if !(v >= 0) {
		return 0, &wrongUse{"-" + name + " is below zero"}
	}
	return v, nil
}

// blendJob is what was read, ready to be solved.
type blendJob struct {
	task   blend.Task
	water  blend.Analysis
	plan   *ratio.Plan // of the configuration's tank; nil where it has no recipe
	litres float64
	notes  []string
}

func (a *blendAsked) run(stdout io.Writer) error {
	if a.lab && (a.payload || a.send) {
		return a.tellDaemon(stdout) // needs no recipe here: the daemon has its own
	}
	job, err := a.read()
	if err != nil {
		return err
	}
	switch {
	case a.lab:
		return a.runLab(job, stdout)
	case a.making:
		return a.runMake(job, stdout)
	}
	m, err := blend.Solve(job.task)
	if err != nil {
		return err
	}
	m, volumes, err := m.Rounded(job.litres)
	if err != nil {
		return err
	}
	if a.csv != "" {
		if err := writeAmounts(a.csv, m, volumes); err != nil {
			return err
		}
	}
	if a.json {
		return writeJSON(stdout, mixDocumentOf(job, m, volumes))
	}
	var out strings.Builder
	printMix(&out, job, m, volumes)
	_, err = io.WriteString(stdout, out.String())
	return err
}

func (a *blendAsked) read() (*blendJob, error) {
	job := &blendJob{}
	if err := a.readStocks(job); err != nil {
		return nil, err
	}
	if a.recipe == "" && job.plan != nil {
		job.task.Recipe, job.task.NH4Most = job.plan.Recipe, job.plan.NH4Most
	} else if a.recipe == "" && !(a.making && a.stocks+a.config != "") {
		return nil, &wrongUse{"no -recipe: name one of " + strings.Join(blend.RecipeNames(), ", ") + ", a file, or a list"}
	}
	var err error
	if a.recipe != "" {
		if job.task.Recipe, err = readRecipe(a.recipe); err != nil {
			return nil, err
		}
	}
	if a.water == "" && job.plan != nil {
		job.water.Content = job.plan.Water
	} else if a.water == "" {
		job.notes = append(job.notes, "no -water: pure water is taken; a real one brings calcium and needs acid")
	} else if job.water, err = readAnalysis("-water", a.water); err != nil {
		return nil, err
	} else {
		job.water = job.water.Water()
	}
	job.task.Base = job.water.Content
	job.notes = append(job.notes, job.water.Remarks...)
	for _, n := range []struct {
		name   string
		to     *float64
		factor float64
	}{{"ec", &job.task.EC, 1}, {"ph", &job.task.PH, 1}, {"temp", &job.task.TempC, 1}, {"nh4", &job.task.NH4Most, 0.01}} {
		given, err := a.number(n.name, *n.to/n.factor)
		if err != nil {
			return nil, err
		}
		*n.to = given * n.factor
	}
	if job.litres == 0 {
		job.litres = 1000
		if a.making {
			job.litres = 100
		}
	}
	if job.litres, err = a.number("litres", job.litres); err != nil {
		return nil, err
	}
	if !(job.litres > 0 && job.litres <= 1e6) {
		return nil, &wrongUse{"-litres " + *a.numbers["litres"] + " is no tank"}
	}
	return job, nil
}

// commonSalts make every macronutrient and the usual micronutrients.
var commonSalts = []string{"calcium nitrate tetrahydrate", "potassium nitrate", "monopotassium phosphate", "magnesium sulfate heptahydrate", "potassium sulfate",
	"ammonium nitrate", "iron DTPA 11 %", "manganese sulfate monohydrate", "zinc sulfate heptahydrate", "boric acid", "copper sulfate pentahydrate", "sodium molybdate dihydrate"}

func (a *blendAsked) readStocks(job *blendJob) error {
	stated := 0
	for _, text := range []string{a.stocks, a.salts, a.config} {
		if text != "" {
			stated++
		}
	}
	switch {
	case stated != 1:
		return &wrongUse{"name the stocks once: -stocks FILE, -salts LIST or -config FILE"}
	case len(a.acids) > 0 && a.salts == "":
		return &wrongUse{"-acid goes with -salts; acids of a row stand among its stocks"}
	case a.tank != "" && a.config == "":
		return &wrongUse{"-tank goes with -config"}
	case a.stocks != "":
		text, err := os.ReadFile(a.stocks)
		if err != nil {
			return err
		}
		if job.task.Stocks, err = blend.ReadStocks(string(text)); err != nil {
			return fmt.Errorf("%s: %w", a.stocks, err)
		}
		return nil
	case a.config != "":
		return a.readConfig(job)
	}
	names := commonSalts
	if a.salts != "common" {
		names = strings.Split(a.salts, ",")
	}
	for _, name := range names {
		if name = strings.TrimSpace(name); strings.HasPrefix(name, "grade ") {
			stock, err := blend.GradeStock(name)
			if err != nil {
				return fmt.Errorf("-salts: %w", err)
			}
			job.task.Stocks = append(job.task.Stocks, stock)
			continue
		}
		salt, ok := blend.SaltNamed(name)
		if !ok {
			return fmt.Errorf("-salts: %q is no salt of the table; leat blend list tells them", strings.TrimSpace(name))
		}
		job.task.Stocks = append(job.task.Stocks, blend.SaltStock(salt))
	}
	for _, text := range a.acids {
		stock, err := readAcid(text)
		if err != nil {
			return err
		}
		job.task.Stocks = append(job.task.Stocks, stock)
	}
	return nil
}

// readAcid reads "nitric acid 38 %", and "nitric acid 38 % 1:10" of one that has been diluted.
func readAcid(text string) (blend.Stock, error) {
	body, dilution, found := strings.Cut(strings.TrimSpace(text), "%")
	words := strings.Fields(body)
	if found && len(words) > 1 {
		if r, ok := blend.ReagentNamed(strings.Join(words[:len(words)-1], " ")); ok {
			percent, err := decimal("-acid", words[len(words)-1])
			if err != nil {
				return blend.Stock{}, &wrongUse{err.Error()}
			}
			var diluted blend.Dilution
			if strings.TrimSpace(dilution) != "" {
				if diluted, err = blend.ReadDilution(dilution); err != nil {
					return blend.Stock{}, &wrongUse{"-acid: " + err.Error()}
				}
			}
			return blend.AcidStock(text, r, percent, 0, diluted)
		}
	}
	return blend.Stock{}, &wrongUse{fmt.Sprintf("-acid %q is not NAME PERCENT %%, with one of %s", text, strings.Join(blend.ReagentNames(), ", "))}
}

func (a *blendAsked) readConfig(job *blendJob) error {
	file, err := config.Look(a.config)
	if err != nil {
		return fmt.Errorf("%s is refused: leat check -config %s tells why: %w", a.config, a.config, err)
	}
	row, err := file.Row(a.tank)
	if err != nil {
		return err
	}
	if len(row.Unknown) > 0 {
		job.notes = append(job.notes, "left out, since the configuration does not say what they hold: "+strings.Join(row.Unknown, ", "))
	}
	job.task.Stocks, job.task.PH, job.plan = row.Stocks, row.PH, row.Ratio
	if !a.making {
		job.task.EC, job.litres = row.EC, row.Litres
	}
	return nil
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

func blendList(args []string, stdout, stderr io.Writer) int {
	flags := flag.NewFlagSet("leat blend list", flag.ContinueOnError)
	if code, done := parseFlags(flags, args, stdout, stderr, 0); done {
		return code
	}
	fmt.Fprintln(stdout, "Recipes")
	for _, name := range blend.RecipeNames() {
		r, _ := blend.RecipeNamed(name)
		fmt.Fprintf(stdout, "  %-12s %s\n", name, r.Source())
	}
	fmt.Fprintln(stdout, "\nSalts                                    dissolves at 20 °C")
	for _, name := range blend.SaltNames() {
		s, dissolves := blend.Salts[name], "not known"
		if s.Solubility > 0 {
			dissolves = fmt.Sprintf("%4.0f g/L", s.Solubility)
		}
		fmt.Fprintf(stdout, "  %-38s %-10s %s\n", name, dissolves, s.Formula)
	}
	fmt.Fprintln(stdout, "\nAcids and bases")
	for _, name := range blend.ReagentNames() {
		r := blend.Reagents[name]
		kind := "acid"
		if r.Role == dosing.RoleBase {
			kind = "base"
		}
		fmt.Fprintf(stdout, "  %-38s %-10s %s\n", name, kind, r.Formula)
	}
	return 0
}

// litresText prints a volume as it is measured out.
func volumeText(ml float64, solid bool) string {
	if solid {
		switch {
		case ml >= 1000:
			return strconv.FormatFloat(ml/1000, 'f', 3, 64) + " kg"
		case ml >= 10:
			return strconv.FormatFloat(ml, 'f', 1, 64) + " g"
		}
		return strconv.FormatFloat(ml, 'g', 3, 64) + " g"
	}
	switch {
	case ml >= 1000:
		return short(ml/1000) + " L"
	case ml >= 100:
		return strconv.FormatFloat(ml, 'f', 0, 64) + " mL"
	case math.Abs(ml) < 0.005:
		return "0 mL"
	}
	return strconv.FormatFloat(ml, 'g', 3, 64) + " mL"
}
