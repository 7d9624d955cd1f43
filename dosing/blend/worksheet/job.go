// Package worksheet reads what a mixture is to be made of, and writes out what is to be
// done: how much of each stock, how a tank is corrected, how stocks are made. Each is a
// text for a person and a document for a program, whose keys are promised; amounts are a
// table too. dosing/blend does the sums. It touches nothing.
package worksheet

import (
	"encoding/csv"
	"strconv"
	"strings"

	"leat/dosing/blend"
)

// Sheet is an answer, ready to be written out.
type Sheet interface {
	Text() string  // for a person
	Document() any // for JSON
}

// Job is what a mixture is to be made of.
type Job struct {
	Task   blend.Task
	Water  blend.Content
	Litres float64
	Notes  []string // what was assumed where nothing was said
}

// Mixture is how a job's recipe is made up from its stocks.
type Mixture struct {
	job     *Job
	mix     *blend.Mix
	volumes []float64 // in all: mL, of a solid g
}

// Mixture is the nearest that the stocks can do, in amounts that can be measured out.
func (j *Job) Mixture() (*Mixture, error) {
	m, err := blend.Solve(j.Task)
	if err != nil {
		return nil, err
	}
	m, volumes, err := m.Rounded(j.Litres)
	return &Mixture{j, m, volumes}, err
}

// notes are the job's and those of a mixture that was made for it.
func (j *Job) notes(m *blend.Mix) []string {
	return append(append([]string{}, j.Notes...), m.Remarks...)
}

// CSV is the amounts as a table.
func (x *Mixture) CSV() string { return amountsCSV(x.mix, x.volumes) }

// amountsCSV names the amounts as a sheet of stocks does.
func amountsCSV(m *blend.Mix, volumes []float64) string {
	rows := [][]string{{"stock", "per_litre", "in_all", "unit", "share"}}
	shares := m.Shares()
	for i := range m.Task.Stocks {
		s := &m.Task.Stocks[i]
		unit := "mL"
		if s.Solid {
			unit = "g"
		}
		number := func(v float64) string { return strconv.FormatFloat(v, 'f', 4, 64) }
		name := s.Name
		if strings.IndexAny(name, "=+-@") == 0 { // no spreadsheet takes it for a formula
			name = "'" + name
		}
		rows = append(rows, []string{name, number(m.Amounts[i]), number(volumes[i]), unit, number(shares[i])})
	}
	var out strings.Builder
	_ = csv.NewWriter(&out).WriteAll(rows) // a string takes everything
	return out.String()
}
