// Package campaign rehearses: it draws nights, plays them with the shipped core,
// gate, ledger code and parsers against the simulated farm, scores them by the
// definitions below, plays the same nights under three other laws for
// comparison, and checks the invariants on what truly happened.
//
// # How a night is drawn
//
// `leat rehearse` draws each night from one random stream per source, lays a station for it by the sizing that
// `leat check` refuses by (refused nights are drawn again and counted), lets the daemon start and wait on water
// that still rests, arms it at t = 0 and scores the true bulk every ten seconds. The plant's totals, carbonate, gas
// exchange and drift are never passed to the core; it is told one nominal composition, the top-up's alkalinity and
// a buffer capacity that is wrong by up to three. Laws are tuned on seeds below 10,000 and judged above. Where the
// definitions leave room: pumps and smallest doses are sized at the true buffer capacity; a stock's smallest dose
// is worth 0.001 to 0.01 mS/cm; probes have the simulated farm's own lag (pH 8 s, EC 4 s); wait-and-look waits
// one mixing time after its dose has been delivered; `day` is sixteen hours of light, `slow` is 24 h long.
//
// A zone's gas exchange is drawn from half to twice the usual of its kind; a night of the user's own farm from half to twice
// what its configuration states. The set standard has no zones, so its nights are those of before. Of the set ponds the daemon is told
// quick share and exchange time within a factor of 1.5, and the pumps are sized by the share as told; of the same ponds in the
// set untold it is told nothing. A plant program is handed the true ones (pond_share, pond_exchange_h).
//
// # Faults that take days, and sensors
//
// A night of one fault goes on for as long as that kind is given to show (three days where doses, top-ups or the warmth of a day
// show it), has the inputs that show it (oxygen, film, bench, filter, lamp, outlet, containers' levels) and nodes that sense
// their pumps' current where that does. What is worn, blocked, broken or wrongly filled stays so: nobody repairs it
// at night. Recall is to say whether leat finds a fault, not whether a set has the sensor or asked the pump for a dose in
// ten quiet hours. Rejected: to leave such nights out of the figure. Swarm nights stay as short as their set says.
//
// # People
//
// `leat rehearse -people`, with any set, faults or configuration: two to four times a night a person pours a liquid (worth
// 0.02 to 0.10 pH or 0.02 to 0.08 mS/cm as commissioned) and writes ten times or a tenth of it down, another liquid, another
// tank (with one tank: the same twice), or asks for a setpoint ten times too high or a digit off; two to twenty minutes later
// it is voided and written down right. The water has what was truly poured. The invariants are those of every night; the
// ledger is replayed after each word too. Two to four times a night, too, people ask within seconds for less of a tank and for
// more, while the disk keeps its word back: what was asked for later and lets less happen must win. And two to four times they do
// what has to be done: another setpoint, a pause, a container filled and entered, a probe calibrated in its buffers, a tank
// cleaned and filled anew; half of that with a slip (a pause forgotten, litres for millilitres, another pump, bottles swapped,
// armed before the water is confirmed). A switch of its own rather than a fault among others: it goes with all of them, a
// night without faults stays one, and the nights of swarm stay what they were.
//
// # What is left of a night that failed
//
// It is played again with one tank, fewer stocks, without each fault and without each act of people; what still fails is printed
// as a small file, with a description of its farm, that `leat rehearse -farm` plays again. The file names what is kept of a drawn
// night. Rejected: a configuration for leat run, whose water, plants and noise would be others, so that it need not fail; and the
// whole scene in a file, which nobody reads.
//
// # How a night is scored
//
// True values of the bulk water every ten seconds, against the working setpoint on its ramp. In band is the share of time
// from hour 1 on within ±0.1 pH or ±0.05 mS/cm; worst 5 % is the 5th percentile over nights; IAE is the integral of the
// absolute error from hour 1 on, summed over nights; settling is the time until the value stays in band for 30 min, of nights
// that start outside; overshoot is how far the value goes beyond the setpoint, away from where it started, after first reaching
// it; acid-base-changeover is the lesser of acid and base given, meq. The start band is ±0.1 pH and ±0.05 mS/cm, the warn band ±0.2
// and ±0.1, the harm band ±0.5 and ±0.3.
//
// What was decided here, why, and what was rejected:
//
// # A month
//
// The crop takes near to the recipe's proportions, not what stocks happen to give: as much N, P and K, which hardly depends
// on the water; Ca, Mg and SO4 by what the water that it drinks holds, a fifth of Na and Cl. Evaporation is replaced by
// source water, and a person carries out each dump that the account asks for, half of the tank a morning at most, and sets the
// EC that it says makes up for what plants leave. An
// ion is judged against 15 % where fresh water and the row reach its target within 5 %; another is water's own
// affair, and the report says so. An analysis is sent when the account wants one, at the latest after a
// fortnight. On five waters a week at two and four times the pace holds those that are judged within 15 % (`go test . -run
// FiveWaters`). Rejected: proportions of the stocks (where water brings calcium the crop took
// none, and it piled up without end); a dump a week at most (sodium-rich water wants more); an analysis by the
// calendar (before the first ones an appetite that is wrong by a fifth goes past 15 % within a fortnight, later a fortnight is
// more than is needed). The rehearsal's invariant of whole blends is not judged for a tank with a
// recipe, whose shares change by design; `controller`'s own follows each change.
package campaign
