package safety

import (
	"fmt"
	"leat/dosing"
	"leat/safety/response"
	"time"
)

// Finding is what doses, or their account, showed of the reagent.
type Finding struct {
	Cause  Cause
	Scope  Scope
	Pump   dosing.PumpID // the pump that gave most of it
	Detail string        // the figures, in words
}

// What the response test finds, in the causes and scopes of the table.
var (
	faultCauses = [...]Cause{response.Sound: CauseNone, response.Silent: CauseNoResponse, response.WrongWay: CauseWrongDirection, response.TooStrong: CauseTooStrong, response.ReagentStrong: CauseReagentStrong}
	reachScopes = [...]Scope{response.OnePump: ScopePump, response.Reagents: ScopeReagents, response.Nutrients: ScopeNutrients}
)

// found latches a finding where it reaches. What one pump of acid or base did the
// wrong way round is believed of both: their containers may be swapped.
func (w *Watch) found(now dosing.Instant, t *tankState, finding Finding) {
	scope := finding.Scope
	if scope == ScopePump && int(finding.Pump) < len(w.pumps) && Of(finding.Cause).Scope == ScopePump {
		w.latch(now, &w.pumps[finding.Pump].cells, finding.Cause, t.id, finding.Pump, finding.Detail)
		return
	}
	if scope == ScopePump {
		scope = Of(finding.Cause).Scope
	}
	w.latchAs(now, &t.cells, finding.Cause, t.id, 0, scope, finding.Detail)
}

// words prints a duration as a grower would say it.
func words(d time.Duration) string {
	switch {
	case d < 2*time.Minute:
		return fmt.Sprintf("%.0f s", d.Seconds())
	case d < 2*time.Hour:
		return fmt.Sprintf("%.0f min", d.Minutes())
	}
	return fmt.Sprintf("%.1f h", d.Hours())
}
