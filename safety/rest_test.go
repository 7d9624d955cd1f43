package safety

import (
	"math"
	"testing"
	"time"

	"leat/dosing"
)

// answered gives the pump a history: four pools of acid, each answered by water that
// drifts up as fast as it is dosed.
func answered(b *basin) {
	b.slopePH = 0.4
	for range 4 {
		for range 4 {
			b.dose(acidPump, tenthAcid/4, 0.0125, 0)
			b.wait(4 * time.Minute)
		}
		b.wait(12 * time.Minute)
	}
}

// holds sets the water so that it stands where it is now and answers nothing.
func (b *basin) holds() {
	at := b.slopePH * b.now.Up.Hours()
	for _, g := range b.given {
		at -= g.acid / 0.5
	}
	b.slopePH, b.given = 0, []parcel{{acid: -at * 0.5, at: -time.Hour}}
}

// evenly doses as a loop does that holds against the drift of before, for as long as the
// acid is not given rest.
func evenly(b *basin, answers float64, within time.Duration) (rested time.Duration, finding Finding, found bool) {
	for end := b.now.Up + within; b.now.Up < end && !found; {
		if rest := b.responses.Rests(dosing.RoleAcid, b.responses.ph.lately(b.now.Up)); b.now.Up < rest {
			rested += 4 * time.Minute
		} else {
			b.dose(acidPump, tenthAcid/4, 0.0125*answers, 0)
		}
		finding, found = b.wait(4 * time.Minute)
	}
	return rested, finding, found
}

func TestAProbeInHeldWaterIsFoundByGivingTheWaterRest(t *testing.T) {
	b := newBasin()
	answered(b)
	b.holds()
	rested, finding, found := evenly(b, 0, 2*time.Hour)
	if !found || finding.Cause != CauseNoResponse {
		t.Errorf("acid worth 0.4 pH an hour and pH stands, for two hours: %+v", finding)
	}
	if rested == 0 {
		t.Error("it was told without rest; the doses came too unevenly to need any")
	}
}

func TestWaterThatDriftsAsFastAsItIsDosedEndsItsRestByMoving(t *testing.T) {
	b := newBasin()
	answered(b)
	b.slopeFrom = 0
	rested, finding, found := evenly(b, 1, 4*time.Hour)
	if found {
		t.Errorf("healthy water: %+v", finding)
	}
	if rested > 40*time.Minute {
		t.Errorf("healthy water got no acid for %s of 4 h", rested)
	}
	if away := math.Abs(b.responses.ph.last - 5.8); away > 0.6 {
		t.Fatalf("the test's own water ran away by %.2f pH", away)
	}
}
