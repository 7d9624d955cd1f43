package safety

import (
	"fmt"
	"testing"
	"time"

	"leat/dosing"
)

func TestARefillForgetsWhatWasSeenOfItsPumpAlone(t *testing.T) {
	acid, base, stock := dosing.Pump{Role: dosing.RoleAcid}, dosing.Pump{Role: dosing.RoleBase}, dosing.Pump{Role: dosing.RoleStock}
	for _, c := range []struct {
		pumps  []dosing.Pump
		refill dosing.PumpID
		kept   string // pools that still hold strikes: acid, base, all stocks, then each stock
	}{
		{[]dosing.Pump{acid, base, stock, stock}, 0, "[false true true true true]"},
		{[]dosing.Pump{acid, base, stock, stock}, 1, "[true false true true true]"},
		{[]dosing.Pump{acid, base, stock, stock}, 3, "[true true true true false]"},
		{[]dosing.Pump{acid, base, stock}, 2, "[true true false]"}, // the pool of all stocks is its own
	} {
		r := NewResponses(c.pumps, dosing.Tank{Volume: 1000, DeadTime: time.Minute, TimeConstant: time.Minute}, evenBuffer(1))
		for i := range r.pools {
			r.pools[i].strikes = 2
		}
		class, _ := classOf(c.pumps[c.refill].Role)
		r.refilled(c.refill, class)
		var kept []bool
		for i := range r.pools {
			kept = append(kept, r.pools[i].strikes > 0)
		}
		if got := fmt.Sprint(kept); got != c.kept {
			t.Errorf("refill of pump %d of %d: kept %s, want %s", c.refill, len(c.pumps), got, c.kept)
		}
	}
}
