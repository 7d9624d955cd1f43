package dosing

// Belief is a mean with its standard deviation; a spread of 0 says that nothing is
// believed.
type Belief struct{ Mean, Spread float64 }
