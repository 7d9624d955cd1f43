package report

import (
	"slices"
	"time"

	"leat/controller/diary"
	"leat/safety/ledger"
)

// Liquid is what one pump gave a tank.
type Liquid struct {
	Pump      string  `json:"pump"`
	Liquid    string  `json:"liquid"`
	Role      string  `json:"role"`
	ML        float64 `json:"ml"`
	Count     int     `json:"doses"`
	HandML    float64 `json:"by_hand_ml,omitempty"`
	Hand      int     `json:"by_hand,omitempty"`
	Uncertain int     `json:"uncertain,omitempty"` // counted in full among the doses
	Withdrawn int     `json:"withdrawn,omitempty"` // never sent; count nothing
}

// Dose is one dose.
type Dose struct {
	At      time.Time `json:"at"`
	Order   string    `json:"order,omitempty"`
	Pump    string    `json:"pump"`
	ML      float64   `json:"ml"`
	Outcome string    `json:"outcome"`
	Cause   string    `json:"cause,omitempty"`
	Reason  string    `json:"reason,omitempty"` // why it was planned; of an entry by hand who made it
}

// Element is a nutrient that was given.
type Element struct {
	Symbol string  `json:"element"`
	Grams  float64 `json:"g"`
}

// byHand is the outcome of an entry by hand.
const byHand = "by hand"

// dosesOf are the doses of a tank with how they ended, in the order of their orders.
func dosesOf(past *diary.Past, tank string) (doses []Dose) {
	place := map[ledger.OrderID]int{}
	hands := map[string]int{}
	for i := range past.Entries {
		e := &past.Entries[i]
		if e.Tank != tank {
			continue
		}
		d := Dose{At: e.At.Wall.In(past.Zone), Pump: e.Pump, ML: e.Volume.Millilitres()}
		switch {
		case e.Kind == ledger.EntryIntent:
			d.Order, d.Outcome, d.Reason = e.Order.String(), ledger.OutcomeOpen.String(), e.Reason.String()
			place[e.Order] = len(doses)
			doses = append(doses, d)
		case e.Kind == ledger.EntrySettlement:
			if n, known := place[e.Order]; known {
				doses[n].ML, doses[n].Outcome, doses[n].Cause = d.ML, e.Outcome.String(), ledger.Printable(e.Cause)
			}
		case e.Change == ledger.ChangeHandDose:
			d.Outcome, d.Reason = byHand, e.By
			hands[e.Text] = len(doses)
			doses = append(doses, d)
		case e.Change == ledger.ChangeHandVoid:
			if n, known := hands[e.Text]; known {
				doses[n].ML, doses[n].Outcome = 0, "voided"
			}
		}
	}
	for i := range doses {
		if d := &doses[i]; d.Outcome == ledger.OutcomeOpen.String() && past.Last.Sub(d.At) < settledWithin {
			d.Outcome = underWay
		}
	}
	return doses
}

// give sums what a tank was given.
func (t *Tank) give(past *diary.Past, station *diary.Station) {
	t.Doses = dosesOf(past, t.Name)
	grams := map[string]float64{}
	var order []string
	for i := range station.Pumps {
		p := &station.Pumps[i]
		l := Liquid{Pump: p.Name, Liquid: p.Liquid, Role: p.Role}
		for _, d := range t.Doses {
			if d.Pump == p.Name {
				l.add(d)
			}
		}
		if l.Count+l.Hand+l.Withdrawn == 0 {
			continue
		}
		t.Liquids = append(t.Liquids, l)
		if len(p.Holds) == 0 {
			t.Unstated = append(t.Unstated, p.Name)
		}
		for symbol, mg := range p.Holds {
			if !slices.Contains(order, symbol) {
				order = append(order, symbol)
			}
			grams[symbol] += mg * (l.ML + l.HandML) / 1000
		}
	}
	slices.SortFunc(order, func(a, b string) int { return rank(a) - rank(b) })
	for _, symbol := range order {
		t.Nutrients = append(t.Nutrients, Element{symbol, grams[symbol]})
	}
	for _, d := range t.Doses {
		if d.doubted() {
			t.Uncertain = append(t.Uncertain, d)
		}
	}
}

// doubted says that nobody knows, or ever said, what became of a dose.
func (d *Dose) doubted() bool {
	return d.Outcome == ledger.OutcomeUncertain.String() || d.Outcome == ledger.OutcomeOpen.String()
}

// underWay is the outcome of a dose that is open at the end of a record: its time to be
// settled has not passed.
const underWay = "under way"

// settledWithin is longer than an order and the wait for its report take.
const settledWithin = 10 * time.Minute

func (l *Liquid) add(d Dose) {
	switch d.Outcome {
	case "voided":
	case byHand:
		l.Hand, l.HandML = l.Hand+1, l.HandML+d.ML
	case ledger.OutcomeWithdrawn.String():
		l.Withdrawn++
	default:
		if d.doubted() {
			l.Uncertain++
		}
		l.Count, l.ML = l.Count+1, l.ML+d.ML
	}
}

// symbols are the nutrients as a sheet lists them.
var symbols = []string{"NO3-N", "NH4-N", "P", "K", "Ca", "Mg", "S", "Fe", "Mn", "Zn", "B", "Cu", "Mo", "Si", "Cl", "Na"}

func rank(symbol string) int {
	if at := slices.Index(symbols, symbol); at >= 0 {
		return at
	}
	return len(symbols)
}
