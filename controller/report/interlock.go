package report

import (
	"cmp"

	"leat/controller/diary"
	"leat/dosing"
	"leat/safety"
)

// precedes orders by what stands before what only spaces doses, then as the table does.
func precedes(a, b interlock) bool {
	order := func(spaces bool) int {
		if spaces {
			return 1
		}
		return 0
	}
	return cmp.Or(cmp.Compare(order(spaces(a.cause)), order(spaces(b.cause))), cmp.Compare(place(a.cause), place(b.cause)), cmp.Compare(a.pump, b.pump)) < 0
}

var places = func() map[string]int {
	at := map[string]int{}
	for i, cause := range safety.Causes() {
		at[cause.String()] = i
	}
	return at
}()

// place is where a cause stands in the table; one of another version comes last.
func place(cause string) int {
	if at, known := places[cause]; known {
		return at
	}
	return len(places)
}

func rowOf(cause string) safety.Interlock {
	c, known := safety.ParseCause(cause)
	if !known {
		return safety.Interlock{Text: cause}
	}
	return safety.Of(c)
}

// spaces says that a cause is of a single dose.
func spaces(cause string) bool {
	c, known := safety.ParseCause(cause)
	return known && safety.OfOneDose(c)
}

// concerns says whether an interlock reaches what is wanted.
func concerns(k interlock, want string, station *diary.Station) bool {
	stock := want == dosing.RoleStock.String()
	if k.pump != "" {
		for i := range station.Pumps {
			if p := &station.Pumps[i]; p.Name == k.pump {
				return p.Role == want
			}
		}
		return false
	}
	switch rowOf(k.cause).Scope {
	case safety.ScopeNutrients:
		return stock
	case safety.ScopeReagents:
		return !stock
	}
	return true
}
