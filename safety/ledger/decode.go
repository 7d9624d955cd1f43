package ledger

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"
	"unicode/utf8"

	"leat/dosing"
)

// EntryKind is what a row records.
type EntryKind uint8

// The kinds of entries.
const (
	EntryNone EntryKind = iota
	EntryIntent
	EntrySettlement
	EntryChange
	entryCount
)

var entryNames = [entryCount]string{"none", "intent", "settlement", "change"}

func (k EntryKind) String() string { return entryNames[min(k, entryCount-1)] }

// Entry is a decoded row. Tanks and pumps stand in it by name, since their
// numbers change with the configuration. At.Up is the uptime in the run Epoch.
type Entry struct {
	Sequence uint64
	Kind     EntryKind
	Epoch    uint32 // run in which the row was written; 0 = before any start
	At       dosing.Instant
	Tank     string // empty = the station
	Pump     string

	// Of an intent or a settlement.
	Order   OrderID
	Volume  dosing.Volume // ordered (intent), counted (settlement), added or owed (change)
	Ordered dosing.Volume // of a settlement: what was ordered
	Outcome Outcome
	Cause   string // of a settlement, in words
	Reason  dosing.Reason

	// What an intent rests on; a reading that was not there is NaN or 0.
	Configuration string
	PH            float64
	EC            float64 // mS/cm
	Temperature   float64 // °C

	// Of a change; see ChangeKind for what is set.
	Change             ChangeKind
	Quantity           dosing.Quantity
	Old, Value, Spread float64
	FileValue          float64 // of a setpoint: what the file said then
	Until              time.Time
	Trusted            bool
	Text, Note         string
	By, From           string
}

// body is the row's JSON. The order of fields is the order in the record and
// must not change: the hash covers the bytes.
type body struct {
	Kind          string      `json:"kind"`
	Change        string      `json:"change,omitempty"`
	Run           uint32      `json:"run,omitempty"`
	Wall          stamp       `json:"wall,omitzero"`
	Up            seconds     `json:"up_s"`
	Order         string      `json:"order,omitempty"`
	Tank          string      `json:"tank,omitempty"`
	Pump          string      `json:"pump,omitempty"`
	Volume        millilitres `json:"volume_ml,omitempty"`
	Ordered       millilitres `json:"ordered_ml,omitempty"`
	Outcome       string      `json:"outcome,omitempty"`
	Cause         string      `json:"cause,omitempty"`
	Reason        string      `json:"reason,omitempty"`
	PH            number      `json:"ph,omitzero"`
	EC            number      `json:"ec_ms_per_cm,omitzero"`
	Temperature   number      `json:"temp_c,omitzero"`
	Configuration string      `json:"configuration,omitempty"`
	Quantity      string      `json:"quantity,omitempty"`
	Old           number      `json:"old,omitzero"`
	Value         number      `json:"value,omitzero"`
	Spread        number      `json:"spread,omitzero"`
	FileValue     number      `json:"file_value,omitzero"`
	Until         stamp       `json:"until,omitzero"`
	Trusted       bool        `json:"trusted,omitempty"`
	Text          string      `json:"text,omitempty"`
	Note          string      `json:"note,omitempty"`
	By            string      `json:"by,omitempty"`
	From          string      `json:"from,omitempty"`
}

func (i Intent) body() body {
	return body{Kind: EntryIntent.String(), Wall: stamp{i.at.Wall}, Up: seconds(i.at.Up), Order: i.order.String(),
		Tank: i.basis.TankName, Pump: i.basis.PumpName, Volume: millilitres(i.plan.Volume), Reason: i.plan.Reason.String(),
		PH: number(i.basis.PH), EC: number(i.basis.EC), Temperature: number(i.basis.Temperature), Configuration: i.basis.Configuration}
}

func (s Settlement) body() body {
	return body{Kind: EntrySettlement.String(), Wall: stamp{s.at.Wall}, Up: seconds(s.at.Up), Order: s.order.String(),
		Tank: s.basis.TankName, Pump: s.basis.PumpName, Volume: millilitres(s.volume), Ordered: millilitres(s.plan.Volume),
		Outcome: s.outcome.String(), Cause: s.cause}
}

func (c Change) body() body {
	b := body{Kind: EntryChange.String(), Change: c.Kind.String(), Wall: stamp{c.At.Wall}, Up: seconds(c.At.Up), Tank: c.Tank, Pump: c.Pump,
		Volume: millilitres(c.Volume), Old: number(c.Old), Value: number(c.Value), Spread: number(c.Spread), FileValue: number(c.FileValue), Until: stamp{c.Until},
		Trusted: c.Trusted, Text: c.Text, Note: c.Note, By: c.By, From: c.From}
	if c.Quantity != dosing.QuantityNone {
		b.Quantity = c.Quantity.String()
	}
	return b
}

// longestText bounds what a person or a node can put into one row, in bytes.
const longestText = 2000

