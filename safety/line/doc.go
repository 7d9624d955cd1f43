// Package line judges what is only watched around a tank: oxygen, warmth, films, flood
// benches, filter and UV lamp. It knows no pump, no gate reads it, no dose rests on it:
// all it does is call a person, in words that say what to do and, where roots are at
// stake, how many minutes are left.
//
// Decision: how long roots bear it is a setting of the zone with a default from common
// practice (a film without flow and a bench that stands: half an hour; nobody published
// one figure for all crops). Oxygen is different: its fall is measured, and the time left
// is when that fall reaches what harms.
//
// Decision: the UV dose is computed as intensity at the sleeve × mean over the layer of
// water (Beer and Lambert, parallel walls) × time in the chamber at plug flow, which a
// real chamber does not quite reach: it is an upper bound, and said to be one. Asked for
// is 100 mJ/cm² unless stated: Runia (Acta Hort. 361, 1994, 361) saw conidia of Fusarium
// oxysporum gone at 70 mJ/cm² from a low-pressure lamp, reduced by 99.9 % at 84 from a
// high-pressure one, and tomato mosaic virus by 99 % at 100. Growers who fear viruses
// take 250 (common practice). A sensor that reads a share of the new lamp was rejected as a
// unit: what one count is worth is stated with the unit, as for every input.
package line
