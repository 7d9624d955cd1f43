package campaign

import "testing"

func TestEveryRowOfTheTableOfFaultsIsInjectedOrSaysWhereItIsPlayed(t *testing.T) {
	injected := rowsOf()
	for row := 1; row <= faultRows; row++ {
		names, why := injected[row], elsewhere[row]
		switch {
		case len(names) == 0 && why == "":
			t.Errorf("row %d is nowhere", row)
		case len(names) > 0 && why != "":
			t.Errorf("row %d is injected as %v and said to be elsewhere", row, names)
		}
	}
	for row := range elsewhere {
		if row < 1 || row > faultRows {
			t.Errorf("there is no row %d", row)
		}
	}
}
