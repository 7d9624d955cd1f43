package cluster

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"sync"
	"time"

	"github.com/nats-io/nats.go/jetstream"
)

// The times of a lease, as multiples of a renewal. An owner stops believing in its lease
// after ownerBelieves without one, an heir takes the station after heirWaits without having seen
// one: the difference is for clocks that do not run at one rate, and for an owner between its
// last look at the lease and the order it then sends.
const (
	renewEvery    = 500 * time.Millisecond
	ownerBelieves = 4
	heirWaits     = 6
)

// entry is what stands in the bucket for a station.
type entry struct {
	Ledger string `json:"ledger"` // by which this ledger is told from another of the same name
	Epoch  uint32 `json:"epoch"`  // of the newest owner
	Owner  string `json:"owner"`  // its name; empty = it has left
	Run    string `json:"run"`    // drawn at the takeover: one process of that name is not another
	Rows   uint64 `json:"rows"`   // acknowledged so far, at the least
	Hash   string `json:"hash"`   // of the last of them
}

// Lease is one daemon's ownership of one station.
type Lease struct {
	cluster *Cluster
	station string
	started time.Time // zero of the monotonic time below
	lost    chan struct{}
	stop    func()
	ended   chan struct{}

	turn     sync.Mutex // of write
	mu       sync.Mutex
	entry    entry
	revision uint64
	renewed  time.Duration // when the last renewal that succeeded was asked for
	gone     bool          // lost is closed
	before   entry         // as the owner before left it
	head     func() (rows uint64, hash [32]byte)
}

// Acquire waits until nobody owns the station and takes it. It returns when ctx ends.
// waiting, if given, is told of the owner that is waited for, once for each.
func (c *Cluster) Acquire(ctx context.Context, station string, waiting func(owner string)) (*Lease, error) {
	if _, err := subjectOf(station); err != nil {
		return nil, err
	}
	var seen uint64
	var since time.Time
	told := ""
	for ticker := time.NewTicker(c.options.LeaseEach / 2); ; {
		found, revision, err := c.look(ctx, station)
		switch {
		case err != nil:
			// A majority may come back; meanwhile nobody takes anything.
			seen = 0
		case revision != seen:
			seen, since = revision, time.Now()
		}
		free := err == nil && (found.Owner == "" || time.Since(since) >= heirWaits*c.options.LeaseEach)
		if err == nil && !free && found.Owner != told && waiting != nil {
			told = found.Owner
			waiting(told)
		}
		if free {
			if l := c.take(ctx, station, found, revision); l != nil {
				ticker.Stop()
				return l, nil
			}
		}
		select {
		case <-ctx.Done():
			ticker.Stop()
			return nil, ctx.Err()
		case <-ticker.C:
		}
	}
}

// look reads a station's entry; one that was never made is empty with revision 0.
func (c *Cluster) look(ctx context.Context, station string) (e entry, revision uint64, err error) {
	ctx, cancel := context.WithTimeout(ctx, answerWithin)
	defer cancel()
	found, err := c.owners.Get(ctx, station)
	if errors.Is(err, jetstream.ErrKeyNotFound) {
		return e, 0, nil
	}
	if err != nil {
		return e, 0, err
	}
	if err := json.Unmarshal(found.Value(), &e); err != nil {
		return e, 0, fmt.Errorf("entry of station %q: %w", station, err)
	}
	return e, found.Revision(), nil
}

// take writes the next epoch over the entry that was read; nil = another was faster.
func (c *Cluster) take(ctx context.Context, station string, before entry, revision uint64) *Lease {
	if before.Epoch == math.MaxUint32 {
		return nil
	}
	next := before
	next.Epoch++
	next.Owner, next.Run = c.options.Name, random()
	if next.Ledger == "" {
		next.Ledger = random()
	}
	l := &Lease{cluster: c, station: station, started: time.Now(), lost: make(chan struct{}), ended: make(chan struct{}),
		entry: next, revision: revision, before: before}
	if err := l.write(ctx, func(*entry) {}); err != nil {
		return nil
	}
	running, stop := context.WithCancel(c.ctx)
	l.stop = stop
	go l.keep(running)
	return l
}

func random() string {
	var b [8]byte
	if _, err := rand.Read(b[:]); err != nil {
		panic(err) // the system gives no randomness: nothing can be told from anything
	}
	return hex.EncodeToString(b[:])
}

