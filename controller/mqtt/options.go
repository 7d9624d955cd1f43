// Package mqtt is the link to the broker, and the only importer of paho. It makes
// four promises that paho alone does not: what is published while the link is down
// is refused at once and never delivered later; a slow consumer never holds up the
// reader, because of each topic the newest value wins; nothing larger than the
// limit is held in memory, let alone decoded; and after every reconnect every
// subscription stands again, or the link counts as closed.
package mqtt

import (
	"context"
	"crypto/tls"
	"fmt"
	"net"
	"net/url"
	"strings"
	"time"

	"go.uber.org/zap"
)

// Message is one message of the broker.
type Message struct {
	Topic    string
	Body     []byte
	Retained bool
	Arrived  time.Time // only of received messages
}

// Options is everything a Link needs. Only URL and ClientID have no default.
type Options struct {
	URL      string // tcp://host:1883 or tls://host:8883 (mqtt:// and mqtts:// mean the same)
	ClientID string // must be this process's alone: a broker closes the older of two
	User     string
	Password string
	TLS      *tls.Config // of a tls URL; nil = the system's roots

	// Will is what the broker says, retained, when this process is gone without a
	// word; the Link says it itself when it closes. Birth is said whenever the link
	// opens. An empty topic = neither.
	Will, Birth Message

	// Latest are topics of which only the newest value matters; a topic's place
	// here is its slot in Take. A topic whose payload carries several values may
	// stand here several times.
	Latest []string
	// Queued are topics or patterns of which every message matters. Each has its
	// own share of the queue, so a flood of one cannot push out another.
	Queued []string

	LargestBody  int           // bytes; 0 = 64 KiB
	QueuePerItem int           // messages waiting per item of Queued; 0 = 256
	KeepAlive    time.Duration // whole seconds; 0 = 5 s
	PingTimeout  time.Duration // 0 = 3 s
	WriteTimeout time.Duration // 0 = 2 s
	OpenTimeout  time.Duration // of dialling, and again of the broker's answers; 0 = 5 s
	FirstPause   time.Duration // between attempts, doubled each time; 0 = 0.5 s
	LongestPause time.Duration // 0 = 30 s

	Dial func(context.Context) (net.Conn, error) // instead of dialling URL; for tests
	Now  func() time.Time                        // of arrivals; nil = time.Now
	Log  *zap.Logger                             // nil = silent
}

func (o *Options) fill() {
	positive := func(d *time.Duration, otherwise time.Duration) {
		if *d <= 0 {
			*d = otherwise
		}
	}
	positive(&o.KeepAlive, 5*time.Second)
	positive(&o.PingTimeout, 3*time.Second)
	positive(&o.WriteTimeout, 2*time.Second)
	positive(&o.OpenTimeout, 5*time.Second)
	positive(&o.FirstPause, 500*time.Millisecond)
	positive(&o.LongestPause, 30*time.Second)
	if o.LargestBody <= 0 {
		o.LargestBody = 64 << 10
	}
	if o.QueuePerItem <= 0 {
		o.QueuePerItem = 256
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Log == nil {
		o.Log = zap.NewNop()
	}
}

// Address is what to dial for a broker's URL, and whether to speak TLS there.
func Address(broker string) (address string, secure bool, err error) {
	const hint = "write tcp://host:1883 or tls://host:8883"
	u, err := url.Parse(broker)
	if err != nil {
		// url.Error repeats the whole text, and with it a password.
		return "", false, fmt.Errorf("broker address is malformed; %s", hint)
	}
	port := "1883"
	switch u.Scheme {
	case "tcp", "mqtt":
	case "tls", "ssl", "mqtts":
		secure, port = true, "8883"
	default:
		return "", false, fmt.Errorf("broker address %q has no known scheme; %s", u.Redacted(), hint)
	}
	switch {
	case u.Hostname() == "":
		return "", false, fmt.Errorf("broker address %q names no host; %s", u.Redacted(), hint)
	case u.User != nil:
		return "", false, fmt.Errorf("broker address %q holds a user; state user and password on their own", u.Redacted())
	case strings.Trim(u.Path, "/") != "" || u.RawQuery != "":
		return "", false, fmt.Errorf("broker address %q goes on after the port; %s", u.Redacted(), hint)
	}
	if u.Port() != "" {
		port = u.Port()
	}
	return net.JoinHostPort(u.Hostname(), port), secure, nil
}
