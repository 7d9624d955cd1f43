package sim

import (
	"bytes"
	"time"
)

// link is the farm's way to the broker. It is perfect unless a fault makes it
// slow, lossy or deaf on one side.
type link struct {
	up      bool
	in, out []message // on their way, by due time
	trouble linkTrouble
}

type message struct {
	due      time.Duration
	topic    string
	qos      byte
	retained bool
	body     []byte
}

// linkTrouble is what faults do to the link; the zero value is none.
type linkTrouble struct {
	cut        bool // both ways, though the broker does not know yet
	deaf, mute bool // one way
	delay      time.Duration
	copies     int // more of each message that arrives
	lose       int // orders that still get lost
}

// arrive takes a message from the broker.
func (l *link) arrive(f *network, topic string, body []byte) {
	t := &l.trouble
	if !l.up || t.cut || t.deaf {
		return
	}
	if t.lose > 0 && f.routes.ofOrder(topic) {
		t.lose--
		return
	}
	for range 1 + t.copies {
		if t.delay > 0 {
			l.in = append(l.in, message{due: f.now + t.delay, topic: topic, body: bytes.Clone(body)})
			continue
		}
		f.handle(topic, body)
	}
}

// publish gives a message to the broker.
func (f *network) publish(topic string, qos byte, retained bool, body []byte) {
	l := &f.link
	if !l.up || l.trouble.cut || l.trouble.mute || topic == "" {
		return
	}
	if l.trouble.delay > 0 {
		l.out = append(l.out, message{f.now + l.trouble.delay, topic, qos, retained, bytes.Clone(body)})
		return
	}
	if f.send != nil {
		f.send(topic, qos, retained, body)
	}
}

func (l *link) deadline() time.Duration {
	next := forever
	if len(l.in) > 0 {
		next = l.in[0].due
	}
	if len(l.out) > 0 {
		next = min(next, l.out[0].due)
	}
	return next
}

// release passes on what has been on its way long enough.
func (l *link) release(f *network) {
	for len(l.in) > 0 && l.in[0].due <= f.now {
		m := l.in[0]
		l.in = l.in[1:]
		f.handle(m.topic, m.body)
	}
	for len(l.out) > 0 && l.out[0].due <= f.now {
		m := l.out[0]
		l.out = l.out[1:]
		if f.send != nil {
			f.send(m.topic, m.qos, m.retained, m.body)
		}
	}
}
