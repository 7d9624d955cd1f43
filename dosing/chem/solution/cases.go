package solution

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"

	"leat/dosing/chem"
)

// Cases solves every row of a CSV file, told of as q says, in the file's order. A row that
// cannot be solved carries its error, and failed says so; err is what is wrong with the
// file itself.
func (q *Question) Cases(file io.Reader) (documents []Document, failed, err error) {
	rows, err := readCases(file)
	if err != nil {
		return nil, nil, err
	}
	documents = make([]Document, 0, len(rows))
	for _, row := range rows {
		d, err := q.solveCase(row)
		if err != nil {
			d = Document{Error: err.Error()}
			failed = errors.Join(failed, fmt.Errorf("%s: %w", row.name, err))
		}
		d.Case = row.name
		documents = append(documents, d)
	}
	if failed != nil {
		first, _, more := strings.Cut(failed.Error(), "\n")
		if more {
			first += fmt.Sprintf(" (and %d more)", strings.Count(failed.Error(), "\n"))
		}
		failed = errors.New(first)
	}
	return documents, failed, nil
}

// caseRow is one row, still text where it may be wrong.
type caseRow struct{ name, temp, totals, co2, from string }

var caseColumns = []string{"case", "temp_c", "mmol_per_kg_water", "log10_pco2_atm", "ph_from"}

// elsewhere is what the reference files of others call two of the columns.
var elsewhere = map[string]string{"totals_mmol_per_kgw": "mmol_per_kg_water", "ph_mode": "ph_from"}

func readCases(r io.Reader) ([]caseRow, error) {
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
	var cases []caseRow
	for {
		row, err := reader.Read()
		if err == io.EOF {
			return cases, nil
		}
		if err != nil {
			return nil, err
		}
		at := func(name string) string { return strings.TrimSpace(row[place[name]]) }
		cases = append(cases, caseRow{at("case"), at("temp_c"), at("mmol_per_kg_water"), at("log10_pco2_atm"), at("ph_from")})
	}
}

// solveCase computes the row. "given 6.0 (K by charge)": potassium comes or goes
// until the charge closes at that pH. Reference files of others write "fixed".
func (q *Question) solveCase(c caseRow) (d Document, err error) {
	var words []string
	for _, word := range strings.Split(c.totals, ";") {
		if word = strings.TrimSpace(word); word != "" {
			words = append(words, word)
		}
	}
	t, err := ReadIons(words)
	if err != nil {
		return d, err
	}
	var at chem.Conditions
	if at.TempC, err = Decimal("temp_c", c.temp); err != nil {
		return d, err
	}
	if c.co2 != "" {
		at.Open = true
		log, err := Decimal("log10_pco2_atm", c.co2)
		if err != nil {
			return d, err
		}
		at.CO2Atm = math.Pow(10, log)
	}
	s := chem.Solver{NitratePairs: q.NitratePairs}
	var r chem.Result
	byPotassium := false
	if c.from != "" && c.from != "charge balance" {
		how, given, _ := strings.Cut(c.from, " ")
		given, byPotassium = strings.CutSuffix(given, " (K by charge)")
		if at.FixedPH, err = Decimal("ph_from", strings.TrimSpace(given)); err != nil || how != "given" && how != "fixed" {
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
	return q.document(&t, at, &r)
}