// errTaken says that the entry is another's.
var errTaken = errors.New("another daemon has taken the station")

// write puts an entry in the place of the one that this lease wrote or read last. A majority
// of the servers has it then. One write at a time: each is made of the one before.
func (l *Lease) write(ctx context.Context, change func(*entry)) error {
	l.turn.Lock()
	defer l.turn.Unlock()
	e, revision := l.next()
	change(&e)
	text, err := json.Marshal(e)
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(ctx, answerWithin)
	defer cancel()
	asked := time.Since(l.started)
	written, err := l.put(ctx, text, revision)
	if err != nil && !wrongRevision(err) {
		return err
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if err == nil {
		l.entry, l.revision, l.renewed = e, written, asked
		return nil
	}
	// Ours, of which the answer was lost, or another's.
	found, at, err := l.cluster.look(ctx, l.station)
	switch {
	case err != nil:
		return err
	case at > 0 && at < revision:
		return errors.New("the ledger servers do not agree on the newest entry yet")
	case found.Run != e.Run:
		return errTaken
	}
	l.entry.Epoch, l.revision = found.Epoch, at
	return errors.New("written before, when is not known")
}

func (l *Lease) put(ctx context.Context, text []byte, revision uint64) (uint64, error) {
	if revision == 0 { // also where somebody deleted the entry
		return l.cluster.owners.Create(ctx, l.station, text)
	}
	return l.cluster.owners.Update(ctx, l.station, text, revision)
}

func wrongRevision(err error) bool {
	var api *jetstream.APIError
	return errors.Is(err, jetstream.ErrKeyExists) || errors.Is(err, jetstream.ErrKeyRevisionMismatch) || errors.As(err, &api) &&
		(api.ErrorCode == jetstream.JSErrCodeStreamWrongLastSequence || api.ErrorCode == jetstream.JSErrCodeStreamWrongLastSequenceConstant)
}

// keep renews until the lease is given back or lost.
func (l *Lease) keep(ctx context.Context) {
	defer close(l.ended)
	ticker := time.NewTicker(l.cluster.options.LeaseEach)
	defer ticker.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-ticker.C:
		}
		if errors.Is(l.write(ctx, func(*entry) {}), errTaken) {
			l.lose()
			return
		}
	}
}

// next is the entry as it is to be renewed, and the revision in whose place it comes.
func (l *Lease) next() (entry, uint64) {
	l.mu.Lock()
	defer l.mu.Unlock()
	e := l.entry
	if l.head != nil {
		rows, hash := l.head()
		e.Rows, e.Hash = rows, hex.EncodeToString(hash[:])
	}
	return e, l.revision
}

func (l *Lease) lose() {
	l.mu.Lock()
	defer l.mu.Unlock()
	if !l.gone {
		l.gone = true
		close(l.lost)
	}
}

// Held says whether the station is surely this daemon's now. It asks nobody: a daemon that
// was paused finds its lease over when it wakes.
func (l *Lease) Held() bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	return !l.gone && time.Since(l.started)-l.renewed < ownerBelieves*l.cluster.options.LeaseEach
}

// Lost is closed once another daemon has taken the station.
func (l *Lease) Lost() <-chan struct{} { return l.lost }

// Instance names the station's ledger, whoever owns it.
func (l *Lease) Instance() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.entry.Ledger
}

// Begin returns this ownership's epoch, which no other ownership of the station has, had or
// will have. It is above the last that the ledger knows, where a person may have raised it.
func (l *Lease) Begin(ctx context.Context, last uint32) (uint32, error) {
	for {
		e, _ := l.next()
		switch {
		case e.Epoch > last:
			return e.Epoch, nil
		case last == math.MaxUint32:
			return 0, errors.New("the ledger holds the last epoch that there is")
		}
		if err := l.write(ctx, func(e *entry) { e.Epoch = last + 1 }); errors.Is(err, errTaken) || ctx.Err() != nil {
			return 0, fmt.Errorf("beginning epoch %d: %w", last+1, err)
		}
	}
}

// Release gives the station back, so that an heir need not wait.
func (l *Lease) Release() {
	l.stop()
	<-l.ended
	ctx, cancel := context.WithTimeout(context.Background(), answerWithin)
	defer cancel()
	_ = l.write(ctx, func(e *entry) { e.Owner = "" }) // an heir that is not told waits a few seconds
	l.lose()
}
