package alarm

import (
	"fmt"
	"strings"

	"leat/safety"
)

// Water whose phosphate the plants have taken, or whose carbonate is gone, hardly buffers:
// each dose of acid or base does many times what was commissioned, and dose after dose the
// gate learns it. The loop's own scale ends at three times; what the gate's answered doses
// usually show does not. What they did earlier in the night is no measure: carbonate that
// leaves makes four times of it in healthy water.
const (
	thinTimes = 4.0 // times what was commissioned: a buffer told wrong by three is no loss
	thinBack  = 0.8 // of that, before it is so no more
)

// thin says that acid or base does so much that the water has lost its buffer. It stands
// until it is clearly otherwise.
func (s *Situation) thin(stands bool) bool {
	least := thinTimes
	if stands {
		least *= thinBack
	}
	for _, u := range [...]safety.Usual{s.Acid, s.Base} {
		if u.Known && u.Does > least {
			return true
		}
	}
	return false
}

// lost says what a lost buffer shows and what it points to.
func (s *Situation) lost() string {
	var does []string
	if s.Acid.Known {
		does = append(does, fmt.Sprintf("acid does %.1f times", s.Acid.Does))
	}
	if s.Base.Known {
		does = append(does, fmt.Sprintf("base %.1f times", s.Base.Does))
	}
	return strings.Join(does, ", ") + " what was commissioned: the water has lost its buffer, phosphate or carbonate, or the container holds a stronger liquid; measure phosphate and alkalinity"
}
