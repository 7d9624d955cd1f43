package safety

import (
	"strings"
	"testing"
	"time"
)

// pondBasin is a basin that is told of a pond with 60 % of its water.
func pondBasin() *basin {
	b := newBasin()
	b.tank.Slow, b.tank.Exchange = 0.6, time.Hour
	b.responses = NewResponses(b.pumps, b.tank, evenBuffer(0.5))
	return b
}

// feed gives small doses of both stocks by turns, each worth 0.01 mS/cm as commissioned,
// which truly do so many times as much, and returns the first finding.
func (b *basin) feed(a, other float64) (Finding, bool) {
	b.wait(30 * time.Minute)
	worth := 0.01 * float64(b.tank.Quick()) / b.pumps[nightStockA].ECPerML
	for i := range 24 {
		pump, times := nightStockA, a
		if i%2 == 1 {
			pump, times = nightStockB, other
		}
		b.dose(pump, worth, 0, times*0.01)
		if f, found := b.wait(4 * time.Minute); found {
			return f, true
		}
	}
	return b.wait(30 * time.Minute)
}

func TestStocksThatAllDoMoreInAPondFarmAreNotStopped(t *testing.T) {
	// The quick share was told half as large again as it is.
	if f, found := pondBasin().feed(1.5, 1.5); found {
		t.Errorf("all stocks do 1.5 times what they should: %+v", f)
	}
}

func TestAStrongStockStandsOutBesideTheOthersInAPondFarm(t *testing.T) {
	f, found := pondBasin().feed(5, 1.2)
	if !found || f.Cause != CauseTooStrong || f.Pump != nightStockA {
		t.Errorf("a stock five times too strong beside one of 1.2: %+v %v", f, found)
	}
}

func TestAllStocksTooStrongAtOnceAskForThePondsThatNobodyStated(t *testing.T) {
	f, found := newBasin().feed(3.3, 3.3)
	if !found || f.Cause != CauseTooStrong || !strings.Contains(f.Detail, "state its zones") {
		t.Errorf("all stocks do 3.3 times what they should: %+v %v", f, found)
	}
}
