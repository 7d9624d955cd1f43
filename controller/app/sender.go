package app

import (
	"errors"
	"sync/atomic"

	"leat/controller/mqtt"
	"leat/safety/ledger"
)

// message is one publication on its way out. An order that finds the link closed
// is withdrawn; everything else is simply lost, because the newest state is sent
// again when the link opens.
type message struct {
	topic    string
	qos      byte
	retained bool
	body     []byte
	order    ledger.OrderID
}

// sender publishes in order, in one goroutine, so that a slow link delays neither
// a reading nor a decision.
type sender struct {
	link      *mqtt.Link
	messages  chan message
	withdrawn chan ledger.OrderID
	pending   atomic.Int64
	dropped   atomic.Uint64
	done      chan struct{}
}

const messagesWaiting = 1024

func newSender(link *mqtt.Link) *sender {
	return &sender{link: link, messages: make(chan message, messagesWaiting), withdrawn: make(chan ledger.OrderID, 4), done: make(chan struct{})}
}

func (s *sender) run() {
	defer close(s.done)
	for m := range s.messages {
		err := s.link.Publish(m.topic, m.qos, m.retained, m.body)
		if m.order.Number != 0 {
			pass("order published")
		}
		// Only a link that was closed before the write leaves no doubt. Any other
		// error may have reached a node: that order stays open and in doubt.
		if m.order.Number != 0 && errors.Is(err, mqtt.ErrClosed) {
			s.withdrawn <- m.order
		}
		s.pending.Add(-1)
	}
}

// send queues a message. A full queue drops what can be sent again and says so;
// an order that cannot be queued is withdrawn by the caller.
func (s *sender) send(m message) bool {
	s.pending.Add(1)
	select {
	case s.messages <- m:
		return true
	default:
		s.pending.Add(-1)
		s.dropped.Add(1)
		return false
	}
}

func (s *sender) wait() { <-s.done }
