// Package calibration knows the solutions in which probes of pH and conductivity are
// calibrated, and finds slope and offset of a probe from what it read in them.
//
// Decision: what a probe sends is corrected here by slope and offset as measured, and the
// reading is compensated for temperature afterwards. Rejected: to compare readings that
// were compensated already, where a nutrient solution's temperature coefficient would be
// taken for potassium chloride's and read 2 % wrong at 15 °C. A transmitter that keeps its
// own calibration is read as it is: then the solutions are a check of it and nothing is
// corrected twice.
package calibration
