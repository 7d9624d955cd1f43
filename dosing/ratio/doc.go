// Package ratio keeps account of the single ions of a tank, which EC sees only as
// a sum: what the tank holds and how sure that is, what acid, base and top-up water
// brought, and which shares of the stocks bring it back to its recipe. An analysis
// corrects the account and what it takes for the plants' appetite.
//
// It touches nothing and knows no clock. Amounts are mmol in a litre of the tank at
// its working volume; EC is mS/cm at 25 °C.
//
// What was decided here, why, and what was rejected:
//
// # The ratio is kept by an account, EC by the loop
//
// `dosing/ratio` counts each ion: doses by content, top-up by the source's analysis, uptake by an appetite for each
// ion, scaled each minute so that the ions make the EC that is measured, and shifted so that their charges balance:
// acid given without cations to match was nitrate taken. Shares of the stocks follow from what the tank lacks and
// what plants will take over half a tank of uptake, less the rate at which acid, base and water bring it; the EC
// that the loop will give until then is their sum, so the two controllers do not fight. An analysis is a Kalman update of
// each ion's amount and appetite together (two states an ion, no covariance between ions), after which the EC that
// is left over is laid to probe and chemistry. Ammonium is fed forward only: it is taken first and nitrified.
// Rejected: solving at each dose (shares would follow noise), and learning appetites without an analysis (EC and
// charge are two equations for seven ions). It runs in the core's tick, once a minute 20 µs, new shares 60 µs (`go
// test -bench . ./dosing/ratio`).
//
// # The account is written to the ledger hourly, after each analysis and at an orderly end, not rebuilt from its doses
//
// Rebuilding needs every dose, top-up and EC since the last analysis; the record keeps doses alone. One row of 1.3
// kB an hour; at a restart doses settled since are added, EC finds the uptake of the gap, and after a crash up to
// an hour of top-up is lost (2 % of the water). Rows six hours apart for three weeks come back too, so that a
// sample is compared with what was thought on its day.
//
// # What water and acid bring is guessed before it is measured
//
// Until plants have taken a sixth of the tank's EC, what water, and the acid for its alkalinity, bring is that of a usual crop
// (1.25 mS/cm with each litre). Rejected: none until measured; on water of 61 mg/L calcium it gave 5 % too much Ca, Mg and
// S in two days. The half tank over which shares make good what is missing begins with the way to the EC setpoint: after a dump
// stocks give first what the dump took. Rejected: a half tank of uptake on top, by which potassium never came back between dumps.
//
// # Shares are solved for the EC that the loop will give
//
// Stocks give what brings EC to its setpoint and no more; sodium, chloride, calcium that gathers and the nitrate that comes
// with potassium all take of it. The nutrients that stocks bring are aimed at the one strength which that EC pays for, and the
// fit keeps within it. The acid for a filling's alkalinity is reckoned with before it is given. Rejected: wants compared with the
// mean of all nutrients (what gathers raises the mean, and phosphate, which takes hardly any EC, fell 18 % in nine days
// beside calcium 11 % above); a miss that is shared by EC (nitrate and potassium would bear all of it).
//
// # What plants leave is made up for by EC, told to a person
//
// The account says how much EC what plants leave takes beyond a fresh filling, and the setpoint that keeps the nutrients at the
// recipe's strength; a person sets it. What such a setpoint allows asks for no more nutrients. Counted from the setpoint of the
// file, so that following the advice never leads to the next; none where a person keeps the tank weaker. Rejected: a setpoint that
// moves by itself (a probe that drifts would lead it, and it is a person's).
//
// # After a dump EC says how large it was
//
// A flood may stand on a bench while the tank is emptied: of the half that was told 41 % were replaced, and calcium was
// thought 7 %, nitrate 12 % too high until the next analysis. The share is corrected by the EC that is found, and not before pH
// is read: charge at the pH of the water before moved nitrate by a tenth.
//
// # An analysis is wanted by the account's own uncertainty
//
// Each ion's variance is carried forward at the pace at which plants take; the day on which 1.6 standard uncertainties
// (nine in ten) of a macronutrient that stocks steer reach 15 % of its target is told. Intervals grow as analyses tell the
// appetite: on soft water some 4, 5, 7 and 10 days. Rejected: the calendar (an appetite that is wrong by a fifth is past
// 15 % within a fortnight while nothing is known of it); one standard uncertainty (on soft water the worst ion was still 19 %
// off); two (six or seven analyses a month in place of five); asking for what only the water brings (no stock follows
// from the answer).
//
// # A dump's acid is not the plants'
//
// What acid meets of the alkalinity that a dump let in is no rate of uptake. Counted as one, nitrate was foreseen that never
// came: after a few dumps of hard water the stocks were aimed at two thirds of the recipe, and by the account's own word
// sulfate stood 28 % too low. For the same reason nothing is foreseen to gather beyond where a dump is due.
//
// # A refill first
//
// EC that is missing counts five times sooner than what plants take meanwhile: on hard water acid and water bring most of
// what they take, the stocks' part of it is rich in phosphate, and a refill gave that for a week at once (27 % too much).
// What gathers is given unwillingly. Rejected: the refill alone (nitrate was fetched with calcium, and that dumped twice
// as often).
//
// # A dump is due by the account
//
// Due: an ion 10 % above its target of which stocks need give none, or sodium, chloride and what else
// plants leave takes a tenth of EC beyond a fresh filling; or half of that, while a nutrient lacks a tenth and EC
// leaves its stock no room. What the row cannot reach
// with fresh water is no reason, and none is asked for while EC is on its way. Rejected: the mean of the nutrients alone (acid's
// nitrate hides potassium that lacks), and any ion that is high (stocks that give less bring it back without a dump).
//
// # Uncertainty errs on the wide side
//
// What doses and water brought may be off by 5 and 10 % all along, appetites by 30 % before the first analysis, a
// tank that nobody analysed by 25 %; that EC and charge bind the ions together narrows nothing. In `leat rehearse
// -month` all estimates lie within two standard uncertainties of the truth.
//
// # The account of a filling starts from the water that a person names
//
// EC decides the share between source water and recipe even where a water is named: the name sets how sure that is.
// Rejected: believing the word over the probe. `same` is an answer of its own, since confirming also follows pauses in which
// no water changed; rejected: starting anew each time. A share that was replaced is told, not guessed from EC, which hard
// source water hides. The row in the ledger keeps its form; carbonate is found again from the charge that is left open.
package ratio
