package app

import (
	"errors"
	"fmt"
	"go.uber.org/zap"
	"slices"
	"time"

	"leat/controller"
	"leat/controller/payload"
	"leat/dosing"
)

// Two daemons under one client id throw each other out of the broker and never
// hear each other's leases. A link that is lost so often in so short a time means
// that. The time is longer than both need to come back once each with their longest
// pauses, so that neither stops noticing the other as the pauses grow.
const (
	flapsMean  = 3
	flapsSpan  = 3 * time.Minute
	flapsHolds = flapsSpan
)

// countUnread counts and logs what the link threw away before anyone looked at it.
func (l *listener) countUnread(now dosing.Instant) {
	stats := l.link.Stats()
	if stats.Oversize > l.unread.Oversize {
		l.refused.note(now.Up, "the broker", fmt.Errorf("a message is larger than %d bytes; send values, not files", payload.LargestPayload))
	}
	for range stats.Oversize - l.unread.Oversize {
		l.metrics.Message("refused")
	}
	l.metrics.Dropped(stats.Dropped - l.unread.Dropped)
	l.unread = stats
}

func (l *listener) linkChanged(up bool) {
	l.log.Info("broker", zap.Bool("connected", up))
	now := l.clock.Now()
	l.connected, l.echoed = up, now.Up
	l.owner.linked(up, now.Up)
	if up {
		l.display.state.forget()
		if l.owner.owns {
			l.owners.claimAloud()
			if l.outbox.stopOwed {
				l.outbox.stopPumps()
			}
		}
	} else {
		if n := l.losses.add(now.Up); n >= flapsMean {
			l.log.Warn("the broker ends the connection again and again: another program may use the same client id",
				zap.String("client_id", l.file.Broker.ClientID), zap.Int("losses", n), zap.Duration("within", flapsSpan))
			l.owners.seeOther(now, flapsHolds)
		}
	}
	l.driver.step(now, controller.Event{Kind: controller.EventLink, Up: up})
}

// checkEcho looks whether the broker still brings what is sent: our own lease, at
// least. A broker that has mistaken us for another client of the same id answers our
// pings and delivers nothing; neither would then lose its link or hear of the other.
func (l *listener) checkEcho(now dosing.Instant) {
	if !l.connected || now.Up-l.echoed <= leaseHolds {
		return
	}
	l.echoed = now.Up
	l.log.Warn("the broker brings back none of our own leases: another program may use the same client id",
		zap.String("client_id", l.file.Broker.ClientID))
	l.link.Reopen(errors.New("nothing comes back of what is sent"))
}

// losses are the uptimes at which the link was lost, of the last flapsSpan.
type losses []time.Duration

// add takes one more and returns how many there are.
func (l *losses) add(up time.Duration) int {
	*l = append(slices.DeleteFunc(*l, func(at time.Duration) bool { return up-at > flapsSpan }), up)
	return len(*l)
}
