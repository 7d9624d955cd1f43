// Package safety answers one question: may we? It judges readings, evaluates the
// one table of interlocks, and lets a plan become a clearance only through the
// gate, which trusts no controller and computes everything again from the raw
// state. It touches nothing: no clock, no network, no disk.
//
// What was decided here, why, and what was rejected:
//
// # The watch is its parts, and the table
//
// What is told of one thing (readings, heartbeats, doses, accounts, caps, people and links) is taken by one part over
// the state that all share; the watch itself is left with the rounds of the table, which read all of it. The parts
// are embedded, so that whoever tells the watch something need not know which takes it. Rejected: a part with a
// state of its own for each, since a check compares a dose with a reading, a switch and a person's word at once and
// would have to ask five of them.
//
// # A row that does not stand keeps its judgement; the gate takes nobody's word for it
//
// Most rows read, in most seconds, what cannot have changed: a probe that stands well and sent nothing, a person
// who said nothing. `safety/round.go` lists for such rows what they read; a row without an entry and one that
// stands are judged every second, everything once a minute. Whatever the watch is told beside readings and
// heartbeats makes the next round a whole one, so there is no list of invalidations to forget; before a dose the
// gate judges every row in any case. Two tests hold it to the table judged whole each second: random hours of what
// can happen to a station, and a stretch of a night with each fault. Rejected: a time at which each check wants to
// be asked again, since each would have to prove its own.
//
// # One sample is no event
//
// Believed alone, one level of 700 L among 1382 latches the tank, and one wild pH after a silence leaves its probe
// invalid until a person comes. So a sample that nothing else bears out holds at once and latches no sooner than
// three readings over half a minute say the same (`lastsCount`, `lastsFor`). A pH or EC is compared with the newest
// believed reading and with the median of three; a level that leapt by 15 % of the volume is not known until it has
// stayed; a contact of leak, stop or circulation holds for half a minute after its last signal, so that one that
// bounces is one trouble. The exception is the stop: two signals within half a minute latch, since a person who
// presses and lets go has stopped it, and a spark on the wire is one. Property test: whatever one sample of whatever
// input reads in whatever state of a healthy farm, nothing latches and every pump is free a quarter of an hour later.
// `leat rehearse -faults wild-sample -seed 3000 -nights 100`: 51 violations of invariant 41 and pH in band .853
// without it, none and .999 with it. Rejected: to discard the sample unseen (it might be the first of many), and the
// same patience for the stop (a button that is let go after five seconds would have stopped nothing).
//
// # An outlet is judged by the orders of its own tank
//
// Judged by every order of the row, an outlet with both end switches wired counts as unproved whenever the other tank
// is dosed: `leat rehearse -config` over four fault-free nights gives 1119 holds and 49 alarms, and none when it is
// judged by its own. A valve is judged once an order of its tank has run for ten seconds, and when such an order is
// refused or lost while the valve was never seen open; it holds until it reads open, at most a mixing time, after
// which the next order tells. Rejected: to judge it at rest (a valve may rest open or shut), and to latch (the node
// itself refuses a shut valve).
//
// # What runs away without a dose is seen from what doses and plants could have done at most
//
// `safety/unexplained.go` carries the lowest and highest acid need and the highest EC that anything explains (doses
// at the gate's weakest buffer, acid 0.25 and base 0.5 meq/L/h, fresh alkalinity, evaporation) and draws them after
// the readings by 0.5 pH down, 2 up, 0.3 mS/cm; whatever lies beyond stops every tank of the row, since what is cut
// is the supply of all its pumps. With 0.3 pH in place of 0.5 three fault-free nights of 600 were stopped, with 0.5
// none. `leat rehearse -faults pump-stuck-on -seed 3000 -nights 20`: 18 named after 6.6 min (median; without this,
// none), the other two stopped as water that nobody knows, at pH 4. It is silent while leat observes, floods, is
// serviced, or a person has just poured something in and entered it: other hands then dose. A siphon that the base
// pump answers shows only when the base stops.
//
// # Half of what nobody explains must be movement
//
// What is on its way counts at the weakest buffer, and that is believed weaker at once when a dose seems strong or
// trust is lost. By that alone a pH that stands still lies beyond its bound: `leat rehearse -set day -seed 31059
// -nights 1` stopped every tank of the row without a fault. So pH must truly have gone half of the allowance, counted
// at the greatest scale since. Rejected: to count what was given by the new scale at both ends (acid undiluted then
// explains its own fall: 4 min later); an allowance of 0.15 pH and a share of what was given lately (a welded relay
// cut 2 min sooner, 1.71 → 1.42 pH by doses, but whoever pours 0.4 pH in without a word stops the row). What runs on
// goes through dead time and lag before it shows: that is for the node's current, the container's size.
//
// # An electrode that steps is dead, and water that leapt is met by first doses
//
// `steps.go`: two steps of 0.1 pH from one reading to the next, stillness on both sides, no pump
// running and no water coming in, within 90 min: nothing is dosed by that probe for an hour after the last.
// Water answers with its lag, a slope over many readings. `leat rehearse -faults each -seed 60000
// -nights 210`, night 54 (a dead electrode that wanders): 3.99 → 0.13 pH by doses. `startled.go`:
// a pH that leapt by more than 0.3 and stayed makes the next doses first ones (night 150, the phosphate run
// down: 0.77 → 0.16). A value at the edge of its range is good again only well inside it
// (`-set ammonium -seed 10000 -night 28`: 74 trips → 2).
//
// # A probe in a ground loop is left out while a pump runs, not held
//
// The list of faults holds the tank; but the probe is right while the pumps stand, and a hold until somebody comes
// let pH run away (in band .578 of 20 nights, where believing all had .954). `leat rehearse -faults ground-loop
// -seed 3000 -nights 20`: .999 in band, overshoot .47 → .10, and an alarm of *tomorrow*. What moves within the dead
// time of a dose is no dose: mean 0.12 pH over six readings of three runs; in 240 fault-free nights it was .05 at
// most.
//
// # The gate trusts what it saw answered, not what arrived
//
// Three pools that have arrived raise the floor to exp(m − 2s), as designed, only after one at least has been seen
// to answer by the gate's own fit, which may be before it has settled; silence takes its time as before. Arrival
// alone taught a strong buffer from a stuck probe. Until then the buffer is the least between reading and setpoint;
// afterwards the least as far as the 0.30 pH that may be in transit lead.
//
// # Doses that bring the setpoint no nearer stop
//
// `safety/progress.go`: what arrives while pH stands beyond its start band for half an hour or more, in excess of
// the strongest credible buffer (three times the commissioned and 2 mmol/L of carbonate), of plants, top-up and,
// for acid, of the 1.3 meq/L that such carbonate takes up as its CO2 leaves, is `no-response` of acid and base;
// 0.30 mS/cm of stock likewise. Rejected: to count what has arrived unanswered as still in transit. With an
// allowance for plants and CO2 of 0.2 meq/L/h it cost healthy nights (IAE 44.5 → 48.6, settling p95 43 min); with
// 0.5 it cost them nothing and saved nothing, and it starved the tests that find the fault.
//
// # A hand meter is a witness beside the probe, never instead of it
//
// `meter.go`: where a person's meter and a valid probe read the same (0.10 pH; 0.06 mS/cm or a twentieth), what has arrived
// leaves the account, once in four hours and twice in a day; the next doses are first ones, and nothing is learned of the
// buffer. Where they are 0.30 apart, nothing is dosed until a person resumes. Rejected: to release by the meter alone (a word
// doses nothing), and by a program's entry, which may be the probe's own figure sent back.
//
// # Reagent is released by what the probe has shown
//
// `account.go`, `evidence.go`, `firstdose.go`: what was given and no reading has shown is at most 0.30 pH at the
// weakest credible buffer and 0.20 mS/cm; after three answers a quarter more of acid and base. The weakest credible
// buffer is two thirds of the commissioned before anything was answered, .86 of it where it was measured; then exp(m
// − s) as of the last answer, at most doubled with each, and never more than what the gate's own answered doses show:
// the loop's scale is slow to follow a buffer that falls as carbonate leaves (outside water, held: 1.08 pH by doses
// without this, .52 with it). Acid and base share it.
//
// Out of the account comes what a mean of readings moved the dose's way by, and at most as much again where a drift
// against the dose, measured just before, was stopped as well (water without phosphate, where plants lift pH as fast
// as a dose lowers it: depleted .909/.502 → .918/.555 in 60 nights); all that has arrived once that movement has come
// to rest, once the response test saw a pool answered while the readings moved at all, or once the reading, its doses
// arrived and those of its opposite three mixing times ago, went the other way by itself: 0.03 pH within half an
// hour, 0.06 within two. Nothing else does: no time, restart, reload, service or clearing. Top-up's known alkalinity
// meets acid, between two words of the probe no more than the limit once more. The record is told what is left at
// most once in a mixing time, and a replay adds every dose since, so it may find more and never less. A full account
// rests until half of it was seen, since doses that trickle in leave the water no rest in which evidence shows. After
// half an hour or two mixing times, near the setpoint two hours, a test of 0.05 pH, and another; then nothing more,
// and `unconfirmed-long` asks a person to look. It latches nothing: as `no-response` it stopped three healthy nights
// of 180 (`soft`, `farms`, `ammonium`), whose water buffered five times what it was told while plants drank against
// the doses; the fit of so small doses is unsure by more than their effect.
//
// `turns.go`: from the second change between acid and base within two hours on, a third may be unseen. Half-blocked
// circulation answers later than told, each dose is followed by a larger one of its opposite, and pH swings wider:
// outside water, half, seed 20000 ×20: 4 nights above .60 pH by doses without it and the rule on the opposite, none
// with both (worst 1.15 → .15), at no cost (`standard` .996/.978 both); with the detectors that came beside it one
// night is above again (.75). Rejected: a wait that doubles with each change (1.52 for .15, in band .995/.968), and
// less on its way near the setpoint (undiluted acid no better, in band .991/.945).
//
// The first dose after arming, service and a pause of two hours is such a small one, near the setpoint the first two
// (swapped lines 1.08 → .83 pH by doses; phosphate run down: 23 stops in 60 nights → 2). Within 0.2 pH of the setpoint one
// dose does at most half of its distance, 0.05 pH at least.
//
// Rejected: a pool answered in flat readings as evidence (it fits a loop that holds pH against a drift and a probe in
// held water alike: pH 0.7 and EC 0.63 mS/cm by doses); half as much again after three answers (held 1.08 for .52;
// ponds in band .987 for .982); half only for a reading that moves by itself; a limit of 0.15 pH near the setpoint (in
// band .949 for .991); a hold while the reading goes the wrong way (bought nothing); three first doses near the setpoint
// (nothing for swapped lines, in band .991 for .993). Acid refilled undiluted is hardly bounded in hard water: what meets
// the next top-up is six times that.
//
// # A person's word withholds and gives nothing back of what is on its way
//
// An entry by hand counts in the hour, the day and in transit, but only against doses: it is no ground for its
// opposite, enlarges no room and raises no cap as use of the pump does. Where the opposite is on its way, by an entry
// or by a report, acid waits until the reading itself stands above the setpoint and base until it stands below; the
// wait is shown as the wrong direction. The loop in turn plans no more than the reading shows or would be needed with
// nothing on its way. A voided entry gives back hour and day, since those count what pumps gave, once the
// counter-entry is durable; what it has on its way goes by the mixing law, since nobody knows by a word what is in the
// water; the account of the ions keeps it until the next analysis. Rejected: to forgive it in transit (a true entry
// voided by mistake would let a second dose follow the first), and to ignore entries beyond a size (a true one would
// be missed).
package safety
