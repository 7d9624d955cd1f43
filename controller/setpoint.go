package controller

import (
	"cmp"
	"fmt"
	"hash/fnv"
	"math"
	"time"

	"leat/dosing"
	"leat/safety"
	"leat/safety/ledger"
)

// setpoints keeps what each tank is held at: by the file, a schedule, or people.
type setpoints struct {
	*station
	wishes *wishes
	of     []followed // by tank
}

// followed is how a tank follows its schedule.
type followed struct {
	asked time.Duration        // when the schedule last asked for a setpoint
	ended map[string]time.Time // when a person confirmed the end of each holiday
	lamps lamps
}

// setpoint is one setpoint with its source, its end and its ramp.
type setpoint struct {
	limits  SetpointSettings
	present float64 // effective now
	target  float64 // where the ramp ends
	source  string  // "file", "page", "mqtt", "socket"
	by      string
	at      time.Time
	until   time.Time // wall time at which the file's value returns; zero = for good
	moved   time.Duration

	offer      string // token of a change that needs confirmation
	offered    float64
	offerEnds  time.Duration
	offerCount uint32

	home   float64 // what returns at the end of a timed change: the file's value, or the schedule's
	rows   rate    // of accepted asks in the ledger
	before earlierSetpoint
}

// earlierSetpoint is what the last change of this run replaced: undoing it is a change of its own.
type earlierSetpoint struct {
	known bool
	value float64
	until time.Time
}

// rate lets three rows a minute through.
type rate [3]time.Duration // uptimes from which on the next three may be written

func (r *rate) free(up time.Duration) bool { return up >= r[0] }
func (r *rate) take(up time.Duration)      { r[0], r[1], r[2] = r[1], r[2], up+time.Minute }

// offerHolds is how long a change may be confirmed, unless the settings say.
const offerHolds = 2 * time.Minute

func newSetpoint(limits SetpointSettings, now dosing.Instant) setpoint {
	return setpoint{limits: limits, present: limits.Value, target: limits.Value, home: limits.Value, source: "file", at: now.Wall, moved: now.Up}
}

// advance moves the effective setpoint along its ramp and ends a timed change.
func (s *setpoint) advance(now dosing.Instant) {
	passed := now.Up - s.moved
	s.moved = now.Up
	if !s.until.IsZero() && !now.Wall.Before(s.until) {
		s.target, s.source, s.by, s.at, s.until = s.home, "file", "", now.Wall, time.Time{}
		s.before = earlierSetpoint{}
	}
	step := float64(s.limits.RampPerHour * passed.Hours())
	switch gap := s.target - s.present; {
	case gap > step:
		s.present += step
	case gap < -step && s.limits.RampDownward:
		s.present -= step
	default:
		s.present = s.target
	}
}

// accept makes value the new end of the ramp.
func (s *setpoint) accept(value float64, source, by string, at, until time.Time) {
	s.target, s.source, s.by, s.at, s.until, s.offer = value, source, by, at, until, ""
}

func (s *setpoint) within(v float64) bool { return v >= s.limits.Min && v <= s.limits.Max }

// holds says whether an ask that was accepted when the file had this value still
// counts.
func (s *setpoint) holds(asked, fileValue float64) bool {
	return fileValue == s.limits.Value && s.within(asked)
}

