package report

import (
	"slices"
	"strings"
	"time"

	"leat/controller/diary"
	"leat/safety/alarm"
	"leat/safety/ledger"
)

// Alarm is one time that an alarm stood.
type Alarm struct {
	From     time.Time `json:"from"`
	To       time.Time `json:"to,omitzero"` // zero = it stood at the end
	Cause    string    `json:"cause"`
	Priority string    `json:"priority"`
	Text     string    `json:"text"`
	Advice   string    `json:"advice"`
	State    string    `json:"state"` // the last
}

// alarmsOf are the alarms of a tank that stood within the time.
func alarmsOf(past *diary.Past, tank string) (alarms []Alarm) {
	open := map[string]int{}
	end := func(cause string, at time.Time) {
		if n, stands := open[cause]; stands {
			alarms[n].To = at.In(past.Zone)
			delete(open, cause)
		}
	}
	for i := range past.Events {
		e := &past.Events[i]
		if e.Kind == diary.KindRun {
			for cause := range open {
				end(cause, e.At)
			}
		}
		if e.Kind != diary.KindAlarm || e.Tank != tank {
			continue
		}
		switch n, stands := open[e.Name]; {
		case over(e.Text):
			end(e.Name, e.At)
		case stands:
			alarms[n].State = e.Text
		case !tells(e.Text): // kept quiet from its beginning
		default:
			row := rowOf(e.Name)
			open[e.Name] = len(alarms)
			alarms = append(alarms, Alarm{From: e.At.In(past.Zone), Cause: e.Name, Priority: row.Priority.String(), Text: row.Text, Advice: row.Advice, State: e.Text})
		}
	}
	return slices.DeleteFunc(alarms, func(a Alarm) bool { return !a.To.IsZero() && !a.To.After(past.From) })
}

// tells says whether an alarm of this state stands before people.
func tells(state string) bool {
	for s := alarm.State(0); s < alarm.StateCount; s++ {
		if s.String() == state {
			return s.Stands()
		}
	}
	return false
}

// over says whether an alarm's condition is gone in this state.
func over(state string) bool {
	return state == alarm.Normal.String() || state == alarm.ReturnedUnacknowledged.String()
}

// told are the changes that a person asks for; the others are the daemon's memory.
var told = map[ledger.ChangeKind]bool{ledger.ChangeMode: true, ledger.ChangeSetpoint: true, ledger.ChangeTrip: true, ledger.ChangeClear: true,
	ledger.ChangeUnconfirmed: true, ledger.ChangeConfirmed: true, ledger.ChangeHandDose: true, ledger.ChangeHandVoid: true,
	ledger.ChangeServiced: true, ledger.ChangePause: true, ledger.ChangeSettings: true, ledger.ChangeAnalysis: true, ledger.ChangeEpoch: true,
	ledger.ChangeRestored: true, ledger.ChangeDisarmed: true, ledger.ChangeStart: true, ledger.ChangeRefill: true, ledger.ChangeMark: true, ledger.ChangeMeter: true,
	ledger.ChangeCalibration: true, ledger.ChangePumpRate: true, ledger.ChangeTube: true, ledger.ChangeHolidayEnd: true}

// changesOf are the changes of a tank, or of the station.
func changesOf(past *diary.Past, tank string) (changes []Change) {
	for i := range past.Entries {
		e := &past.Entries[i]
		if e.Kind != ledger.EntryChange || e.Tank != tank || !told[e.Change] {
			continue
		}
		changes = append(changes, Change{At: e.At.Wall.In(past.Zone), Kind: e.Change.String(), What: e.Deed(), By: ledger.Printable(e.By), From: ledger.Printable(e.From), Note: ledger.Printable(e.Note)})
	}
	return changes
}

// refusedOf are the asks that were refused.
func refusedOf(past *diary.Past) (refused []Change) {
	for _, d := range past.Deeds {
		if kind, ok := strings.CutSuffix(d.What, " refused"); ok {
			refused = append(refused, Change{At: d.Wall.In(past.Zone), Kind: ledger.Printable(kind), What: ledger.Printable(kind), By: ledger.Printable(d.Who),
				From: ledger.Printable(d.From), Note: ledger.Printable(d.Detail)})
		}
	}
	return refused
}
