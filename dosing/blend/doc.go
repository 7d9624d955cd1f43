// Package blend turns a recipe, source water and a row of stocks into millilitres
// of each: the nearest mixture by weighted least squares within the limits of the
// stocks, with acid and base counted as the nutrients they are. It says in words
// why an element cannot be met, corrects a tank from a laboratory's analysis, and
// writes out how stocks are made.
//
// It touches nothing and knows no clock. Concentrations are mmol/L unless a name
// says otherwise; dilute solutions, so that a litre is taken as a kilogram of water.
//
// What was decided here, why, and what was rejected:
//
// # Blends fit what stocks hold
//
// A stock's column subtracted the water that it displaces, so a dilute stock was cheap water and starved or flooded
// the rest. The fit uses what stocks hold; the displaced volume is known from the round before until it settles.
// Macronutrients are fitted first, then trace stocks to their own targets. Rejected: one fit with heavier weights
// for traces, which starves a trace stock or a macronutrient stock that carries traces.
//
// # A row that is too weak is refused; water's own surplus is told
//
// All stocks together may take ten hundredths of the volume, and a micronutrient whose stock holds nothing else
// lies within 0.8 to 1.2 times its target; beyond, the blend is refused with the strength that would do. A
// micronutrient that the water alone brings in surplus is told, not refused: no stock lowers it, and refusing would
// stop farms with zinc or boron in their water.
//
// # A hint is silence where two ions could be meant
//
// A near name is suggested only where no other cation or anion lies as near, listed or not. Synonyms suggest and do
// not resolve, since the water of a hydrate is up to half of its mass. Rejected: the nearest name with a wider
// margin, which still crossed.
//
// # A dilution is read the cautious way
//
// "1:10" is one litre made up to ten. Who meant one litre and ten of water has a weaker acid than is counted, and doses
// less. "1+9" is one litre and nine of water, which shrink when they are mixed: it is worked out by mass, and refused where
// no table of densities reaches. "1:1" is refused, since it is said for equal parts; "1+1" is not.
//
// # Densities come from one model, and from a handbook where it ends
//
// Laliberté's model of 2009, in the range it was fitted in; beyond it handbooks and labels. Three values are from memory of
// a handbook, 40 and 50 % of sodium hydroxide and 85 % of sulfuric acid; the table says so. Rejected: the model beyond its
// range, and few points with long straight lines, which were up to 2.6 % high.
//
// # Metals beside phosphate are judged by pH
//
// Unchelated Mn, Zn and Cu beside phosphate are refused above pH 5 and where the pH cannot be computed, Fe always.
// Rejected: saturation indices, whose constants for these phosphates differ by orders of magnitude.
package blend
