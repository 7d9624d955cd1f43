// Package dosing holds the words that everyone speaks: units, readings, the tank and its
// row of pumps, the plan, what was dosed and is on its way. The question is: how much?
// `loop` answers it, `chem` and `blend` know the liquids, `ratio` keeps account of single
// ions. All of it touches nothing: no clock, no network, no disk.
package dosing
