package dosing

import "time"

// Limits of one dose and of what is on its way. The gate enforces them, sizing refuses pumps
// that cannot keep them; the rules of the rehearsal state them once more on purpose, so that
// a slip here shows as a violation.
const (
	EffectPH  = 0.10 // predicted effect of one dose, pH at the buffer floor
	EffectEC  = 0.10 // mS/cm
	TransitPH = 0.30 // on its way and not yet seen by the probes
	TransitEC = 0.20 // mS/cm

	SmallestPH = 0.05 // most that one smallest dose may do, at the commissioned buffer
	SmallestEC = 0.02 // mS/cm
)

// Rules for giving base after acid and acid after base. The loop plans by them, so that it asks
// for nothing that the gate, which judges by the raw reading, would refuse.
const (
	ChangeoverWait  = 20 * time.Minute
	ChangeoverError = 0.05 // pH from the setpoint, from which the opposite reagent may follow at all
	ChangeoverHurry = 0.15 // from which it need not wait
)
