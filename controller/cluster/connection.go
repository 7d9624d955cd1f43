package cluster

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"regexp"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// Names of what leat keeps on the servers. A station is a subject of the stream and a key
// of the bucket.
const (
	streamName    = "LEAT_LEDGER"
	subjectPrefix = "leat.ledger."
	bucketName    = "LEAT_OWNERS"
)

// Options say where the servers are and who asks.
type Options struct {
	Servers   []string    // nats://host:4222 or tls://host:4222
	Name      string      // of this daemon, for people
	Replicas  int         // servers that keep each row: 1 or 3
	User      string      // empty = none
	Password  string      //
	TLS       *tls.Config // nil = as the URLs say, with the system's roots
	Patience  time.Duration
	LeaseEach time.Duration // renewals; 0 = half a second, which takes over within five
}

// Cluster is the connection to the servers. It may be used by several goroutines.
type Cluster struct {
	options Options
	conn    *nats.Conn
	js      jetstream.JetStream
	stream  jetstream.Stream
	owners  jetstream.KeyValue
	ctx     context.Context // ends with Close
	cancel  func()
}

// How long one question to the servers may take, and how long an append goes on asking
// before it says that there is no access for now.
const (
	answerWithin = time.Second
	patience     = 3 * time.Second
)

// Connect reaches the servers and makes stream and bucket where there are none. What is
// there and could lose rows is refused.
func Connect(ctx context.Context, o Options) (*Cluster, error) {
	if o.Replicas != 1 && o.Replicas != 3 {
		return nil, fmt.Errorf("a ledger is kept by 1 or 3 servers, not %d", o.Replicas)
	}
	if o.Patience == 0 {
		o.Patience = patience
	}
	if o.LeaseEach == 0 {
		o.LeaseEach = renewEvery
	}
	c := &Cluster{options: o}
	c.ctx, c.cancel = context.WithCancel(context.Background())
	if err := c.connect(ctx); err != nil {
		c.Close()
		return nil, err
	}
	return c, nil
}

func (c *Cluster) connect(ctx context.Context) (err error) {
	options := []nats.Option{nats.Name("leat " + c.options.Name), nats.MaxReconnects(-1), nats.ReconnectWait(200 * time.Millisecond),
		nats.ReconnectJitter(100*time.Millisecond, 100*time.Millisecond), nats.Timeout(2 * time.Second), nats.PingInterval(2 * time.Second),
		// What waits for a connection would be sent after a time that nobody knows.
		nats.MaxPingsOutstanding(2), nats.ReconnectBufSize(-1), nats.DontRandomize(), nats.IgnoreDiscoveredServers()}
	if c.options.User != "" {
		options = append(options, nats.UserInfo(c.options.User, c.options.Password))
	}
	if c.options.TLS != nil {
		options = append(options, nats.Secure(c.options.TLS))
	}
	servers := ""
	for i, s := range c.options.Servers {
		if i > 0 {
			servers += ","
		}
		servers += s
	}
	if c.conn, err = nats.Connect(servers, options...); err != nil {
		return fmt.Errorf("ledger servers %s: %w; see that one of them runs and is reached from here", servers, err)
	}
	if c.js, err = jetstream.New(c.conn, jetstream.WithDefaultTimeout(5*time.Second)); err != nil {
		return err
	}
	if err := c.openStream(ctx); err != nil {
		return err
	}
	return c.openBucket(ctx)
}

func (c *Cluster) openStream(ctx context.Context) (err error) {
	c.stream, err = c.js.Stream(ctx, streamName)
	if errors.Is(err, jetstream.ErrStreamNotFound) {
		c.stream, err = c.js.CreateStream(ctx, jetstream.StreamConfig{Name: streamName, Description: "ledgers of leat, one subject for each station",
			Subjects: []string{subjectPrefix + "*"}, Storage: jetstream.FileStorage, Retention: jetstream.LimitsPolicy, Discard: jetstream.DiscardNew,
			Replicas: c.options.Replicas, DenyDelete: true, DenyPurge: true})
	}
	if err != nil {
		return fmt.Errorf("stream %s: %w; the servers need JetStream, and %d of them for that many replicas", streamName, err, c.options.Replicas)
	}
	info, err := c.stream.Info(ctx)
	if err != nil {
		return fmt.Errorf("stream %s: %w", streamName, err)
	}
	return c.refuse(info.Config)
}

// refuse names what a stream must not be: one that forgets.
func (c *Cluster) refuse(s jetstream.StreamConfig) error {
	for _, fault := range []struct {
		holds bool
		what  string
	}{
		{s.Storage != jetstream.FileStorage, "keeps its messages in memory"},
		{s.Retention != jetstream.LimitsPolicy, "drops what was read"},
		{s.MaxAge > 0, "drops what is old"},
		{s.MaxMsgs > 0 && s.Discard != jetstream.DiscardNew || s.MaxBytes > 0 && s.Discard != jetstream.DiscardNew, "drops the oldest when it is full"},
		{s.MaxMsgsPerSubject > 0, "bounds the messages of a station"},
		{s.Replicas < c.options.Replicas, fmt.Sprintf("is kept by %d servers and not by %d", s.Replicas, c.options.Replicas)},
	} {
		if fault.holds {
			return fmt.Errorf("stream %s %s: it is no ledger; change its configuration, or move it away and let leat make one", streamName, fault.what)
		}
	}
	return nil
}

func (c *Cluster) openBucket(ctx context.Context) (err error) {
	c.owners, err = c.js.KeyValue(ctx, bucketName)
	if errors.Is(err, jetstream.ErrBucketNotFound) {
		c.owners, err = c.js.CreateKeyValue(ctx, jetstream.KeyValueConfig{Bucket: bucketName, Description: "which daemon of leat owns which station",
			Storage: jetstream.FileStorage, Replicas: c.options.Replicas})
	}
	if err != nil {
		return fmt.Errorf("bucket %s: %w", bucketName, err)
	}
	return nil
}

// Close ends the connection. What was acknowledged stays; a lease is not given back.
func (c *Cluster) Close() {
	c.cancel()
	if c.conn != nil {
		c.conn.Close()
	}
}

var stationName = regexp.MustCompile(`^[A-Za-z0-9_-]{1,64}$`)

func subjectOf(station string) (string, error) {
	if !stationName.MatchString(station) {
		return "", fmt.Errorf("station %q: on the ledger servers a name has letters, digits, - and _ alone", station)
	}
	return subjectPrefix + station, nil
}
