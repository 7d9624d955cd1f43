package mqtt

import (
	"bytes"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"net/url"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/eclipse/paho.mqtt.golang/packets"
	"go.uber.org/zap"
)

const (
	refusedSubscription = 0x80
	topicsPerSubscribe  = 200
	farewellTimeout     = time.Second
	quiesce             = 250 // ms that paho gets to send DISCONNECT
)

// connection is one connection to the broker with its own paho client. It is never
// used again once lost.
type connection struct {
	link   *Link
	client paho.Client
	lost   chan error // one error, when lost

	connMu sync.Mutex
	conn   net.Conn

	received atomic.Uint64 // publications the guard saw begin
	handled  atomic.Uint64 // publications stored, queued or dropped

	pendingMu sync.Mutex
	pending   []paho.Token // published, not known to be written (QoS 0) or acknowledged (QoS 1)
}

// nothing is a paho store that keeps nothing: paho's own would send again, after a
// reconnect, what the broker had not acknowledged, and a late order must not run.
type nothing struct{}

func (nothing) Open()                             {}
func (nothing) Close()                            {}
func (nothing) Reset()                            {}
func (nothing) Del(string)                        {}
func (nothing) All() []string                     { return nil }
func (nothing) Get(string) packets.ControlPacket  { return nil }
func (nothing) Put(string, packets.ControlPacket) {}

// open dials, subscribes and says the birth message; the link is open only when
// all of it succeeded.
func (l *Link) open(ctx context.Context) (*connection, error) {
	c := &connection{link: l, lost: make(chan error, 1)}
	c.client = paho.NewClient(c.pahoOptions(ctx))
	connecting := c.client.Connect()
	select {
	case <-connecting.Done():
	case <-ctx.Done():
		c.hangUp()
		<-connecting.Done()
	}
	err := connecting.Error()
	if err == nil {
		err = ctx.Err()
	}
	if err == nil {
		err = c.subscribe(l.options.Latest, l.options.Queued)
	}
	if err == nil {
		err = l.branches.subscribeAll(c)
	}
	if err == nil && l.options.Birth.Topic != "" {
		err = c.publish(l.options.Birth.Topic, 1, true, l.options.Birth.Body)
	}
	if err != nil {
		c.end()
		select {
		case err = <-c.lost: // says more than "subscribe did not complete"
			if connecting.Error() == nil {
				l.tell(ctx, false) // it was open, if only for a moment: somebody may have taken its place
			}
		default:
		}
		return nil, l.explain(err)
	}
	return c, nil
}

func (l *Link) name() string {
	if l.address == "" {
		return "at the other end"
	}
	return l.address
}

func (c *connection) pahoOptions(ctx context.Context) *paho.ClientOptions {
	o := &c.link.options
	p := paho.NewClientOptions()
	p.Servers = []*url.URL{{Scheme: "tcp", Host: "broker"}} // never dialled: dial does
	p.SetClientID(o.ClientID).SetUsername(o.User).SetPassword(o.Password)
	p.SetProtocolVersion(4) // else a refusal is tried again as MQTT 3.1, and its reason lost
	p.SetCleanSession(true)
	p.SetAutoReconnect(false)
	p.SetConnectRetry(false)
	p.SetOrderMatters(true) // one goroutine per message would put readings out of order
	p.SetStore(nothing{})
	p.SetKeepAlive(o.KeepAlive)
	p.SetPingTimeout(o.PingTimeout)
	p.SetWriteTimeout(o.WriteTimeout)
	p.SetConnectTimeout(o.OpenTimeout)
	if o.Will.Topic != "" {
		p.SetBinaryWill(o.Will.Topic, o.Will.Body, 1, true)
	}
	// One handler for all: paho's router splits every filter again for each message.
	p.SetDefaultPublishHandler(func(_ paho.Client, m paho.Message) { c.handle(m) })
	p.SetConnectionLostHandler(func(_ paho.Client, err error) { c.lose(err) })
	p.SetCustomOpenConnectionFn(func(*url.URL, paho.ClientOptions) (net.Conn, error) {
		conn, err := c.link.dial(ctx)
		if err != nil {
			return nil, err
		}
		guarded := newGuard(conn, o.LargestBody, o.WriteTimeout, &c.received)
		c.connMu.Lock()
		c.conn = guarded
		c.connMu.Unlock()
		return guarded, nil
	})
	return p
}

func (l *Link) dial(ctx context.Context) (net.Conn, error) {
	ctx, cancel := context.WithTimeout(ctx, l.options.OpenTimeout)
	defer cancel()
	if l.options.Dial != nil {
		return l.options.Dial(ctx)
	}
	conn, err := (&net.Dialer{}).DialContext(ctx, "tcp", l.address)
	if err != nil || !l.secure {
		return conn, err
	}
	config := &tls.Config{MinVersion: tls.VersionTLS12}
	if l.options.TLS != nil {
		config = l.options.TLS.Clone()
	}
	if config.ServerName == "" {
		config.ServerName, _, _ = net.SplitHostPort(l.address)
	}
	secured := tls.Client(conn, config)
	if err := secured.HandshakeContext(ctx); err != nil {
		_ = conn.Close()
		return nil, err
	}
	return secured, nil
}

