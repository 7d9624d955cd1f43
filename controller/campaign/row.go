package campaign

import (
	"bytes"
	_ "embed"
	"encoding/csv"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// The table of faults: what can go wrong with the plant, the link and the people, by what
// it is played, and what leat does about it. It is written by hand; row_test.go holds the
// daemon's interlocks, the simulated farm's faults and the tests to it.

//go:embed faults.csv
var faultTable []byte

// faultRows is how many rows the table has. A row has a line for each way it is played.
const faultRows = 113

// row is one line of the table.
type row struct {
	number int
	text   string
	// played are a fault of the simulated farm, or tests (safety.TestName) and scenarios.
	played []string
	named  []namedBy // none: nobody need be called, or nothing shows it
	why    string    // nobody is called, or what the user must fit
}

// namedBy is an alarm that names a fault, what it does to doses and how soon a person is
// wanted.
type namedBy struct{ cause, reaction, priority string }

func (n namedBy) String() string { return n.cause + ": " + n.reaction + ", " + n.priority }

var rows = func() []row {
	all, err := readRows(faultTable)
	if err != nil {
		panic(err) // it is part of the program
	}
	return all
}()

func readRows(text []byte) (all []row, err error) {
	lines, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	if err != nil {
		return nil, err
	}
	for _, fields := range lines[1:] {
		r := row{text: fields[1], played: strings.Fields(fields[2]), why: fields[4]}
		if r.number, err = strconv.Atoi(fields[0]); err != nil {
			return nil, err
		}
		for _, alarm := range strings.FieldsFunc(fields[3], func(c rune) bool { return c == ';' }) {
			cause, rest, _ := strings.Cut(strings.TrimSpace(alarm), ": ")
			reaction, priority, whole := strings.Cut(rest, ", ")
			if !whole {
				return nil, fmt.Errorf("row %d: %q is not CAUSE: REACTION, PRIORITY", r.number, alarm)
			}
			r.named = append(r.named, namedBy{cause, reaction, priority})
		}
		all = append(all, r)
	}
	return all, nil
}

// rowOf is the line that a fault of the farm plays; nil where it is of no row.
func rowOf(fault string) *row {
	if i := slices.IndexFunc(rows, func(r row) bool { return slices.Equal(r.played, []string{fault}) }); i >= 0 {
		return &rows[i]
	}
	return nil
}

// nobodyCalled is why nothing need name a fault; "" = something should.
func nobodyCalled(fault string) string {
	if r := rowOf(fault); r != nil {
		return r.why
	}
	return ""
}

// numberOf is the row that a fault plays; 0 where it is of none.
func numberOf(fault string) int {
	if r := rowOf(fault); r != nil {
		return r.number
	}
	return 0
}
