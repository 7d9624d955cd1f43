package config

import (
	"fmt"
	"math"
	"strconv"

	"leat/dosing"
)

// shares gives each stock its share of the blend. The shares of the stocks of a
// tank sum to one; a sum within one per cent of it is a rounding and is evened
// out, another sum is an error of the recipe.
func (b *mixes) shares() {
	stated, stocks := 0, 0
	for i := range b.gate().Pumps {
		if b.sharedByHand(i) {
			stocks++
			if b.layout.Pumps[i].Share.stated {
				stated++
			}
		}
	}
	if stated != 0 && stated != stocks {
		for i := range b.gate().Pumps {
			if b.sharedByHand(i) && !b.layout.Pumps[i].Share.stated {
				b.fault(join("pump."+strconv.Itoa(i), "share"), "", "is missing while other stocks state theirs", "state the share of each stock, or of none for equal shares")
			}
		}
		return
	}
	raw := make([]float64, len(b.gate().Pumps))
	for i := range raw {
		if !b.sharedByHand(i) {
			continue
		}
		raw[i] = 1
		if stated > 0 {
			raw[i] = b.layout.Pumps[i].Share.value
			if !(raw[i] > 0 && raw[i] <= 1) {
				b.fault(join("pump."+strconv.Itoa(i), "share"), quoted(b.layout.Pumps[i].Share.text), "is no share", "more than 0 % and at most 100 %")
			}
		}
	}
	for id := range b.layout.Tanks {
		if b.settings().Tanks[id].Ratio != nil {
			continue
		}
		b.tankShares(dosing.TankID(id), raw, stated > 0)
	}
}

func (b *mixes) tankShares(id dosing.TankID, raw []float64, stated bool) {
	sum, first := 0.0, -1
	for i := range raw {
		if raw[i] > 0 && b.gate().Pumps[i].ServesTank(id) {
			sum += raw[i]
			if first < 0 {
				first = i
			}
		}
	}
	if first < 0 {
		return
	}
	if stated && !(sum >= 0.99 && sum <= 1.01) {
		b.fault("tank."+strconv.Itoa(int(id)), "", fmt.Sprintf("has stocks whose shares sum to %s %%", figure(sum*100)), "shares of the stocks that serve a tank sum to 100 %")
		return
	}
	for i := range raw {
		if !(raw[i] > 0) || !b.gate().Pumps[i].ServesTank(id) {
			continue
		}
		share := raw[i] / sum
		if before := b.gate().Pumps[i].Share; before > 0 && math.Abs(before-share) > 0.01 {
			b.fault(join("pump."+strconv.Itoa(i), "share"), "", fmt.Sprintf("would be %s %% in one of its tanks and %s %% in another", figure(before*100), figure(share*100)),
				"state shares that sum to 100 % in each tank, or give the tanks the same stocks")
			return
		}
		b.gate().Pumps[i].Share = share
	}
}
