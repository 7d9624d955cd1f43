package demo

import (
	"sync"
	"time"

	"leat/dosing"
)

// virtualClock is the daemon's clock in the demo. It moves only when the conductor
// moves it, so a wake-up that comes 8 ms late is not three seconds of silence.
type virtualClock struct {
	mu    sync.Mutex
	now   dosing.Instant
	ticks chan dosing.Instant
}

func newVirtualClock(wall time.Time) *virtualClock {
	return &virtualClock{now: dosing.Instant{Wall: wall}, ticks: make(chan dosing.Instant)}
}

// Now is the simulated time.
func (c *virtualClock) Now() dosing.Instant {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

// Arrived is the simulated time as well: nothing waits while the clock stands.
func (c *virtualClock) Arrived(time.Time) dosing.Instant { return c.Now() }

// Ticks sends once a simulated second.
func (c *virtualClock) Ticks() <-chan dosing.Instant { return c.ticks }

// advance moves the clock forward by one second.
func (c *virtualClock) advance() dosing.Instant {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = c.now.Add(time.Second)
	return c.now
}
