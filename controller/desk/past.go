package desk

import (
	"errors"
	"fmt"
	"time"

	"leat/controller/campaign"
	"leat/controller/store"
	"leat/dosing"
	"leat/safety/ledger"
)

// pastOf reads what a state folder holds of a farm. The folder may belong to a
// running daemon; nothing in it is changed.
func pastOf(folder string, farm *campaign.Farm) (past *campaign.Past, err error) {
	db, err := store.OpenReader(folder)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	past = &campaign.Past{Rows: &ledger.Memory{}, Readings: make([][]campaign.PastMinute, len(farm.Settings.Safety.Inputs))}
	orders := map[ledger.OrderID]ledger.Entry{}
	_, _, err = ledger.VerifyRows(db, func(row ledger.Row, e ledger.Entry) error {
		past.Last = e.At.Wall
		switch e.Kind {
		case ledger.EntryIntent:
			orders[e.Order] = e
		case ledger.EntrySettlement:
			intent := orders[e.Order]
			past.Doses = append(past.Doses, campaign.PastDose{At: e.At.Wall, Tank: intent.Tank, Pump: intent.Pump, Volume: e.Volume})
			delete(orders, e.Order)
		}
		return past.Rows.Append(row)
	})
	if err != nil {
		return nil, err
	}
	for i := range farm.Settings.Safety.Inputs {
		in := &farm.Settings.Safety.Inputs[i]
		if in.NotFitted != "" || in.Tank == dosing.AllTanks {
			continue
		}
		name := farm.Settings.Safety.Tanks[in.Tank].Name + "/" + in.Name
		minutes, err := db.Readings(name, time.Time{}, past.Last.Add(24*time.Hour))
		if err != nil {
			return nil, fmt.Errorf("history of %s: %w", name, err)
		}
		for _, m := range minutes {
			past.Readings[i] = append(past.Readings[i], campaign.PastMinute{At: m.At, Mean: m.Mean})
		}
	}
	return past, nil
}