// subscribe asks for everything and checks each answer: a refused subscription
// would look like a silent sensor, or lose the reports of a pump.
func (c *connection) subscribe(latest, queued []string) error {
	batch := make(map[string]byte, topicsPerSubscribe)
	flush := func() error {
		if len(batch) == 0 {
			return nil
		}
		token := c.client.SubscribeMultiple(batch, nil)
		if !token.WaitTimeout(c.link.options.OpenTimeout) {
			return errors.New("does not answer the subscription in time")
		}
		if err := token.Error(); err != nil {
			return err
		}
		granted := token.(*paho.SubscribeToken).Result()
		for topic := range batch {
			if qos, answered := granted[topic]; !answered || qos >= refusedSubscription {
				return fmt.Errorf("refuses the subscription to %q; allow user %q to read it", topic, c.link.options.User)
			}
		}
		clear(batch)
		return nil
	}
	add := func(topics []string, qos byte) error {
		for _, topic := range topics {
			batch[topic] = qos
			if len(batch) == topicsPerSubscribe {
				if err := flush(); err != nil {
					return err
				}
			}
		}
		return nil
	}
	// A reading that was lost is replaced by the next one, and without
	// acknowledgements the broker never stops sending for want of them.
	if err := add(latest, 0); err != nil {
		return err
	}
	if err := add(queued, 1); err != nil {
		return err
	}
	return flush()
}

// handle stores a message and returns at once: paho reads nothing while it runs.
func (c *connection) handle(m paho.Message) {
	l := c.link
	defer c.handled.Add(1)
	l.count.received.Add(1)
	body, topic := m.Payload(), m.Topic()
	if len(body) > l.options.LargestBody {
		if l.count.oversize.Add(1) == 1 {
			l.options.Log.Warn("message is larger than the limit and was dropped unread",
				zap.String("topic", topic), zap.Int("limit", l.options.LargestBody))
		}
		return
	}
	arrived := Message{Topic: topic, Body: body, Retained: m.Retained(), Arrived: l.options.Now()}
	if !l.take(arrived) && !l.branches.take(arrived) {
		l.count.stray.Add(1)
	}
}

// take stores a message where it waits for whoever takes it, and says whether this link
// wants its topic.
func (l *Link) take(m Message) bool {
	if slot, ok := l.slots.first[m.Topic]; ok {
		if l.slots.put(slot, m.Body, m.Retained, m.Arrived) {
			l.count.replaced.Add(1)
		} else {
			l.count.stored.Add(1)
		}
	} else if item := l.queue.item(m.Topic); item < 0 {
		return false
	} else if l.queue.put(item, m) {
		l.count.queued.Add(1)
	} else {
		l.count.dropped.Add(1)
	}
	l.signal()
	return true
}

// publish hands a message to paho's writer. It does not wait for the broker's
// acknowledgement, which would prove nothing about the node.
func (c *connection) publish(topic string, qos byte, retained bool, body []byte) error {
	if !c.client.IsConnectionOpen() {
		return ErrClosed
	}
	// Cloned because paho keeps the slice until it is written, and callers build
	// their payloads in one buffer.
	token := c.client.Publish(topic, qos, retained, bytes.Clone(body))
	select {
	case <-token.Done():
		if err := token.Error(); err != nil {
			return publishError(topic, err)
		}
		c.link.count.published.Add(1)
		return nil
	default:
	}
	c.link.count.published.Add(1)
	c.pendingMu.Lock()
	c.pending = append(c.pending, token)
	c.sweep()
	c.pendingMu.Unlock()
	return nil
}

func publishError(topic string, err error) error {
	switch {
	case errors.Is(err, paho.ErrNotConnected):
		return ErrClosed
	case strings.Contains(err.Error(), "broken by timeout"):
		return fmt.Errorf("publish to %s: %w", topic, ErrTimeout)
	}
	return fmt.Errorf("publish to %s: %w", topic, err)
}

// sweep forgets the oldest tokens that are done; pendingMu is held.
func (c *connection) sweep() {
	done := 0
	for done < len(c.pending) && isDone(c.pending[done]) {
		done++
	}
	c.pending = append(c.pending[:0], c.pending[done:]...)
}

func isDone(token paho.Token) bool {
	select {
	case <-token.Done():
		return true
	default:
		return false
	}
}

// quiet says whether nothing is on its way between the socket and the slots, and
// everything published was written or acknowledged.
func (c *connection) quiet() bool {
	c.pendingMu.Lock()
	defer c.pendingMu.Unlock()
	c.sweep()
	for _, token := range c.pending {
		if !isDone(token) {
			return false
		}
	}
	return c.handled.Load() == c.received.Load()
}

// farewell says the will, because the broker does not after a clean end, and ends
// the connection.
func (c *connection) farewell() {
	if will := c.link.options.Will; will.Topic != "" && c.client.IsConnectionOpen() {
		said := c.client.Publish(will.Topic, 1, true, bytes.Clone(will.Body))
		if said.WaitTimeout(farewellTimeout) && said.Error() == nil {
			c.link.count.published.Add(1)
		}
	}
	c.end()
}

// lose tells that the connection is lost; the first reason counts.
func (c *connection) lose(why error) {
	select {
	case c.lost <- why:
	default:
	}
}

// end closes the connection however far it came.
func (c *connection) end() {
	if c.client.IsConnectionOpen() {
		c.client.Disconnect(quiesce)
	}
	c.hangUp()
}

func (c *connection) hangUp() {
	c.connMu.Lock()
	defer c.connMu.Unlock()
	if c.conn != nil {
		_ = c.conn.Close()
	}
}
