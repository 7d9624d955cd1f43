package safety

import "leat/dosing"

// OperatorState is what people have entered for a tank.
type OperatorState struct {
	Paused      bool
	Maintenance bool // a probe or a pump is being calibrated or serviced
	ECDoubted   bool // a hand meter and the EC probe are far apart
	Cleaning    bool
	Unconfirmed bool // nobody has confirmed that the tank holds nutrient solution
	Why         string
}

// entered is what people have said of a tank, and where it is to go.
type entered struct {
	mode     Mode
	operator OperatorState
	target   dosing.Target
	aimed    bool
}

// learned is what the loops and titrations found of its water.
type learned struct {
	lnBuffer, spread float64
	answered         int
	titrated         float64 // sd of ln(buffer capacity) as a titration has left it; 0 = none was made
}