// judge says whether value may follow the setpoint from: refused with a text, wanting
// the confirmation of a token, or neither.
func (s *setpoint) judge(now dosing.Instant, name string, from, value float64, confirm string) (refused, token, why string) {
	l := s.limits
	if math.IsNaN(value) || value < l.Min || value > l.Max {
		return fmt.Sprintf("%s %s is outside %s to %s and was not taken; ask for a value in these bounds, which only the configuration file can change%s",
			name, number(value), number(l.Min), number(l.Max), s.slip(value)), "", ""
	}
	step := math.Abs(value - from)
	switch {
	case step > l.Confirm+1e-9:
		why = fmt.Sprintf("%s %s to %s is a step of %s, more than %s", name, number(from), number(value), number(step), number(l.Confirm))
	case value < l.AdvisedMin-1e-9 || value > l.AdvisedMax+1e-9:
		why = fmt.Sprintf("%s %s is outside the recommended %s to %s", name, number(value), number(l.AdvisedMin), number(l.AdvisedMax))
	default:
		return "", "", ""
	}
	if confirm != "" {
		if confirm == s.offer && value == s.offered && now.Up <= s.offerEnds {
			return "", "", ""
		}
		why = "the confirmation came too late or was of another change; " + why
	}
	s.offerCount++
	h := fnv.New32a()
	fmt.Fprintf(h, "%s|%v|%d|%d", name, value, s.offerCount, now.Up)
	s.offer, s.offered, s.offerEnds = fmt.Sprintf("%08x", h.Sum32()), value, now.Up+cmp.Or(l.ConfirmWithin, offerHolds)
	return "", s.offer, why
}

func (t *tank) setpointOf(q dosing.Quantity) *setpoint {
	if q == dosing.QuantityEC {
		return &t.ec
	}
	return &t.ph
}

// ask judges a wish for a setpoint. The answer tells old, new and bounds
// whether or not it was accepted. One row of a quantity is on its way at a time, and few
// are written in a minute; the newest wish waits, and takes the place of the one
// that waited before it.
func (sp *setpoints) ask(now dosing.Instant, r *Request) {
	t := &sp.tanks[r.Tank]
	if r.Quantity != dosing.QuantityPH && r.Quantity != dosing.QuantityEC {
		sp.refuse(r, "only ph and ec have a setpoint")
		return
	}
	s, onWay := t.setpointOf(r.Quantity), &sp.wishes.onWay[r.Tank][wishOf(r)]
	w := wish{request: *r, at: now.Up, old: s.target, sure: r.Confirm != ""}
	if onWay.ticket != 0 {
		w.old = onWay.request.Value
	}
	var err error
	w.until, err = Until(r.Until, now.Wall)
	refused, token, why := s.judge(now, setpointName(r.Quantity), w.old, r.Value, r.Confirm)
	switch {
	case refused != "":
		sp.wishes.reply(&w, false, refused)
	case err != nil:
		sp.wishes.reply(&w, false, err.Error())
	case token != "":
		sp.wishes.reply(&w, false, why+"; to accept it all the same, confirm within 2 minutes")
		sp.out.Answers[len(sp.out.Answers)-1].Confirm = token
	case sp.ledger != safety.LedgerReady:
		sp.wishes.reply(&w, false, fmt.Sprintf("the ledger is %s, so this cannot be written down: nothing was changed; ask again when the ledger is ready", sp.ledger))
	case onWay.ticket == 0 && s.rows.free(now.Up):
		sp.wishes.next[r.Tank][nextOf(r.Quantity)] = wish{} // this one is newer
		sp.write(now, w)
	default:
		sp.wishes.reply(&w, true, "accepted; it waits for its row of the ledger, at most three are written in a minute, and a newer wish takes its place")
		next := &sp.wishes.next[r.Tank][nextOf(r.Quantity)]
		if next.request.Kind != RequestNone { // of a flood one line in the log is enough
			sp.out.Notices = sp.out.Notices[:len(sp.out.Notices)-1]
		}
		*next = w
	}
}

func nextOf(q dosing.Quantity) int {
	if q == dosing.QuantityEC {
		return 1
	}
	return 0
}

func setpointName(q dosing.Quantity) string {
	if q == dosing.QuantityEC {
		return "EC"
	}
	return "pH"
}

func (sp *setpoints) write(now dosing.Instant, w wish) {
	s := sp.tanks[w.request.Tank].setpointOf(w.request.Quantity)
	s.rows.take(now.Up)
	sp.wishes.await(now, w, ledger.Change{Kind: ledger.ChangeSetpoint, Quantity: w.request.Quantity, Old: s.present,
		Value: w.request.Value, FileValue: s.limits.Value, Until: w.until})
}

