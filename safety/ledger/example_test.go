package ledger_test

import (
	"errors"
	"fmt"
	"time"

	"leat/dosing"
	"leat/safety/ledger"
)

// A change is a row that the next start reads; a row that was edited shows.
func Example() {
	var store ledger.Memory
	book, err := ledger.Open(&store)
	if err != nil {
		fmt.Println(err)
		return
	}
	at := dosing.Instant{Wall: time.Date(2031, 3, 4, 19, 0, 0, 0, time.UTC)}
	for _, change := range []ledger.Change{
		{Kind: ledger.ChangeStart, At: at, Value: 1, Trusted: true, Text: "c41d"},
		{Kind: ledger.ChangeHandDose, At: at, Tank: "north", Pump: "acid", Volume: 5 * dosing.Millilitre, By: "ada"},
	} {
		if err := book.Append(change); err != nil {
			fmt.Println(err)
			return
		}
	}
	rows, _, err := ledger.Verify(&store, func(e ledger.Entry) error {
		_, err := fmt.Println(e)
		return err
	})
	fmt.Println(rows, "rows;", err)

	var edited ledger.Memory
	_ = store.Load(1, func(row ledger.Row) error {
		if row.Sequence == 2 {
			row.Body = []byte(`{"kind":"change","change":"hand-dose"}`)
		}
		return edited.Append(row)
	})
	_, err = ledger.Open(&edited)
	fmt.Println("edited:", errors.Is(err, ledger.ErrBroken))
	// Output:
	// station: started, epoch 1, configuration c41d, clock synchronised
	// north, acid: added by hand: 5 mL by ada
	// 2 rows; <nil>
	// edited: true
}
