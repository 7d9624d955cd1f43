package store

import (
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"sort"
	"strings"
	"text/tabwriter"
	"time"

	"leat/dosing"
	"leat/safety/ledger"
)

// Verify reads the whole chain and writes what it holds: rows, head, open doses and sums
// by pump, in sentences or as one JSON document. The error says where the chain breaks.
func (r *Record) Verify(w io.Writer, asJSON bool, zone *time.Location) error {
	state, err := ledger.Replay(r, dosing.Instant{Wall: time.Now()}, false)
	if err != nil {
		return err
	}
	if asJSON {
		return verifyJSON(state, w)
	}
	return verifyText(state, w, zone)
}

func verifyText(state ledger.State, to io.Writer, zone *time.Location) error {
	w := tabwriter.NewWriter(to, 0, 0, 2, ' ', 0)
	fmt.Fprintf(w, "rows\t%d\nhead\t%x\n", state.Rows, state.Head)
	if state.Rows > 0 {
		fmt.Fprintf(w, "from\t%s\nto\t%s\nepoch\t%d\n", state.First.In(zone).Format(time.RFC3339),
			state.Last.In(zone).Format(time.RFC3339), state.LastEpoch)
	}
	for _, open := range state.Open {
		fmt.Fprintf(w, "open\tdose %s: %s of %s into %s, counted in full\n", open.Order, open.Volume, open.Pump, open.Tank)
	}
	if len(state.Ever) > 0 {
		fmt.Fprint(w, "\npump\tcounted mL")
		for o := ledger.OutcomeOpen; o < ledger.OutcomeCount; o++ {
			fmt.Fprintf(w, "\t%s", o)
		}
		fmt.Fprintln(w)
	}
	for _, pump := range pumpsOf(state) {
		fmt.Fprintf(w, "%s\t%s", pump, strings.TrimSuffix(state.Ever[pump].String(), " mL"))
		for _, doses := range state.Outcomes[pump].Doses {
			fmt.Fprintf(w, "\t%d", doses)
		}
		fmt.Fprintln(w)
	}
	fmt.Fprintln(w, "\nThe chain holds from the first row to the head.")
	return w.Flush()
}

func verifyJSON(state ledger.State, w io.Writer) error {
	type pump struct {
		Pump    string            `json:"pump"`
		Counted json.Number       `json:"counted_ml"`
		Doses   map[string]uint64 `json:"doses"`
	}
	out := struct {
		Holds bool     `json:"holds"`
		Rows  uint64   `json:"rows"`
		Head  string   `json:"head"`
		Epoch uint32   `json:"epoch"`
		Open  []string `json:"open"`
		Pumps []pump   `json:"pumps"`
	}{Holds: true, Rows: state.Rows, Head: hex.EncodeToString(state.Head[:]), Epoch: state.LastEpoch, Open: []string{}, Pumps: []pump{}}
	for _, open := range state.Open {
		out.Open = append(out.Open, open.Order.String())
	}
	for _, name := range pumpsOf(state) {
		p := pump{Pump: name, Counted: json.Number(strings.TrimSuffix(state.Ever[name].String(), " mL")), Doses: map[string]uint64{}}
		for o, doses := range state.Outcomes[name].Doses {
			p.Doses[ledger.Outcome(o).String()] = doses
		}
		out.Pumps = append(out.Pumps, p)
	}
	encoder := json.NewEncoder(w)
	encoder.SetEscapeHTML(false)
	return encoder.Encode(out)
}

func pumpsOf(state ledger.State) []string {
	pumps := make([]string, 0, len(state.Ever))
	for pump := range state.Ever {
		pumps = append(pumps, pump)
	}
	sort.Strings(pumps)
	return pumps
}