// writeNext sends the wishes to the disk whose turn has come, if they may still be
// accepted as things are now.
func (sp *setpoints) writeNext(now dosing.Instant) {
	for i := range sp.tanks {
		t := &sp.tanks[i]
		for k := range sp.wishes.next[i] {
			w := sp.wishes.next[i][k]
			r := &w.request
			s := t.setpointOf(r.Quantity)
			if r.Kind == RequestNone || sp.wishes.onWay[i][wishOf(r)].ticket != 0 || !s.rows.free(now.Up) || sp.ledger != safety.LedgerReady {
				continue
			}
			sp.wishes.next[i][k] = wish{}
			w.old = s.target
			switch {
			case !s.within(r.Value):
				sp.wishes.reply(&w, false, "the bounds of this setpoint have changed meanwhile: it does not take effect")
			case !w.sure && math.Abs(r.Value-s.target) > s.limits.Confirm+1e-9:
				sp.wishes.reply(&w, false, fmt.Sprintf("%s %s to %s has become a large step meanwhile: ask again", setpointName(r.Quantity), number(s.target), number(r.Value)))
			default:
				sp.write(now, w)
			}
		}
	}
}

// written lets an accepted setpoint take effect, unless a new configuration has
// ended it on its way.
func (sp *setpoints) written(now dosing.Instant, w *wish, row ledger.Change) bool {
	r := &w.request
	s := sp.tanks[r.Tank].setpointOf(r.Quantity)
	if !s.holds(row.Value, row.FileValue) {
		w.text = "the configuration has changed meanwhile: it does not take effect"
		return false
	}
	name := setpointName(r.Quantity)
	w.text = fmt.Sprintf("%s %s → %s%s", name, number(w.old), number(row.Value), s.rampWords(row.Value))
	if !row.Until.IsZero() {
		w.text += "; " + endWords(row.Until, now.Wall) + ", then " + number(s.home) + s.homeWords()
	}
	s.before = earlierSetpoint{known: row.From != fromSchedule, value: s.target, until: s.until}
	s.accept(row.Value, row.From, row.By, row.At.Wall, row.Until)
	s.advance(now)
	if now.Up-row.At.Up > answerWithin {
		sp.record(now, r.Tank, r.Quantity) // the ramp begins now, not when it was asked
	}
	return true
}

// record writes down a setpoint as it is now.
func (sp *setpoints) record(now dosing.Instant, id dosing.TankID, q dosing.Quantity) {
	s := sp.tanks[id].setpointOf(q)
	sp.change(ledger.Change{Kind: ledger.ChangeSetpoint, At: now, Tank: sp.tankName(id), Quantity: q, Old: s.present, Value: s.target,
		FileValue: s.limits.Value, Until: s.until, By: s.by, From: s.source})
}

// homeWords says whose the value is that returns.
func (s *setpoint) homeWords() string {
	if s.home != s.limits.Value {
		return " as scheduled"
	}
	return " as in the configuration"
}

func (s *setpoint) rampWords(value float64) string {
	gap := value - s.present
	if gap < 0 && !s.limits.RampDownward || s.limits.RampPerHour <= 0 {
		return ", at once"
	}
	minutes := max(gap, -gap) / s.limits.RampPerHour * 60
	return fmt.Sprintf(", along a ramp of %s per hour, there in %.0f min", number(s.limits.RampPerHour), minutes)
}

// slip names the value that a lost decimal point most likely stands for.
func (s *setpoint) slip(value float64) string {
	for _, guess := range []float64{value / 10, value / 100, value / 1000} {
		if guess >= s.limits.AdvisedMin && guess <= s.limits.AdvisedMax {
			return fmt.Sprintf(" (a lost decimal point: did you mean %s?)", number(guess))
		}
	}
	return ""
}

func number(v float64) string {
	return fmt.Sprintf("%g", math.Round(v*1000)/1000)
}
