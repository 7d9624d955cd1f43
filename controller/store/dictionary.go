package store

import "slices"

const dictionaryKind = "dictionary"

// word is what one column holds.
type word struct{ kind, column, unit, meaning string }

// dictionary tells of every column of every table that is exported. An empty cell is a
// value that was not there. Times are UTC, written as RFC 3339.
var dictionary = []word{
	{"doses", "order", "", "identity of the order: the run of the daemon and its number; empty of what was added by hand"},
	{"doses", "permitted", "time", "when the gate permitted the dose, or when an addition was entered"},
	{"doses", "tank", "", "tank it went into"},
	{"doses", "pump", "", "pump that gave it, or whose liquid was added"},
	{"doses", "ordered_ml", "mL", "volume that was ordered"},
	{"doses", "outcome", "", "open, confirmed, refused, uncertain, withdrawn, or by hand; all but withdrawn count"},
	{"doses", "counted_ml", "mL", "volume that counts: as reported, or in full where nobody knows"},
	{"doses", "settled", "time", "when its fate was known, or given up"},
	{"doses", "reason", "", "what called for it"},
	{"doses", "ph", "pH", "settled pH on which it rests"},
	{"doses", "ec_ms_per_cm", "mS/cm at 25 °C", "EC on which it rests"},
	{"doses", "temp_c", "°C", "temperature of the water"},
	{"doses", "cause", "", "why it ended as it did; of an addition by hand, the name of the entry"},
	{"doses", "configuration", "", "identity of the configuration in force"},
	{"doses", "by", "", "who entered an addition by hand"},
	{"readings", "minute", "time", "beginning of the minute"},
	{"readings", "input", "", "tank and input; tank/ion/… is the account of an ion, in mmol/L"},
	{"readings", "count", "readings", "how many fell into the minute"},
	{"readings", "low", "the input's", "lowest: pH, mS/cm at 25 °C, °C, L; 1 and 0 of a switch"},
	{"readings", "mean", "the input's", "mean"},
	{"readings", "high", "the input's", "highest"},
	{"changes", "row", "", "number of the row in the ledger"},
	{"changes", "at", "time", "when it was so"},
	{"changes", "epoch", "", "run of the daemon"},
	{"changes", "change", "", "kind of change; ledger print says it in a sentence"},
	{"changes", "tank", "", "tank; empty = the station"},
	{"changes", "pump", "", "pump, where it is of one"},
	{"changes", "quantity", "", "ph or ec, where it is of one"},
	{"changes", "old", "the quantity's", "value before; of an epoch, the one before"},
	{"changes", "value", "the quantity's", "new value; of learned and drift the mean, of a level litres, of a clock seconds, of an analysis the sample's age in seconds"},
	{"changes", "spread", "the value's", "standard deviation of what was learned"},
	{"changes", "volume_ml", "mL", "volume added by hand, owed, spent, or held after a refill"},
	{"changes", "until", "time", "when it ends by itself; empty = by a person"},
	{"changes", "trusted", "", "whether the clock was synchronised, or an analysis left no doubt"},
	{"changes", "text", "", "mode, cause, batch, ions, name of an entry"},
	{"changes", "note", "", "what the person wrote"},
	{"changes", "by", "", "who did it"},
	{"changes", "from", "", "from where: page, mqtt, socket"},
	{"events", "at", "time", "when it came or went"},
	{"events", "tank", "", "tank; empty = the station"},
	{"events", "kind", "", "run, station, interlock, alarm, setpoint, want, drift or top-up; what stands is said again twice a day"},
	{"events", "name", "", "cause of an interlock or alarm; ph or ec; the role of pump that is wanted, none, or unknown"},
	{"events", "pump", "", "pump of an interlock of its own"},
	{"events", "value", "the kind's", "interlock 1 = stands, 0 = ended; setpoint and hourly drift in pH or mS/cm at 25 °C; top-up in L since the row before"},
	{"events", "text", "", "detail, state of an alarm, or the station as JSON"},
	{dictionaryKind, "kind", "", "table"},
	{dictionaryKind, "column", "", "column of it"},
	{dictionaryKind, "unit", "", "unit; empty = text or a plain number"},
	{dictionaryKind, "meaning", "", "what it holds"},
}

func (x export) dictionary() error {
	if err := x.into.begin(columnsOf(dictionaryKind)...); err != nil {
		return err
	}
	for _, w := range dictionary {
		if err := x.into.row(w.kind, w.column, w.unit, w.meaning); err != nil {
			return err
		}
	}
	return nil
}

// columnsOf are the columns of a table.
func columnsOf(kind string) (columns []string) {
	for _, w := range dictionary {
		if w.kind == kind {
			columns = append(columns, w.column)
		}
	}
	return slices.Clip(columns)
}
