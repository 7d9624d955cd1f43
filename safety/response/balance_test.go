package response

import (
	"strings"
	"testing"
	"time"

	"leat/dosing"
)

// scatteringBasin has an EC probe that scatters by half of its step.
func scatteringBasin() *basin {
	b := newBasin()
	b.tank.ECNoise = 0.005
	b.responses = New(b.pumps, b.tank, evenBuffer(0.5))
	return b
}

// held holds EC for hours: each 40 min a dose of two stocks, worth 0.012 mS/cm each, three minutes
// apart, which do so many times what they should.
func (b *basin) held(lasting time.Duration, a, other float64) (named string) {
	const worth = 0.012
	for end := b.now.Up + lasting; b.now.Up < end; {
		for i, does := range []float64{a, other} {
			pump := nightStockA
			if i == 1 {
				pump = nightStockB
			}
			b.dose(pump, worth*float64(b.tank.Volume)/b.pumps[pump].ECPerML, 0, does*worth)
			b.wait(3 * time.Minute)
		}
		b.wait(34 * time.Minute)
		if s := OffBalance(b.responses); s != "" && named == "" {
			named = s
		}
	}
	return named
}

func TestAStockThatRunsDryWhileECIsHeldIsNamedByTheOthers(t *testing.T) {
	b := scatteringBasin()
	if s := b.held(4*time.Hour, 1, 1); s != "" {
		t.Fatalf("healthy stocks: %q", s)
	}
	s := b.held(8*time.Hour, 0, 1)
	if !strings.HasPrefix(s, b.pumps[nightStockA].Name+" does ") || !strings.Contains(s, "look alike") {
		t.Errorf("an empty container is told as %q", s)
	}
	b.responses.Refilled(nightStockA, Stock)
	if s := OffBalance(b.responses); s != "" {
		t.Errorf("after its refill: %q", s)
	}
	if s := b.held(8*time.Hour, 1, 1); s != "" {
		t.Errorf("filled again: %q", s)
	}
}

func TestAStockTwiceAsStrongWhileECIsHeldIsNamed(t *testing.T) {
	b := scatteringBasin()
	b.held(2*time.Hour, 1, 1)
	if s := b.held(8*time.Hour, 1, 1.8); !strings.HasPrefix(s, b.pumps[nightStockB].Name+" does ") {
		t.Errorf("1.8 times as strong is told as %q", s)
	}
}

func TestWhatAllStocksDoAlikeNamesNone(t *testing.T) {
	for _, all := range []float64{0.6, 1, 1.5} {
		b := scatteringBasin()
		if s := b.held(10*time.Hour, all, all); s != "" {
			t.Errorf("all do %.1f: %q", all, s)
		}
	}
}

func TestABubbleInTheECCellNamesNoStock(t *testing.T) {
	b := scatteringBasin()
	b.held(3*time.Hour, 1, 1)
	b.given = append(b.given, parcel{at: b.now.Up - time.Hour, ec: -0.4})
	if s := b.held(4*time.Hour, 1, 1); s != "" {
		t.Errorf("EC fell by a quarter at once: %q", s)
	}
}

// Water comes in over five minutes and is known to have come once the level has risen by a hundredth; a stock
// makes up for the first of it at once, others for the rest. Told too late, its dilution would be laid to that stock.
func TestTopUpThatAStockMakesUpForIsNotLaidToTheStock(t *testing.T) {
	b := scatteringBasin()
	b.stands = 390
	give := func(pump dosing.PumpID, ec float64) {
		b.dose(pump, ec*float64(b.tank.Volume)/b.pumps[pump].ECPerML, 0, ec)
	}
	for top := range 8 {
		const share, parts, minutes, dilutes = 0.015, 10, 40, 0.015 * 1.6
		for i := range parts {
			b.came = append(b.came, parcel{at: b.now.Up, ec: -dilutes / parts})
			b.stands += share / parts * float64(b.tank.Volume)
			if i == 2 {
				give(nightStockA, dilutes/4)
			}
			b.wait(30 * time.Second)
		}
		for minute := range minutes {
			if minute%10 == 9 {
				give(nightStockB, dilutes/4)
			}
			b.stands -= share / minutes * float64(b.tank.Volume)
			b.wait(time.Minute)
			if s := OffBalance(b.responses); s != "" {
				t.Fatalf("top-up %d: %q", top+1, s)
			}
		}
	}
}
