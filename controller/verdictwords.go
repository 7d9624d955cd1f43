package controller

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"leat/dosing"
	"leat/safety/alarm"
)

// together is all tanks in one sentence: who calls, or who is not well, or that there is
// nothing to do.
func (v *View) together() Verdict {
	var well, others []string
	var first *TankView
	calls, tomorrow := 0, 0
	for _, want := range []Standing{StandingNow, StandingTonight, StandingUnknown, StandingMoving, StandingResting, StandingTomorrow, StandingWell} {
		for i := range v.Tanks {
			t := &v.Tanks[i]
			if t.Verdict.Standing != want {
				continue
			}
			if want == StandingWell {
				well = append(well, t.Name)
				continue
			}
			if first == nil {
				first = t
			}
			if want.Calls() {
				calls++
			}
			if want == StandingTomorrow {
				tomorrow++
			}
			others = append(others, t.Name)
		}
	}
	if first == nil {
		if len(well) == 0 {
			return Verdict{Text: "There is no tank."}
		}
		return Verdict{Standing: StandingWell, Text: countedTanks(well, len(v.Tanks)) + " well. Nothing for you to do."}
	}
	d := first.Verdict
	switch {
	case calls > 1:
		d.Text = fmt.Sprintf("%s need you %s. First %s: %s.", tankNames(others[:calls], len(v.Tanks)), strings.TrimPrefix(d.Standing.String(), "needs you "), first.Name, d.brief)
	case calls == 1:
		d.Text = fmt.Sprintf("%s %s: %s.%s", first.Name, d.Standing, d.brief, d.rest(len(well), len(others)-1, tomorrow))
	case d.brief != "":
		d.Text = first.Name + ", for tomorrow: " + d.brief + "." + d.rest(len(well), len(others)-1, tomorrow)
	case d.Standing == StandingMoving && first.Fit:
		d.Text = first.Name + " is settling by itself: " + lowerFirst(d.Text) + d.rest(len(well), len(others)-1, tomorrow)
	default:
		d.Text = first.Name + ": " + lowerFirst(d.Text) + d.rest(len(well), len(others)-1, tomorrow)
	}
	return d
}

// rest says how the tanks fare that a sentence has not named, of which so many others are not
// well or, the last of them, only have something for tomorrow.
func (d *Verdict) rest(well, others, tomorrow int) string {
	if d.Standing == StandingTomorrow {
		tomorrow-- // it is named
	}
	switch unwell := others - tomorrow; {
	case unwell == 1:
		return " One more tank is not well."
	case unwell > 1:
		return fmt.Sprintf(" %d more tanks are not well.", unwell)
	case tomorrow == 1:
		return " One more tank has something for tomorrow."
	case tomorrow > 1:
		return fmt.Sprintf(" %d more tanks have something for tomorrow.", tomorrow)
	case well == 1:
		return " The other tank is well."
	case well > 1:
		return fmt.Sprintf(" The other %d tanks are well.", well)
	}
	return ""
}

// countedTanks is the subject of a sentence with its verb.
func countedTanks(names []string, all int) string {
	if len(names) == 1 {
		return names[0] + " is"
	}
	return tankNames(names, all) + " are"
}

func tankNames(names []string, all int) string {
	switch n := len(names); {
	case n == 2 && all == 2:
		return "Both tanks"
	case n == all:
		return fmt.Sprintf("All %d tanks", n)
	case n == 2:
		return names[0] + " and " + names[1]
	case n == 1:
		return names[0]
	default:
		return fmt.Sprintf("%d tanks", n)
	}
}

// headline is the beginning of a text of the interlock table, up to where it explains,
// as a part of a sentence.
func headline(text string) string {
	for _, end := range []string{": ", "; ", ". "} {
		if at := strings.Index(text, end); at > 0 {
			text = text[:at]
		}
	}
	return lowerFirst(strings.TrimSuffix(text, "."))
}

// firstSentence is where an advice begins.
func firstSentence(text string) string {
	if at := strings.Index(text, ". "); at > 0 {
		return text[:at+1]
	}
	return text
}

// lowerFirst leaves pH, EC and the like as they are.
func lowerFirst(text string) string { return firstLetter(text, unicode.ToLower) }

func upperFirst(text string) string {
	if strings.HasPrefix(text, "pH") {
		return text
	}
	return firstLetter(text, unicode.ToUpper)
}

func firstLetter(text string, change func(rune) rune) string {
	r, size := utf8.DecodeRuneInString(text)
	if second, _ := utf8.DecodeRuneInString(text[size:]); size == 0 || unicode.IsUpper(second) {
		return text
	}
	return string(change(r)) + text[size:]
}

// CropWords says how long the crop of a tank is safe at the drift last seen.
func (v *View) CropWords(t *TankView) string {
	switch {
	case !t.Fit:
		return "Not fit for plants now: " + t.FitCause + "."
	case t.LeavesHarm == 0:
		return t.beyond(dosing.HarmBand, "pH or EC") + " is outside its harm band now."
	case t.LeavesHarm == alarm.Unforeseen:
		return "How long the crop is safe is not foreseen: nothing was read yet."
	case t.LeavesHarm < 0:
		return "The crop is safe: at the drift last seen neither pH nor EC leaves its harm band within a week."
	case t.LeavesHarm >= aDayAhead:
		return fmt.Sprintf("The crop is safe for %.0f h: only then pH or EC leaves its harm band, at the drift last seen.", t.LeavesHarm.Hours())
	}
	return "The crop is safe until about " + v.clock(t.LeavesHarm) + ": then pH or EC leaves its harm band, at the drift last seen."
}
