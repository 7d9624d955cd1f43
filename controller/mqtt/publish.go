package mqtt

import (
	"fmt"
	"strings"
	"sync/atomic"
)

// Publish hands a message to the broker, or returns ErrClosed at once if the link
// is not open; nothing is kept for later. It blocks for WriteTimeout at most. Nil
// means that the message is on its way, not that it arrived. QoS 2 is refused: its
// second half can come late.
func (l *Link) Publish(topic string, qos byte, retained bool, body []byte) error {
	if topic == "" || strings.ContainsAny(topic, "+#") || qos > 1 {
		l.count.refused.Add(1)
		return fmt.Errorf("publish to %q with QoS %d: want a topic without + and #, and QoS 0 or 1", topic, qos)
	}
	c := root(l).current.Load()
	if c == nil {
		l.count.refused.Add(1)
		return ErrClosed
	}
	if err := c.publish(topic, qos, retained, body); err != nil {
		l.count.refused.Add(1)
		return err
	}
	return nil
}

// counts are the link's counters since New.
type counts struct {
	received, stored, replaced, queued, dropped, stray, oversize atomic.Uint64
	published, refused, opened, failed                           atomic.Uint64
}

// Stats is how much went through the link since New.
type Stats struct {
	Received  uint64 // messages from the broker
	Stored    uint64 // into an empty slot of Latest
	Replaced  uint64 // into a slot whose value nobody had taken
	Queued    uint64
	Dropped   uint64 // because the queue had no room
	Stray     uint64 // of topics nobody asked for
	Oversize  uint64
	Published uint64 // birth and will among them
	Refused   uint64 // publications that failed
	Opened    uint64 // times the link opened
	Failed    uint64 // times it was lost or could not be opened
}

// Stats reads the counters.
func (l *Link) Stats() Stats {
	c := &l.count
	return Stats{Received: c.received.Load(), Stored: c.stored.Load(), Replaced: c.replaced.Load(), Queued: c.queued.Load(),
		Dropped: c.dropped.Load(), Stray: c.stray.Load(), Oversize: c.oversize.Load(), Published: c.published.Load(),
		Refused: c.refused.Load(), Opened: c.opened.Load(), Failed: c.failed.Load()}
}

// Idle says that nothing waits to be taken, nothing is between the socket and the
// slots, and all that was published has been written or acknowledged. What the
// broker still holds only the broker knows.
func (l *Link) Idle() bool {
	if c := root(l).current.Load(); c != nil && !c.quiet() {
		return false
	}
	return l.slots.empty() && l.queue.empty()
}
