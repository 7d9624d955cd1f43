package app

import (
	"context"
	"time"

	"leat/dosing"
)

// Clock is the rim's only clock: the machine's, or a virtual one under which no
// speed of the demo trips the daemon.
type Clock interface {
	// Now is wall time in the configured zone and uptime.
	Now() dosing.Instant
	// Arrived is when something arrived that the adapter saw at this machine time:
	// a message that waited in a stalled loop is as old as it is.
	Arrived(at time.Time) dosing.Instant
	// Ticks sends once a second.
	Ticks() <-chan dosing.Instant
}

// MachineClock is the clock of this machine.
type MachineClock struct {
	started time.Time
	zone    *time.Location
	ticks   chan dosing.Instant
}

// NewMachineClock starts a clock that ticks until ctx ends.
func NewMachineClock(ctx context.Context, zone *time.Location) *MachineClock {
	c := &MachineClock{started: time.Now(), zone: zone, ticks: make(chan dosing.Instant)}
	go c.run(ctx)
	return c
}

func (c *MachineClock) run(ctx context.Context) {
	ticker := time.NewTicker(time.Second)
	defer ticker.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-ticker.C:
		}
		// A loop that is busy misses ticks rather than being handed old ones.
		select {
		case c.ticks <- c.Now():
		case <-ctx.Done():
			return
		}
	}
}

// Now reads the clock. Uptime is the monotonic clock's, which no one can set.
func (c *MachineClock) Now() dosing.Instant {
	now := time.Now()
	return dosing.Instant{Wall: now.Round(0).In(c.zone), Up: now.Sub(c.started)}
}

// Arrived converts a time of this machine.
func (c *MachineClock) Arrived(at time.Time) dosing.Instant {
	return dosing.Instant{Wall: at.Round(0).In(c.zone), Up: at.Sub(c.started)}
}

// Ticks sends once a second.
func (c *MachineClock) Ticks() <-chan dosing.Instant { return c.ticks }
