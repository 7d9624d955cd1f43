package app

import (
	"context"
	"fmt"
	"time"

	"leat/controller"
	"leat/dosing"
	"leat/safety"
)

// clockStep is the smallest jump of the wall clock against the uptime that is
// recorded. Slewing stays far below it.
const clockStep = 2 * time.Second

// leaseHolds is how long a lease is believed: another daemon's last one may stand
// for this long.
const leaseHolds = 10 * time.Second

// loop is the one goroutine that drives the core. Everything that happens comes in
// here as an event; what the core puts out is carried out before the next event.
func (a *App) loop(ctx context.Context, linkErr, webErr <-chan error) error {
	now := a.clock.Now()
	a.lastTick, a.stepped = now, now
	a.driver.pulse.beat()
	a.outbox.carryOut(now, a.core.Begin(now, false))
	a.record.word = safety.LedgerReady
	a.driver.tellRecord(now)
	if a.options.ArmAll {
		a.armAll()
	}
	a.options.Supervise("READY=1")
	for {
		a.display.showChanges()
		select {
		case <-ctx.Done():
			return nil
		case <-a.termLost():
			return ErrTaken
		case err := <-linkErr:
			return fmt.Errorf("broker: %w", err)
		case err := <-webErr:
			return fmt.Errorf("page: %w", err)
		case <-a.clock.Ticks():
			// Read anew: a tick that waited for a busy loop is as old as the wait.
			a.tick(a.clock.Now())
		case <-a.link.Ready():
			a.listener.receive()
		case up := <-a.link.Changed():
			a.listener.linkChanged(up)
		case done := <-a.writer.results:
			a.driver.written(a.clock.Now(), done)
		case order := <-a.sender.withdrawn:
			a.driver.step(a.clock.Now(), controller.Event{Kind: controller.EventWithdrawn, Order: order})
		case r := <-a.requests:
			a.asks.takeRequest(r)
		case done := <-a.reloads:
			done <- a.reload()
		case probe := <-a.probes:
			probe <- a.quiet()
		}
	}
}

// quiet is asked from inside the loop, so nothing is being stepped now.
func (a *App) quiet() bool {
	return a.record.pending == 0 && a.sender.pending.Load() == 0 && a.link.Idle() &&
		len(a.sender.withdrawn) == 0 && len(a.link.Changed()) == 0 && len(a.link.Ready()) == 0
}

// tick passes time on, and first what the wall clock did meanwhile.
func (a *App) tick(now dosing.Instant) {
	if jump := now.Wall.Sub(a.lastTick.Wall) - now.Since(a.lastTick); jump > clockStep || jump < -clockStep {
		a.driver.step(now, controller.Event{Kind: controller.EventClock, Jump: jump})
	}
	a.lastTick = now
	a.driver.watchTerm(now)
	a.owners.watchOwner(now)
	a.asks.takeEarly()
	if a.owners.other > 0 && now.Up > a.owners.other {
		a.owners.other = 0
		a.driver.step(now, controller.Event{Kind: controller.EventOther})
	}
	a.driver.step(now, controller.Event{Kind: controller.EventTick})
	if a.sender.stopLost.Swap(false) {
		a.outbox.stopOwed = true
	}
	if a.outbox.stopOwed && a.owner.owns && a.link.Open() {
		a.outbox.stopPumps()
	}
	a.listener.checkEcho(now)
	a.listener.countUnread(now)
	if a.history.Due(now.Wall) {
		select {
		case a.writer.flush <- struct{}{}:
		default: // the writer is at it
		}
	}
	a.desk.Follow(now, a.display.View())
	// The watchdog is fed by the decision's own progress: a hung core lets it run out.
	a.options.Supervise("WATCHDOG=1")
}

// armAll is the demo's: it arms its own farm, and the record says so.
func (a *App) armAll() {
	for i := range a.file.Settings.Tanks {
		r := controller.Request{Kind: controller.RequestArm, Tank: dosing.TankID(i), By: "demo", From: "demo", Role: controller.RoleEngineer,
			Note: "the demo arms its own simulated farm"}
		a.driver.step(a.clock.Now(), controller.Event{Kind: controller.EventRequest, Request: &r})
	}
}
