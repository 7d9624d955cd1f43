package dosing

import "math"

// Lasting is for how many days a container lasts. Low and High hold about nine times out of
// ten if the days to come are like those before.
type Lasting struct {
	PerDay          float64 // mean of the days, in the unit of what is left
	Days, Low, High float64 // +Inf where nothing is drawn
}

// By what share days are taken to differ while too few are known to tell.
const (
	fewDays   = 3
	unsureCV  = 0.5
	nineOfTen = 1.645 // standard deviations
)

// Lasts forecasts from what was drawn on each of some days, at least one.
func Lasts(left float64, days []float64) Lasting {
	mean, cv := spreadOf(days)
	l := Lasting{PerDay: mean, Days: math.Inf(1), Low: math.Inf(1), High: math.Inf(1)}
	if !(mean > 0) {
		return l
	}
	l.Days = left / mean
	// The mean is as unsure as its days are few, and the days to come differ as these did.
	off := nineOfTen * l.Days * cv * math.Sqrt(1/float64(len(days))+1/max(l.Days, 1))
	l.Low, l.High = max(l.Days-off, 0), l.Days+off
	return l
}

// Needs is what so many days ahead will draw, and what they draw at most about nine times
// out of ten.
func Needs(ahead float64, days []float64) (need, most float64) {
	mean, cv := spreadOf(days)
	need = mean * ahead
	return need, need * (1 + nineOfTen*cv*math.Sqrt(1/float64(max(len(days), 1))+1/max(ahead, 1)))
}

// spreadOf is the mean of some days and by what share they differ.
func spreadOf(days []float64) (mean, cv float64) {
	n, squares := float64(len(days)), 0.0
	for _, day := range days {
		mean += day / n
	}
	if len(days) < fewDays || !(mean > 0) {
		return mean, unsureCV
	}
	for _, day := range days {
		off := day - mean
		squares += float64(off * off)
	}
	return mean, math.Sqrt(squares/(n-1)) / mean
}
