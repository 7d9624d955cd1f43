// Package sim is a simulated farm: tanks with their water, plants and air, pumps,
// nodes that keep the whole contract, and probes. It speaks the payloads of a real
// farm and knows the truth that a real one hides. It is seeded, runs in virtual
// time only, on one thread: the same seed and the same messages give the same farm
// to the last bit. All figures are of an invented farm.
//
// What was decided here, why, and what was rejected:
//
// # Each water breathes where it stands
//
// CO2 leaves the tank's own water and that of each zone at rates of their own, from the parcel that holds it; water
// that swaps in minutes then behaves as one at the mean weighted by litres, a pond that swaps in hours does not, and a
// bench breathes for as long as water stands on it, all without a word about it in the code. Of a zone's carbonate as
// much counts as CO2 as of the bulk's. Rejected: one mean rate laid on the bulk (a slow pond's CO2 would come out of
// the tank); a speciation for each zone (a sixth of a night's time for each). The circulating water's mean serves only
// the law that knows everything.
//
// A night draws each rate evenly in the logarithm from half to twice what is stated, since the level, fans and air
// stones change it as much. Each zone draws from a stream of its own, so that a night without zones is the same as before.
package sim
