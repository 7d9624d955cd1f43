package controller_test

import (
	"regexp"

	"leat/controller"
	"leat/dosing/ratio"
)

var (
	meterWords = regexp.MustCompile(`^ pH ` + aNumber + `(?: EC ` + aNumber + `)?$|^ EC ` + aNumber + `$`)
	tubeWords  = regexp.MustCompile(`^ of ` + aPump + `$`)
	rateWords  = regexp.MustCompile(`^ (.+) of ` + aPump + `$`)
	waterWords = regexp.MustCompile(`^ source in ` + aNumber + ` %$`)
)

// tends reads what a person says of probes, pumps and water beside the kind of the request;
// false where these words are not of that kind.
func tends(r *controller.Request, text string) bool {
	words := map[controller.RequestKind]*regexp.Regexp{controller.RequestMeter: meterWords, controller.RequestNewTube: tubeWords,
		controller.RequestPumpRate: rateWords, controller.RequestConfirmWater: waterWords}[r.Kind]
	if words == nil || !words.MatchString(text) {
		return false
	}
	found := words.FindStringSubmatch(text)
	switch r.Kind {
	case controller.RequestMeter:
		r.Meter.PH, _ = number(found[1])
		r.Meter.EC, _ = number(found[2] + found[3])
	case controller.RequestNewTube:
		r.Pump = pumpOf(found[1])
	case controller.RequestPumpRate:
		r.Runs, r.Pump = found[1], pumpOf(found[2])
	case controller.RequestConfirmWater:
		percent, _ := number(found[1])
		r.Water, r.Replaced = ratio.WaterSource, percent/100
	}
	return true
}
