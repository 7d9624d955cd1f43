// Package calibration knows the solutions in which probes of pH and conductivity are
// calibrated, and finds slope and offset of a probe from what it read in them. It measures a
// pump by its runs, and a tank's water by a titration.
//
// Decision: what a probe sends is corrected here by slope and offset as measured, and the
// reading is compensated for temperature afterwards. Rejected: to compare readings that
// were compensated already, where a nutrient solution's temperature coefficient would be
// taken for potassium chloride's and read 2 % wrong at 15 °C. A transmitter that keeps its
// own calibration is read as it is: then the solutions are a check of it and nothing is
// corrected twice.
//
// Decision: a titration is fitted as a whole. One ratio of what the doses did to what was
// predicted, a steady drift and a level that wanders are followed by a Kalman filter for each
// pair of dead time and lag on a grid, and the pairs are weighed by their likelihood; so slow
// mixing is found and not taken for a strong buffer. Rejected: least squares with a straight
// baseline (a probe's wander of 6 mpH made it sure to 4 % and wrong by 14 %); the mean of single
// answers (three of them say little of their own scatter). To the uncertainty belong what a pump
// repeats to and what a probe wanders; both are common practice, of no one source.
package calibration
