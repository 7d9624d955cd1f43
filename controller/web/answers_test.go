package web

import (
	"html"
	"regexp"
	"strings"
	"testing"
)

// answers are what core and page answered to forms that were filled in on a demo farm, rightly and
// wrongly.
const answers = `north: pH 5.8 → 5.92, along a ramp of 0.3 per hour, there in 24 min
nursery: pH 5.8 → 5.7, along a ramp of 0.3 per hour, there in 20 min; until Mon 30 Nov 15:40 UTC, in 20 h 0 min, then 5.8 as in the configuration
north: pH 58 is outside 5 to 7 and was not taken; ask for a value in these bounds, which only the configuration file can change (a lost decimal point: did you mean 5.8?)
north: pH 6.5 is outside the recommended 5.5 to 6.3; to accept it all the same, confirm within 2 minutes
north: pH 5.8 to 6.2 is a step of 0.4, more than 0.3; to accept it all the same, confirm within 2 minutes
north: the confirmation came too late or was of another change; pH 5.8 to 6.2 is a step of 0.4, more than 0.3; to accept it all the same, confirm within 2 minutes
north: EC 1.8 → 2, at once
north: 400 mL of base-north · potassium hydroxide 20 % into north: expected pH +1.88, EC +0.08 mS/cm. That is much: if it is so, confirm within 2 minutes
north: 60 mL of base-north · potassium hydroxide 20 % into north: expected pH +0.28, EC +0.01 mS/cm. It counts like a dose, holds back more of the same, and makes no pump dose. Entry H1-3 can be voided for a day
north: entry H1-1, 400 mL of base-north, is voided: it leaves the hour and the day; its effect on what is expected ends with the mixing time
nursery: pH: meter 4.90, probe 5.87, +0.97 apart. EC: meter 3.10, probe 1.19, -1.91 apart. Nothing is dosed until leat mode resume: measure once more, check the meter in a fresh standard, and calibrate whichever is wrong
north: the sample has EC 0.50 and the tank's probe reads 1.81 mS/cm; that is other water: see that the sample is this tank's, or that the probe is right
25 L is more than the container of acid-north holds, 880 mL; look at the number and its unit, litres
base-nursery · potassium hydroxide 2.5 % holds 100 mL from now on; how it works is judged anew
acid-north would give 900 mL/min, and the file says 40: look at seconds and mL; a pump of another size is a change of the file
base-nursery has a new tube, the old one ran 0 h; its first dose is a small one. Measure its rate: leat calibrate-pump
north: 7.00 at 21 °C read 6.60, where a probe that was just calibrated reads 7.02: calibrate the transmitter again, or let leat correct it with leat calibrate
nursery: ph was calibrated by its transmitter and reads slope 99.2 %, offset +0 mV; leat corrects nothing of it
north: calibrating ph: nothing is dosed until leat mode resume. Rinse the probe, put it into the first standard with the temperature probe beside it, and say which it is (4.01, 6.86, 7.00, 9.18, 10.01, or label:VALUE) and how warm
north: it reads 5.93; a minute of readings is needed: wait
north: no standard was read yet
north: label:6.1 at 21 °C read 5.88: taken. Rinse the probe and put it into a second buffer, about 3 pH apart; accepted now, only its offset changes: slope 100.0 %, offset +13 mV
north: ph: slope 100.0 %, offset +13 mV. With the probe back in the tank's water: leat mode resume
north: small doses of acid, each when the one before has settled, at most six; pH goes to 5.76 at the farthest, nothing else is dosed meanwhile, and it is over within 3.0 h
nursery: analysis accepted; the shares of the stocks follow it; it counts half, since without P Ca Mg S neither charge nor EC can be checked
acid-north gives 43 mL/min, +7.4 % beside the file's. Until the file says so its doses are off by that: write rate = "43 mL/min" under [[pump]] name = "acid-north", run leat check, set what it prints at the node, and load the file again
north: confirmed: water or nutrient solution, no disinfectant, rinsed; armed, but held now: A probe or a pump is being calibrated or serviced.
north: the calibration is given up and ph reads as before; with the probe back in the tank: leat mode resume
north: EC: meter 2.60, probe 1.60, -1.00 apart. No stock is dosed until leat mode resume; pH goes on: measure once more, check the meter in a fresh standard, and calibrate whichever is wrong
north: a fill is under way: under way, approved by ada: the water mixes; it ends within 11 h; leat mode observe ends it
north: First 70 L of source water by fill, nothing else meanwhile; 1330 L of what is in the tank remain. Then, before anything is added: EC 1.72 mS/cm and 0.04 meq/L of alkalinity from the source water. Added in all: 5.55 mL acid-north · nitric acid 38 %; 661 mL calcium · calcium nitrate 4.1 %; 1.2 L phosphate · MKP. Acid goes first, until pH is in its band; then the stocks in portions, calcium before sulfate and phosphate in each. After it: pH 5.8, EC 1.80 mS/cm. It ends at 90 % of the EC setpoint, or after 12 h; the loop goes on from there. Every dose passes the gate: its caps stand, only what was usual lately does not count. Mind: the caps of calcium let 500 mL of its 661 mL through in 12 h, the rest comes later. Mind: phosphate holds 1.1 L, less than is needed. Approve it within 10 minutes
north: approved. No water is let in; 1400 L of what is in the tank remain. Then, before anything is added: pH 6.2, EC 1.40 mS/cm. Added in all: 661 mL calcium · calcium nitrate 4.1 %. The stocks go in portions, calcium before sulfate and phosphate in each. After it: pH 5.8, EC 1.80 mS/cm; mg/L: NO3-N 170, K 275. It ends at 90 % of the EC setpoint, or after 12 h; the loop goes on from there
Last fill: done: pH 5.84 and EC 1.71 mS/cm, where 5.80 and 1.80 are wanted.
Last fill: ended and not borne out: pH 5.84 and EC 1.01 mS/cm, where 5.80 and 1.80 are wanted. Measure with a hand meter, look at containers and pumps.
Last fill: ended before it was done: nobody has confirmed the water.
Fill under way, approved by ada: stocks are given; it ends within 3 h. “Observe only” ends it.
north: holiday spring is over since 2026-02-28 18:00: confirm its end with leat act end-holiday
north: resumed; armed: it doses when a dose is needed
north: noted; what was learned of this tank starts anew
north: paused until 22:16 UTC, in 2 h 0 min
north: work on probes or pumps: no dose until it is resumed
north: observing: reads and decides aloud, doses nothing
north: accepted; armed: it doses when a dose is needed
north: stopped; only a person clears it. This is not an emergency stop: use the hard-wired one
north: cleared; observing: it doses nothing until it is armed
north: cleaning: no dose until a person confirms the water
north: the probe reads EC 1.81 and the source water's analysis makes 0.10 mS/cm: that is not fresh source water; say recipe, analysis or unknown, or see to the probe
north: marked: 7
north: arm needs the role engineer; you have operate
north: "abc" is not a number; write it as 5.9 or 5,9; nothing was changed
"0": want millilitres, more than nothing; nothing was changed
this form is from an older page: look whether it was done, and fill it in anew; nothing was changed
north: until "soon" is not understood: write a time of day such as 6 or 18:30, a time from now such as 2 h or 90 min, or a date such as 2026-01-31 06:00`

// englishWords are words that no other language's answer holds.
var englishWords = regexp.MustCompile(`(?i)\b(the|is|are|and|of|until|with|by|from|nothing|accepted|resumed|taken|read)\b`)

func TestWhatIsAnsweredStandsInEveryCatalog(t *testing.T) {
	for name, l := range languages {
		heard := *l
		heard.holes = func(text string) { t.Errorf("%s lacks: %s", name, text) }
		for _, answer := range strings.Split(answers, "\n") {
			for _, sentence := range stepsOf(labelled(answer)) { // as the page shows them
				said := heard.run(html.EscapeString(sentence), map[string]bool{"north": true, "nursery": true})
				if word := englishWords.FindString(said); word != "" {
					t.Errorf("%s keeps the English word %q: %s", name, word, said)
				}
			}
		}
	}
}
