package campaign

import (
	"testing"

	"leat/controller/sim"
)

func TestEveryRowOfTheTableOfFaultsIsInjectedOrSaysWhereItIsPlayed(t *testing.T) {
	injected, other := rowsOf(), map[int]string{}
	for _, e := range rowsElsewhere {
		if e.row < 1 || e.row > faultRows || other[e.row] != "" || e.text == "" {
			t.Errorf("row %d is beyond the table, twice or without words", e.row)
		}
		other[e.row] = e.where
	}
	for row := 1; row <= faultRows; row++ {
		names, why := injected[row], other[row]
		switch {
		case len(names) == 0 && why == "":
			t.Errorf("row %d is nowhere", row)
		case len(names) > 0 && why != "":
			t.Errorf("row %d is injected as %v and said to be elsewhere", row, names)
		}
	}
}

// rowsOf are the rows that faults of the farm inject.
func rowsOf() map[int][]string {
	rows := map[int][]string{}
	for _, f := range sim.Faults() {
		if f.Row > 0 {
			rows[f.Row] = append(rows[f.Row], f.Name)
		}
	}
	return rows
}
