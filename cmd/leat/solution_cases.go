package main

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"leat/dosing/chem"
)

// solveCases solves every row of a CSV file and prints a JSON array in the
// file's order. A row that cannot be solved carries its error in the array and
// makes the command fail.
func solveCases(a solutionAsked, w io.Writer) error {
	path := a.cases
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	rows, err := readCases(f)
	if err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	documents := make([]solutionDocument, 0, len(rows))
	var failed error
	for _, row := range rows {
		d, err := row.solve(a)
		if err != nil {
			d = solutionDocument{Error: err.Error()}
			failed = errors.Join(failed, fmt.Errorf("%s: %w", row.name, err))
		}
		d.Case = row.name
		documents = append(documents, d)
	}
	if err = writeJSON(w, documents); err != nil {
		return err
	}
	if failed != nil {
		first, _, more := strings.Cut(failed.Error(), "\n")
		if more {
			first += fmt.Sprintf(" (and %d more)", strings.Count(failed.Error(), "\n"))
		}
		return errors.New(first)
	}
	return nil
}

// solutionCase is one row, still text where it may be wrong.
type solutionCase struct{ name, temp, totals, co2, from string }

var caseColumns = []string{"case", "temp_c", "mmol_per_kg_water", "log10_pco2_atm", "ph_from"}

// elsewhere is what the reference files of others call two of the columns.
var elsewhere = map[string]string{"totals_mmol_per_kgw": "mmol_per_kg_water", "ph_mode": "ph_from"}

func readCases(r io.Reader) ([]solutionCase, error) {
	reader := csv.NewReader(r)
	header, err := reader.Read()
	if err != nil {
		return nil, fmt.Errorf("no header (%w); the first line names the columns %s", err, strings.Join(caseColumns, ","))
	}
	place := map[string]int{}
	for i, name := range header {
		name = strings.TrimSpace(strings.TrimPrefix(name, "\ufeff"))
		if ours, ok := elsewhere[name]; ok {
			name = ours
		}
		place[name] = i
	}
	for _, name := range caseColumns {
		if _, ok := place[name]; !ok {
			return nil, fmt.Errorf("column %s is missing; the first line names the columns %s", name, strings.Join(caseColumns, ","))
		}
	}
	var cases []solutionCase
	for {
		row, err := reader.Read()
		if err == io.EOF {
			return cases, nil
		}
		if err != nil {
			return nil, err
		}
		at := func(name string) string { return strings.TrimSpace(row[place[name]]) }
		cases = append(cases, solutionCase{at("case"), at("temp_c"), at("mmol_per_kg_water"), at("log10_pco2_atm"), at("ph_from")})
	}
}

// solve computes the row. "given 6.0 (K by charge)": potassium comes or goes
// until the charge closes at that pH. Reference files of others write "fixed".
func (c solutionCase) solve(a solutionAsked) (d solutionDocument, err error) {
	var words []string
	for _, word := range strings.Split(c.totals, ";") {
		if word = strings.TrimSpace(word); word != "" {
			words = append(words, word)
		}
	}
	t, err := readIons(words)
	if err != nil {
		return d, err
	}
	var at chem.Conditions
	if at.TempC, err = decimal("temp_c", c.temp); err != nil {
		return d, err
	}
	if c.co2 != "" {
		at.Open = true
		if at.CO2Atm, err = readCO2("log10=" + c.co2); err != nil {
			return d, err
		}
	}
	s := chem.Solver{NitratePairs: a.pairs}
	var r chem.Result
	byPotassium := false
	if c.from != "" && c.from != "charge balance" {
		how, given, _ := strings.Cut(c.from, " ")
		given, byPotassium = strings.CutSuffix(given, " (K by charge)")
		if at.FixedPH, err = decimal("ph_from", strings.TrimSpace(given)); err != nil || how != "given" && how != "fixed" {
			return d, fmt.Errorf("ph_from %q: write charge balance, given 6.0 or given 6.0 (K by charge)", c.from)
		}
	}
	if byPotassium {
		t, err = s.KByCharge(t, at, &r)
	} else {
		err = s.Solve(&t, at, &r)
	}
	if err != nil {
		return d, err
	}
	return a.document(&t, at, &r)
}
