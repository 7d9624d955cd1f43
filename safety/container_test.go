package safety

import (
	"math"
	"testing"
	"time"

	"leat/dosing"
)

// container is a level gauge of 10 mL on 20 L, read every ten seconds.
type container struct {
	d     drain
	up    time.Duration
	level float64
	drawn dosing.Volume
}

const gaugeUnsure = 0.045 // L

// passes lets hours pass in which litres an hour leave and the pump counts so many of them.
func (c *container) passes(hours, leaves, counted float64) (found loss) {
	for i := range int(hours * 360) {
		c.up += 10 * time.Second
		c.level -= leaves / 360
		if i%60 == 0 {
			c.drawn += dosing.FromMillilitres(counted / 6 * 1000)
		}
		read := math.Round(100*(c.level+0.005*math.Sin(float64(7*i)))) / 100
		if f := c.d.read(read, c.up, c.drawn, gaugeUnsure, 20); f != lossNone && found == lossNone {
			found = f
			c.d.refer(read)
		}
	}
	return found
}

func TestAContainerWhosePumpGivesWhatItCountsIsInOrder(t *testing.T) {
	for _, rate := range []float64{0.85, 1, 1.15} {
		c := container{level: 15}
		if found := c.passes(72, 0.05*rate, 0.05); found != lossNone {
			t.Errorf("a pump that gives %.2f of what it counts: %v", rate, found)
		}
	}
}

func TestAContainerThatEmptiesWithoutDosesDrainsByItself(t *testing.T) {
	c := container{level: 15}
	c.passes(2, 0.05, 0.05)
	if found := c.passes(1.5, 0.06, 0); found != lossDrains {
		t.Errorf("1 mL a minute: %v", found)
	}
}

func TestAContainerThatFillsWithoutAPersonIsDoubted(t *testing.T) {
	c := container{level: 15}
	c.passes(2, 0.05, 0.05)
	if found := c.passes(1, -0.3, 0); found != lossFills {
		t.Errorf("5 mL a minute back: %v", found)
	}
}

func TestAPumpThatGivesThreeTenthsMoreThanItUsuallyDoesIsFound(t *testing.T) {
	c := container{level: 15}
	if found := c.passes(40, 0.05, 0.05); found != lossNone {
		t.Fatalf("before: %v", found)
	}
	if found := c.passes(30, 0.065, 0.05); found != lossMore {
		t.Errorf("three tenths more: %v", found)
	}
}

func TestARefillOrAnotherContainerIsAPersonsDoing(t *testing.T) {
	c := container{level: 5}
	c.passes(2, 0.05, 0.05)
	for _, level := range []float64{19, 0, 12} {
		c.level = level
		if found := c.passes(1, 0.05, 0.05); found != lossNone {
			t.Errorf("changed to %.0f L: %v", level, found)
		}
	}
}
