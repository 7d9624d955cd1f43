package response

import (
	"fmt"
	"math"
)

// Acid or base that was refilled undiluted does many times what it did an hour ago, and
// what meets the next top-up is that many times too much. Water whose buffer is used up,
// phosphate most of all, looks the same for acid alone. Either way no more of it may
// follow: it goes by what the pump usually does here, since a buffer may have been told
// wrong by three, and by more than carbonate that leaves makes of that within a night.
const (
	strongUsual = 3.0  // times what the reagent usually does (healthy nights reach 2.4)
	strongUsesZ = 3.0  // and that beyond doubt
	strongMove  = 0.15 // pH that it must have done beyond its usual: less is the tail of the readings
)

// undiluted says that acid or base did far more than it usually does.
func (e *evidence) undiluted(p *pool, f fitted) (Finding, bool) {
	if !f.ok || p.class == Stock || p.answers < AnswersWant {
		return Finding{}, false
	}
	scale, _ := e.expected(p)
	usual := math.Exp(p.usual) / scale
	beyond := float64(math.Abs(f.predicted)/e.buffer()) * (f.ratio - usual)
	if !(f.ratio-float64(strongUsesZ*f.sd) > strongUsual*usual) || !(beyond > strongMove) {
		return Finding{}, false
	}
	finding := e.finding(p, ReagentStrong, f)
	finding.Detail = fmt.Sprintf("%s did %.1f times what it usually does: %s", p.class, f.ratio/usual, finding.Detail)
	p.strikes = 0
	p.renew(e)
	return finding, true
}
