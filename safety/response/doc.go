// Package response answers one question of one tank: did the doses do what they should? It
// keeps the readings and the doses of the last hours, fits one to the other, and says which
// reagent is silent, goes the wrong way or is too strong; what follows is for safety to say.
//
// What was decided here, why, and what was rejected:
//
// # Doses are judged by the contrast around them, and never against a scale that the loop has learned too low
//
// The plain rule compares pooled doses with the learned scale: below 0.3 at z below 3 is silence. On the sample farm
// that accused healthy pumps, twice a night at worst: while the loop holds pH, doses and drift cancel, top-up and
// its acid come together, and during a filling the learned buffer capacity was seen at 0.45 ± 0.1 of the
// commissioned where the truth was 1.0. So: (1) the fit runs in acid needed, where doses add up, with a drift that
// wanders and a level made unsure by all that arrives; what it cannot tell apart has a large sd and stays
// undecided. (2) Nothing is expected beyond what was commissioned, the spread never counts as less than 0.35, and
// after three answers a pump is held to what it usually does. (3) Silence is a ratio below 0.15 (0.3 once three
// pools have answered) whose upper end, three sd up, stays below what the weakest healthy pump would show; at z
// above 3 it takes a known pump and two pools, so a clogged one that still gives a tenth is found. (4) An undecided
// pool lets go of its older half, which may be from before the pump failed. (5) Each stock has a pool of its own
// beside that of all. (6) A wrong sign is looked for before a pool has settled, since every further dose makes it
// worse; of a pump whose usual answer is known it must reach 0.6 of that, for a dead pump looks a little backward:
// pH climbs, and the loop asks for more because it climbs. `LEAT_NIGHTS=40 go test ./controller -run Broken -v`, 40
// nights of each of eight faults, both tanks by turns: seven are found every night, a pump clogged to a tenth in 38
// (in two the loop holds pH through it, and the alarm of *tomorrow* says how weakly it works). Median time, and
// acid counted until then: empty container or dead pump 12 min and 0.28 pH (most 24 min, 1.01 pH), clogged 14 min
// and 0.30 (3 h 23 min, 9.4), swapped 7 min and 0.19 (20 min, 1.40), a dry stock while the tank fills 21 min.
// `LEAT_NIGHTS=300 go test ./controller -run FaultFree -timeout 2h` plays the fault-free nights. A stock that runs
// dry while EC is merely held (0.02 mS/cm an hour of all stocks together) gives no pool of its own within a night:
// it is told over days, beside the others (`stock-off-balance`, the last decision here), and by its container's level
// where that is measured (`container-off-balance`).
//
// # A strong stock shows in small doses
//
// A pool worth 0.05 mS/cm is more than a tank that holds its EC orders in hours; but a stock five times too strong
// moves EC by as much with a fifth of it. So one stock's pool is looked at from 0.01 mS/cm on, for nothing but a
// ratio whose lower end, four sd down, is above 2 and an excess of 0.06 mS/cm and half of what the other stocks did
// meanwhile (without that one fault-free night of five on the sample farm was stopped, with it none of 60:
// `LEAT_NIGHTS=60 go test ./controller -run FaultFree`); during a filling EC beyond 1.6 times what was dosed is the
// same finding. Nutrients stop as a whole: stocks dosed in turn are not told apart. Not built: over-delivery of
// acid by three tenths (the learned buffer wanders by more), a stock a few tenths off, T90 of a probe, and entries
// that test one stock after its refill.
//
// # Rest for doses that a drift may hide, and two slow witnesses
//
// From 0.10 pH of an undecided pool of acid or base on, a mixing time without doses follows (`answer-wait`); a reading
// that moves ends it early (else overshoot rose to .300). Rejected: a lower threshold of silence, which accuses water
// that drifts. A level gauge stuck at full is told by the water that is let in (`gauge.go`). EC that goes with
// temperature is told after twelve hours of readings (`warmth.go`): six accused one healthy day of 40.
//
// # A strong stock in a tank with slow water stands out beside the others
//
// A quick share that is told wrong by 1.5 makes all stocks look strong or weak alike. So there one stock must do 1.5
// times what the others do (z 3), or 1.5 ÷ the quick share of what it should, beyond the excess that neighbours may
// share; without that last bound one of five nights of the sample farm was stopped during its filling. In the expected
// course the slow share of each dose fades again: a clogged injection on a farm with 36 % slow water is found after 35
// min at most in place of 112 (6 nights), and named in 18 of 20. A tank of which nobody told its ponds is still latched `too-strong` (5
// of 20 nights of `leat rehearse -set untold -seed 10000 -nights 20`): nutrients stop, pH goes on, and the alarm asks
// for the zones. Rejected: to excuse what all stocks do alike, since one strong stock among few looks the same.
//
// # The filter that judges doses is asked three more questions
//
// When did the water answer (`slowanswers.go`)? The same readings are asked how likely they are if dead time and lag
// are 1.7 or 3 times the commissioned; a pool counts for at most 8 in ln of likelihood, 20 together are
// `mixing-slow`, or `ph-probe-slow` where EC has answered in time since. In healthy nights single pools reach 3. What
// did the top-up bring (`sourcewater.go`)? Its alkalinity and salt are fitted in place of the doses' ratio. Did acid
// or base do three times what it usually does (`strongreagent.go`; healthy nights reach 2.4)? Then its pump stops;
// four times the commissioned, as the usual answer of hours, is a lost buffer (`alarm/thinbuffer.go`). Rejected: what
// acid did earlier in the night as the measure of a lost buffer (three of 25 healthy nights grow fourfold as
// carbonate leaves); the lag as a further state of the filter (it is not linear in it); a CUSUM over single readings
// (drift and doses of a tank under control cancel in them); what acid does against the commissioned buffer, which may
// be told wrong by three. Three tenths too much from one pump stays within that.
//
// # A stock is told by how far it lies from the others
//
// While EC is held a stock gives 0.01 mS/cm at a time, and an empty container hides behind its neighbours. So
// `balance.go` follows EC for days: a level, a drift, top-up's dilution and a ratio for each stock, all linear, one
// step for each bin of readings. Probe, volume and slow water act on all ratios alike and cancel in the difference to
// the mean of the others; 0.25 beyond 2.5 deviations names the stock, tomorrow, and neither its strength nor its
// pump, which look alike in this. A tank with one stock has nothing to compare with. Water in which doses show late
// names none: neighbours are told apart by when they show. Rejected: the sum of what all stocks gave against the EC
// gained, since uptake is known no better than a missing third; a ratio that is compared with 1 (a wrong volume or
// cell accuses all); a slower walk of the ratios (an empty container then takes nights).
package response
