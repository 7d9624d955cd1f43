package app

import (
	"errors"
	"sync/atomic"
	"time"

	"leat/controller/mqtt"
	"leat/safety/ledger"
)

// message is one publication on its way out. An order that finds the link closed
// is withdrawn and a stop is owed; everything else is simply lost, because the newest
// state is sent again when the link opens.
type message struct {
	topic    string
	qos      byte
	retained bool
	body     []byte
	order    ledger.OrderID
	stop     bool
}

// sender publishes in one goroutine, so that a slow link delays neither a reading
// nor a decision. What pumps wait for has a queue of its own that goes first: no
// flood of answers keeps a stop or a lease back.
type sender struct {
	link      *mqtt.Link
	urgent    chan message // stops, orders, leases
	messages  chan message // states and answers
	withdrawn chan ledger.OrderID
	stopLost  atomic.Bool // a stop was not published
	pending   atomic.Int64
	done      chan struct{}
}

const (
	messagesWaiting = 1024
	urgentWaiting   = 64
)

func newSender(link *mqtt.Link) *sender {
	return &sender{link: link, urgent: make(chan message, urgentWaiting), messages: make(chan message, messagesWaiting),
		withdrawn: make(chan ledger.OrderID, 4), done: make(chan struct{})}
}

// run publishes until both queues are closed.
func (s *sender) run() {
	defer close(s.done)
	urgent, messages := s.urgent, s.messages
	for urgent != nil || messages != nil {
		select {
		case m, more := <-urgent:
			if urgent = s.take(m, more, urgent); more {
				continue
			}
		default:
		}
		select {
		case m, more := <-urgent:
			urgent = s.take(m, more, urgent)
		case m, more := <-messages:
			messages = s.take(m, more, messages)
		}
	}
}

// take publishes a message and returns its queue, nil when that is closed.
func (s *sender) take(m message, more bool, queue chan message) chan message {
	if !more {
		return nil
	}
	err := s.link.Publish(m.topic, m.qos, m.retained, m.body)
	if m.order.Number != 0 {
		pass("order published")
	}
	// Only a link that was closed before the write leaves no doubt. Any other
	// error may have reached a node: that order stays open and in doubt.
	if m.order.Number != 0 && errors.Is(err, mqtt.ErrClosed) {
		s.withdrawn <- m.order // has room: a station has one order open
	}
	if m.stop && err != nil {
		s.stopLost.Store(true)
	}
	s.pending.Add(-1)
	return queue
}

// send queues a state or an answer. A full queue drops it and says so.
func (s *sender) send(m message) bool { return s.put(s.messages, m) }

// urge queues what pumps wait for. A full queue drops it and says so: an order is
// then withdrawn by the caller, a stop owed.
func (s *sender) urge(m message) bool { return s.put(s.urgent, m) }

func (s *sender) put(queue chan message, m message) bool {
	s.pending.Add(1)
	select {
	case queue <- m:
		return true
	default:
		s.pending.Add(-1)
		return false
	}
}

// end publishes what waits and ends, unless that takes longer than patience.
func (s *sender) end(patience time.Duration) {
	close(s.urgent)
	close(s.messages)
	select {
	case <-s.done:
	case <-time.After(patience):
	}
}
