package loop

// Without names a part of the law that a trial leaves out, to see what it is worth.
// The zero value leaves out nothing, and no configuration can set another: only a
// rehearsal does, where the water is not real.
type Without uint8

// The parts.
const (
	WithoutNothing     Without = iota
	WithoutTransit             // a dose that works later counts as nothing until it does
	WithoutLearning            // the buffer scale and the EC gain stay as commissioned
	WithoutFeedForward         // neither top-up nor a reagent's side effect is met before it shows
	WithoutPessimism           // the buffer counts as the best guess, not as the low one
	WithoutCount
)

var withoutNames = [WithoutCount]string{"nothing", "transit", "learning", "feed-forward", "pessimism"}

func (w Without) String() string { return withoutNames[min(w, WithoutCount-1)] }

// ParseWithout finds a part by name.
func ParseWithout(name string) (Without, bool) {
	for w, n := range withoutNames {
		if n == name {
			return Without(w), true
		}
	}
	return WithoutNothing, false
}

// LeaveOut takes a part of the law out. Call it before the first reading.
func (l *Loops) LeaveOut(w Without) {
	l.without = w
	for _, o := range []*observer{&l.ph, &l.ec} {
		o.untaught, o.bold = w == WithoutLearning, w == WithoutPessimism
	}
}

// counted is what is on its way as the law sees it.
func (w Without) counted(moving float64) float64 {
	if w == WithoutTransit {
		return 0
	}
	return moving
}
