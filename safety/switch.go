package safety

import (
	"leat/dosing"
	"time"
)

// blip follows the readings of a switch that stop doses. Each holds at once, but only
// what lasts latches, and a contact that bounces is one trouble, not many.
type blip struct {
	on          bool // by the last reading
	count       int
	first, last time.Duration
}

func (b *blip) note(adverse bool, at time.Duration) {
	if adverse {
		if !b.on && !b.lately(at) {
			b.count, b.first = 0, at
		}
		b.count++
		b.last = at
	}
	b.on = adverse
}

// lately says that a reading stopped doses a moment ago.
func (b *blip) lately(up time.Duration) bool { return b.count > 0 && up-b.last < lastsFor }

// lasts says that it was no single sample.
func (b *blip) lasts() bool { return b.count >= lastsCount && b.last-b.first >= lastsFor }

// stopsDoses says whether a switch of this kind stops doses by this value.
func stopsDoses(q dosing.Quantity, value float64) bool {
	switch q {
	case dosing.QuantityCirculation, dosing.QuantitySampleFlow, dosing.QuantityOutlet:
		return value < 0.5
	case dosing.QuantityLeak, dosing.QuantityFlood, dosing.QuantityStop:
		return value >= 0.5
	}
	return false
}

// blipHolds are the switches that latch, or count how often they trip. Such a trip holds
// on for a moment after the contact reads well again, so that one that bounces is seen.
var blipHolds = [dosing.QuantityCount]bool{dosing.QuantityStop: true, dosing.QuantityLeak: true, dosing.QuantityCirculation: true}

// stopPresses is how many readings of a pressed stop, not half a minute apart, are a
// person's: one may be a spark on the wire, but who presses and lets go has stopped it.
const stopPresses = 2

// One sample is no event: what nothing else bears out is believed once so many
// readings over so long say it, and latches no sooner.
const (
	lastsCount = 3
	lastsFor   = 30 * time.Second
)
