package mqtt

import (
	"context"
	"sync"
)

// A branch is a Link that stands on another one's connection: it has slots, a queue and
// news of openings of its own, for one station of several in a process. It says neither birth
// nor will, and the connection stays when it is closed.

// Branch makes a link on l's connection. While its Run runs its topics are subscribed.
func (l *Link) Branch(latest, queued []string) *Link {
	options := l.options
	options.Latest, options.Queued = latest, queued
	b := New(options)
	b.trunk = l
	return b
}

// root is the link whose connection this one stands on.
func root(l *Link) *Link {
	if l.trunk != nil {
		return l.trunk
	}
	return l
}

// branches are the links that stand on one connection.
type branches struct {
	turn sync.Mutex // one joining, leaving, opening or closing at a time
	on   map[*Link]*connection

	mu     sync.RWMutex
	routes map[string][]*Link // by topic
}

// run keeps a branch on the connection until ctx ends or it is closed.
func (bs *branches) run(ctx context.Context, b *Link) error {
	defer close(b.stopped)
	bs.join(b)
	select {
	case <-ctx.Done():
	case <-b.quit.Done():
	}
	bs.leave(b)
	return nil
}

func (bs *branches) join(b *Link) {
	bs.turn.Lock()
	defer bs.turn.Unlock()
	bs.mu.Lock()
	if bs.routes == nil {
		bs.routes, bs.on = map[string][]*Link{}, map[*Link]*connection{}
	}
	for topic := range topicsOf(b) {
		bs.routes[topic] = append(bs.routes[topic], b)
	}
	bs.mu.Unlock()
	bs.on[b] = nil
	if c := b.trunk.current.Load(); c != nil {
		if err := bs.subscribe(c, b); err != nil {
			c.lose(err) // what was refused would look like a silent sensor
			return
		}
		news(b, true)
	}
}

func (bs *branches) leave(b *Link) {
	bs.turn.Lock()
	defer bs.turn.Unlock()
	delete(bs.on, b)
	var unused []string
	bs.mu.Lock()
	for topic := range topicsOf(b) {
		others := make([]*Link, 0, len(bs.routes[topic]))
		for _, other := range bs.routes[topic] {
			if other != b {
				others = append(others, other)
			}
		}
		if bs.routes[topic] = others; len(others) == 0 {
			delete(bs.routes, topic)
			unused = append(unused, topic)
		}
	}
	bs.mu.Unlock()
	if c := b.trunk.current.Load(); c != nil && len(unused) > 0 {
		c.client.Unsubscribe(unused...) // what still comes is nobody's
	}
}

// subscribe subscribes a branch's topics, once on each connection; turn is held.
func (bs *branches) subscribe(c *connection, b *Link) error {
	if bs.on[b] == c {
		return nil
	}
	if err := c.subscribe(b.options.Latest, b.options.Queued); err != nil {
		return err
	}
	bs.on[b] = c
	return nil
}

// subscribeAll subscribes what every branch wants.
func (bs *branches) subscribeAll(c *connection) error {
	bs.turn.Lock()
	defer bs.turn.Unlock()
	for b := range bs.on {
		if err := bs.subscribe(c, b); err != nil {
			return err
		}
	}
	return nil
}

// opened makes c the trunk's connection and tells every branch; nil is that it closed. One
// that joined since the subscriptions were made is subscribed now.
func (bs *branches) opened(trunk *Link, c *connection) {
	bs.turn.Lock()
	defer bs.turn.Unlock()
	trunk.current.Store(c)
	for b := range bs.on {
		if c != nil {
			if err := bs.subscribe(c, b); err != nil {
				c.lose(err)
				return
			}
		}
		news(b, c != nil)
	}
}

// take stores a message with every branch that wants its topic.
func (bs *branches) take(m Message) (wanted bool) {
	bs.mu.RLock()
	defer bs.mu.RUnlock()
	for _, b := range bs.routes[m.Topic] {
		b.count.received.Add(1)
		wanted = b.take(m) || wanted
	}
	return wanted
}

// topics is everything that a link subscribes.
func topicsOf(l *Link) map[string]bool {
	all := map[string]bool{}
	for _, topic := range l.options.Latest {
		all[topic] = true
	}
	for _, topic := range l.options.Queued {
		all[topic] = true
	}
	return all
}

// news tells a branch of an opening or closing. A station that does not listen must not keep
// the others from their link: it loses the oldest news.
func news(l *Link, open bool) {
	for {
		select {
		case l.changed <- open:
			return
		default:
		}
		select {
		case <-l.changed:
		default:
		}
	}
}
