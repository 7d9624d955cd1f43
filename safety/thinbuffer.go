package safety

import "fmt"

// Water whose phosphate the plants have taken, or whose carbonate is gone, hardly buffers:
// each dose of acid or base does many times what was commissioned, and dose after dose the
// gate learns it. The loop's own scale ends at three times; what the gate's pools usually
// show does not.
const (
	thinTimes = 4.0 // times what was commissioned: a buffer told wrong by three is no loss
	thinGrown = 3.5 // or times what it did earlier: carbonate that leaves makes 2.5 of it
	thinBack  = 0.8 // of either, before it is so no more
)

// thin says that acid or base does so much that the water has lost its buffer. It stands
// until it is clearly otherwise.
func (s *Situation) thin(stands bool) bool {
	back := 1.0
	if stands {
		back = thinBack
	}
	for _, u := range [...]Usual{s.Acid, s.Base} {
		if u.Known && (u.Does > thinTimes*back || u.Does > thinGrown*back*u.Least && u.Does > back) {
			return true
		}
	}
	return false
}

// lost says what a lost buffer shows and what it points to.
func (s *Situation) lost() string {
	words := ""
	for _, u := range [...]struct {
		is   Usual
		name string
	}{{s.Acid, "acid"}, {s.Base, "base"}} {
		if !u.is.Known {
			continue
		}
		if words != "" {
			words += ", "
		}
		words += fmt.Sprintf("%s does %.1f times what was commissioned (earlier %.1f times)", u.name, u.is.Does, u.is.Least)
	}
	return words + ": the water has lost its buffer, phosphate or carbonate, or the container holds a stronger liquid; measure phosphate and alkalinity"
}
