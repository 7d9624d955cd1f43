package app

import (
	"time"

	"leat/controller"
	"leat/dosing"
)

// driver gives the core its events, one after the other.
type driver struct {
	*gear
	outbox *outbox
	pulse  pulse
}

// step gives the core one event and carries out what it puts out. A message is
// stepped at the time it arrived, which may be before a tick that was taken first;
// the core's time never runs backwards, since that would mean a broken clock. The
// reading itself keeps its arrival.
func (dr *driver) step(now dosing.Instant, event controller.Event) {
	if now.Up < dr.stepped.Up {
		now = dr.stepped
	}
	dr.stepped = now
	began := time.Now()
	dr.outbox.carryOut(now, dr.core.Step(now, &event))
	dr.metrics.LoopStep(time.Since(began))
	dr.pulse.beat()
	dr.tellRecord(now)
}
