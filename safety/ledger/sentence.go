package ledger

import (
	"cmp"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
	"unicode"

	"leat/dosing"
)

// String is the entry in a sentence, without number and time. What could move a
// terminal's cursor is shown as a replacement character: some of it was typed by
// strangers.
func (e Entry) String() string { return Printable(e.sentence()) }

// Printable is a text that cannot move a terminal's cursor.
func Printable(text string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsPrint(r) {
			return r
		}
		return unicode.ReplacementChar
	}, text)
}

// Deed is what a change did, without where, by whom and why.
func (e Entry) Deed() string { return Printable(e.deed()) }

func (e Entry) deed() string {
	if e.Pump == "" {
		return e.changeText()
	}
	return e.Pump + ": " + e.changeText()
}

func (e Entry) sentence() string {
	switch e.Kind {
	case EntryIntent:
		return fmt.Sprintf("dose %s: %s of %s into %s because %s%s", e.Order, e.Volume, e.Pump, e.Tank, e.Reason, e.readings())
	case EntrySettlement:
		text := fmt.Sprintf("dose %s %s: %s of %s into %s counted", e.Order, e.Outcome, e.Volume, e.Pump, e.Tank)
		if e.Volume != e.Ordered {
			text += fmt.Sprintf(" of %s ordered", e.Ordered)
		}
		return text + clause(e.Cause)
	case EntryChange:
		return e.place() + e.changeText() + e.author()
	}
	return "nothing"
}

func (e Entry) readings() string {
	var parts []string
	if e.PH > 0 {
		parts = append(parts, "pH "+dosing.PH(e.PH).String())
	}
	if e.EC > 0 {
		parts = append(parts, "EC "+dosing.Conductivity(e.EC).String())
	}
	if e.Temperature != 0 && !math.IsNaN(e.Temperature) {
		parts = append(parts, dosing.Celsius(e.Temperature).String())
	}
	if e.Configuration != "" {
		parts = append(parts, "configuration "+e.Configuration)
	}
	if parts == nil {
		return ""
	}
	return " (" + strings.Join(parts, ", ") + ")"
}

func (e Entry) place() string {
	place := e.Tank
	if e.Pump != "" {
		place = strings.TrimPrefix(place+", "+e.Pump, ", ")
	}
	if place == "" {
		return "station: "
	}
	return place + ": "
}

// changeText is what a change did, in words.
func (e Entry) changeText() string {
	return cmp.Or(e.steeringText(), e.tendingText(), e.figuresText(), e.Change.String())
}

// steeringText tells what changes whether and to what is dosed; empty of others.
func (e Entry) steeringText() string {
	switch e.Change {
	case ChangeStart:
		clock := "clock not synchronised"
		if e.Trusted {
			clock = "clock synchronised"
		}
		return fmt.Sprintf("started, epoch %.0f, configuration %s, %s", e.Value, e.Text, clock)
	case ChangeMode:
		return "mode " + e.Text
	case ChangeSetpoint:
		return fmt.Sprintf("setpoint %s %s → %s%s", e.Quantity, figure(e.Old), figure(e.Value), until(e.Until))
	case ChangeDisarmed:
		return "no longer armed" + clause(e.Text)
	case ChangeTrip:
		return "stopped: " + e.Text
	case ChangeClear:
		return strings.TrimSpace("stop cleared " + e.Text)
	case ChangeUnconfirmed:
		return "solution unconfirmed" + clause(e.Text)
	case ChangeConfirmed:
		return "solution confirmed" + clause(e.Text)
	case ChangePause:
		if e.Text == "" {
			return "pause ended"
		}
		return "paused: " + e.Text + until(e.Until)
	case ChangeFill:
		if e.Until.IsZero() {
			return "fill " + e.Text
		}
		return fmt.Sprintf("fill of %.0f L approved%s: %s", e.Value, until(e.Until), e.Text)
	case ChangeSettings:
		return "configuration " + e.Text + " took effect"
	case ChangeEpoch:
		return fmt.Sprintf("epoch raised from %.0f to %.0f", e.Old, e.Value)
	case ChangeRestored:
		return fmt.Sprintf("a copy that ended at %s was put back; the next epoch is above %.0f", e.Until.Format(time.RFC3339), e.Value)
	}
	return ""
}

// tendingText tells what people did at pumps, containers and probes; empty of others.
func (e Entry) tendingText() string {
	switch e.Change {
	case ChangeHandDose:
		return "added by hand: " + e.Volume.String() + clause(e.Text)
	case ChangeHandVoid:
		return "entry by hand voided: " + e.Volume.String() + clause(e.Text)
	case ChangeServiced:
		return "serviced" + clause(e.Text)
	case ChangeRefill:
		text := "refilled, holds " + e.Volume.String()
		if e.Text != "" {
			text += ", batch " + e.Text
		}
		return text
	case ChangePumpRate:
		return fmt.Sprintf("gives %.3g mL/min, the file says %.3g", 60*e.Value, 60*e.Old)
	case ChangeTube:
		return fmt.Sprintf("has a new tube, the old one ran %.3g h", e.Value)
	case ChangeMeter:
		beside := ", the probe nothing valid"
		if e.Old != 0 {
			beside = fmt.Sprintf(", the probe %.2f", e.Old)
		}
		return fmt.Sprintf("hand meter read %s %.2f", e.Quantity, e.Value) + beside
	case ChangeCalibration:
		return "calibrated " + e.Text
	case ChangeHolidayEnd:
		return "holiday ended: " + e.Text
	}
	return ""
}

// figuresText tells what was learned and counted; empty of others.
func (e Entry) figuresText() string {
	switch e.Change {
	case ChangeLearned:
		of := "buffer"
		if e.Quantity == dosing.QuantityEC {
			of = "EC"
		}
		return fmt.Sprintf("learned ln(%s scale) %s, spread %s", of, figure(e.Value), figure(e.Spread))
	case ChangeDrift:
		return fmt.Sprintf("learned drift of %s %s an hour, spread %s", e.Quantity, figure(e.Value), figure(e.Spread))
	case ChangeTitration:
		if e.Text == "" {
			return "titration began"
		}
		return "titration " + e.Text
	case ChangeLevel:
		return fmt.Sprintf("holds %s L at rest", figure(e.Value))
	case ChangeUnseen:
		return fmt.Sprintf("not yet seen by the probes: acid %s and base %s meq/L, stock %s mS/cm", figure(e.Value), figure(e.Old), figure(e.Spread))
	case ChangeOwed:
		return "still owed of a begun blend: " + e.Volume.String()
	case ChangeAnalysis:
		text := "analysis " + e.Text
		if e.Value > 0 {
			text += ", sample taken " + time.Duration(e.Value*float64(time.Second)).Round(time.Minute).String() + " before"
		}
		return text
	case ChangeIons:
		return "account of the ions"
	case ChangeClock:
		return fmt.Sprintf("wall clock stepped by %s s", figure(e.Value))
	case ChangeSpent:
		return "counted as spent: " + e.Volume.String()
	}
	return ""
}

func (e Entry) author() string {
	text := ""
	if e.By != "" {
		text += " by " + e.By
	}
	if e.From != "" {
		text += " from " + e.From
	}
	return text + clause(e.Note)
}

func clause(text string) string {
	if text == "" {
		return ""
	}
	return " (" + text + ")"
}

func until(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return " until " + t.Format(time.RFC3339)
}

// figure prints a number as a person would write it.
func figure(v float64) string { return strconv.FormatFloat(v, 'g', 5, 64) }