// bound shortens a text and makes it valid UTF-8, so that it reads back as it
// was written.
func bound(text string) string {
	if len(text) > longestText {
		cut := longestText
		for cut > longestText-utf8.UTFMax && !utf8.RuneStart(text[cut]) {
			cut--
		}
		text = text[:cut] + "…"
	}
	return strings.ToValidUTF8(text, "\uFFFD")
}

func (b body) encode() ([]byte, error) {
	for _, text := range []*string{&b.Tank, &b.Pump, &b.Cause, &b.Configuration, &b.Text, &b.Note, &b.By, &b.From} {
		*text = bound(*text)
	}
	var out bytes.Buffer
	encoder := json.NewEncoder(&out)
	encoder.SetEscapeHTML(false)
	if err := encoder.Encode(b); err != nil {
		return nil, err
	}
	return bytes.TrimSuffix(out.Bytes(), []byte{'\n'}), nil
}

// largestVolume is more than any one row can mean: 10 m³.
const largestVolume = 10_000 * dosing.Litre

// Decode reads the row's body. It does not check the chain; Open does.
func Decode(row Row) (Entry, error) {
	var b body
	if err := b.scan(row.Body); err != nil {
		return Entry{}, fmt.Errorf("row %d: %w", row.Sequence, err)
	}
	e, err := b.entry()
	if err != nil {
		return Entry{}, fmt.Errorf("row %d: %w", row.Sequence, err)
	}
	e.Sequence = row.Sequence
	return e, nil
}

func (b body) entry() (Entry, error) {
	e := Entry{Epoch: b.Run, At: dosing.Instant{Wall: b.Wall.Time, Up: time.Duration(b.Up)}, Tank: b.Tank, Pump: b.Pump,
		Volume: dosing.Volume(b.Volume), Ordered: dosing.Volume(b.Ordered), Cause: b.Cause, Configuration: b.Configuration,
		PH: float64(b.PH), EC: float64(b.EC), Temperature: float64(b.Temperature), Old: float64(b.Old), Value: float64(b.Value),
		Spread: float64(b.Spread), FileValue: float64(b.FileValue), Until: b.Until.Time, Trusted: b.Trusted, Text: b.Text, Note: b.Note, By: b.By, From: b.From}
	if e.Volume < 0 || e.Volume > largestVolume || e.Ordered < 0 || e.Ordered > largestVolume {
		return Entry{}, fmt.Errorf("volume %s of %s ordered: not a dose", e.Volume, e.Ordered)
	}
	var err error
	switch b.Kind {
	case EntryIntent.String():
		e.Kind = EntryIntent
		err = e.readIntent(b)
	case EntrySettlement.String():
		e.Kind = EntrySettlement
		err = e.readSettlement(b)
	case EntryChange.String():
		e.Kind = EntryChange
		err = e.readChange(b)
	default:
		err = fmt.Errorf("kind %.40q: want intent, settlement or change", b.Kind)
	}
	return e, err
}

func (e *Entry) readDose(b body) (err error) {
	if e.Order, err = ParseOrderID(b.Order); err != nil {
		return err
	}
	if b.Tank == "" || b.Pump == "" {
		return errNames
	}
	return nil
}

func (e *Entry) readIntent(b body) error {
	if e.Volume == 0 {
		return errors.New("an intent of no volume")
	}
	for r := dosing.ReasonNone; r < dosing.ReasonCount; r++ {
		if r.String() == b.Reason {
			e.Reason = r
			return e.readDose(b)
		}
	}
	return fmt.Errorf("reason %.40q is not known", b.Reason)
}

func (e *Entry) readSettlement(b body) error {
	outcome, ok := ParseOutcome(b.Outcome)
	if !ok || outcome == OutcomeOpen {
		return fmt.Errorf("outcome %.40q: want confirmed, refused, uncertain or withdrawn", b.Outcome)
	}
	e.Outcome = outcome
	return e.readDose(b)
}

func (e *Entry) readChange(b body) error {
	kind, ok := ParseChangeKind(b.Change)
	if !ok {
		return fmt.Errorf("change %.40q is not known", b.Change)
	}
	e.Change = kind
	if kind.begins() {
		if _, err := epochOf(e.Value); err != nil {
			return err
		}
	}
	if b.Quantity == "" {
		return nil
	}
	for q := dosing.QuantityNone + 1; q < dosing.QuantityCount; q++ {
		if q.String() == b.Quantity {
			e.Quantity = q
			return nil
		}
	}
	return fmt.Errorf("quantity %.40q is not known", b.Quantity)
}

// epochOf reads the epoch of a start.
func epochOf(value float64) (uint32, error) {
	if !(value >= 1 && value <= 1<<32-1) || value != float64(uint32(value)) {
		return 0, fmt.Errorf("epoch %v: want a whole number from 1 to 2^32-1", value)
	}
	return uint32(value), nil
}
