package safety

import "leat/dosing"

// Limits of one dose and of what is on its way, and the waits between reagents.
const (
	effectPH  = dosing.EffectPH
	effectIn  = 0.05 // near the setpoint: what a refill did to the acid shows in one small dose
	effectEC  = dosing.EffectEC
	transitPH = dosing.TransitPH
	transitEC = dosing.TransitEC
	creditPH  = 0.30 // most that unanswered alkalinity may add

	smallestPH = dosing.SmallestPH // one such dose always passes the effect cap
	quietPH    = 0.01              // in transit below this is nothing
	trustAfter = 3                 // pools that have arrived before the learned mean counts in full
	floorMost  = 3.0               // times the commissioned buffer

	// How far beyond the setpoint a settled prediction may lie and still not count
	// as the wrong direction: the loop sees drift ahead, the gate does not.
	slackPH = 0.05
	slackEC = 0.02 // mS/cm
	// A blend is owed whole: its rest is finished inside the band.
	slackBlend = 0.05

	counterWait  = dosing.ChangeoverWait
	counterError = dosing.ChangeoverError
	counterHurry = dosing.ChangeoverHurry
	counterShare = 0.10 // of the in-transit cap: less of the opposite on its way is none
)
