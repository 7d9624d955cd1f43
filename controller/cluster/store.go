package cluster

import (
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"leat/safety/ledger"
)

// Headers of a row. Its body is the message.
const (
	headSequence = "Leat-Sequence"
	headPrevious = "Leat-Previous"
	headHash     = "Leat-Hash"
)

// ErrTaken says that another daemon has appended to the ledger: this one owns the station
// no longer. It wraps ledger.ErrFailed.
var ErrTaken = fmt.Errorf("another daemon has appended to this station's ledger: %w", ledger.ErrFailed)

// Store is one station's ledger on the servers.
type Store struct {
	cluster *Cluster
	subject string

	mu     sync.Mutex
	rows   uint64      // number of the newest row
	hash   [32]byte    // and its hash
	last   uint64      // sequence of its message in the stream
	doubt  *ledger.Row // published and neither acknowledged nor refused
	failed error       // set once; every later append fails with it
}

// Store opens a station's ledger for one writer.
func (c *Cluster) Store(ctx context.Context, station string) (*Store, error) {
	subject, err := subjectOf(station)
	if err != nil {
		return nil, err
	}
	s := &Store{cluster: c, subject: subject}
	newest, err := s.newest(ctx)
	if err != nil || newest == nil {
		return s, err
	}
	s.last = newest.Sequence
	row, err := rowOf(newest.Header, newest.Data)
	if err != nil {
		// Load says so too, with the place in the chain.
		s.failed = fmt.Errorf("%w: message %d of %s is not leat's: %w", ledger.ErrFailed, newest.Sequence, subject, err)
	}
	s.rows, s.hash = row.Sequence, row.Hash
	return s, nil
}

// newest is the last message of the subject, asked of the stream's leader; nil = none.
func (s *Store) newest(ctx context.Context) (*jetstream.RawStreamMsg, error) {
	ctx, cancel := context.WithTimeout(ctx, 5*time.Second)
	defer cancel()
	m, err := s.cluster.stream.GetLastMsgForSubject(ctx, s.subject)
	if errors.Is(err, jetstream.ErrMsgNotFound) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("newest row of %s: %w", s.subject, err)
	}
	return m, nil
}

// Append makes the row durable before it returns nil.
func (s *Store) Append(row ledger.Row) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	switch {
	case s.failed != nil:
		return s.failed
	case row.Sequence != s.rows+1:
		return s.fail(fmt.Errorf("%w: row %d does not follow row %d", ledger.ErrFailed, row.Sequence, s.rows))
	case s.doubt != nil && s.doubt.Hash != row.Hash:
		return s.fail(fmt.Errorf("%w: row %d was published before with other content, and nobody knows whether it is stored", ledger.ErrFailed, row.Sequence))
	}
	var err error
	for end := time.Now().Add(s.cluster.options.Patience); ; {
		if err = s.publish(row); err == nil || s.failed != nil || errors.Is(err, ledger.ErrFull) && s.doubt == nil {
			return err
		}
		if time.Now().After(end) || s.cluster.ctx.Err() != nil {
			return fmt.Errorf("%w: no majority of the ledger servers acknowledges row %d: %w", ledger.ErrFull, row.Sequence, err)
		}
		time.Sleep(100 * time.Millisecond) // a refusal may come at once
	}
}

func (s *Store) fail(err error) error {
	s.failed = err
	return err
}

// publish tries once.
func (s *Store) publish(row ledger.Row) error {
	ctx, cancel := context.WithTimeout(s.cluster.ctx, answerWithin)
	defer cancel()
	m := nats.NewMsg(s.subject)
	m.Data = row.Body
	m.Header.Set(headSequence, strconv.FormatUint(row.Sequence, 10))
	m.Header.Set(headPrevious, hex.EncodeToString(row.Previous[:]))
	m.Header.Set(headHash, hex.EncodeToString(row.Hash[:]))
	if int64(m.Size()) > s.cluster.conn.MaxPayload() {
		return s.fail(fmt.Errorf("%w: row %d has %d bytes, and the ledger servers take %d", ledger.ErrFailed, row.Sequence, m.Size(), s.cluster.conn.MaxPayload()))
	}
	ack, err := s.cluster.js.PublishMsg(ctx, m, jetstream.WithExpectStream(streamName),
		jetstream.WithExpectLastSequencePerSubject(s.last), jetstream.WithRetryAttempts(0))
	if err == nil {
		s.stored(row, ack.Sequence)
		return nil
	}
	return s.refused(row, err)
}

func (s *Store) stored(row ledger.Row, sequence uint64) {
	s.rows, s.hash, s.last, s.doubt = row.Sequence, row.Hash, sequence, nil
}

// Codes of the servers that the client's package does not name.
const (
	codeInsufficientResources = 10023
	codeStorageExceeded       = 10047
	codeStoreFailed           = 10077
)

// refused says what a publication without acknowledgement means.
func (s *Store) refused(row ledger.Row, err error) error {
	var api *jetstream.APIError
	if !errors.As(err, &api) {
		s.doubt = &row // no answer: it may be stored all the same
		return err
	}
	switch {
	case api.ErrorCode == jetstream.JSErrCodeStreamWrongLastSequence, api.ErrorCode == jetstream.JSErrCodeStreamWrongLastSequenceConstant:
		return s.overtaken(row)
	case api.ErrorCode == jetstream.JSErrCodeStreamMessageExceedsMaximum:
		return s.fail(fmt.Errorf("%w: row %d: %w", ledger.ErrFailed, row.Sequence, err))
	case s.doubt == nil && full(api):
		return fmt.Errorf("%w: the ledger servers have no room: %w", ledger.ErrFull, err)
	case !full(api):
		s.doubt = &row
	}
	return err
}

func full(api *jetstream.APIError) bool {
	return api.ErrorCode == codeInsufficientResources || api.ErrorCode == codeStorageExceeded ||
		api.ErrorCode == codeStoreFailed && strings.Contains(api.Description, "maximum")
}

// overtaken looks at what stands where the row was to stand: the row itself, whose
// acknowledgement was lost, or another daemon's.
func (s *Store) overtaken(row ledger.Row) error {
	newest, err := s.newest(s.cluster.ctx)
	if err != nil {
		s.doubt = &row
		return err
	}
	if newest == nil {
		return s.fail(fmt.Errorf("%w: the servers hold no row of %s any more", ledger.ErrFailed, s.subject))
	}
	switch found, err := rowOf(newest.Header, newest.Data); {
	case err == nil && found.Sequence == row.Sequence && found.Hash == row.Hash:
		s.stored(row, newest.Sequence)
		return nil
	case newest.Sequence == s.last:
		// The server that answered before and the one that answers now see different ends: one of
		// them is behind. The row may be under way.
		s.doubt = &row
		return errors.New("the ledger servers do not agree on the newest row yet")
	}
	return s.fail(fmt.Errorf("row %d of %s: %w", row.Sequence, s.subject, ErrTaken))
}

// Newest is number and hash of the newest row; zeros for an empty ledger.
func (s *Store) Newest() (rows uint64, hash [32]byte) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.rows, s.hash
}

var errNotOurs = errors.New("it has not the headers of a row")

// rowOf reads a message as a row.
func rowOf(h nats.Header, body []byte) (row ledger.Row, err error) {
	row.Body = body
	if row.Sequence, err = strconv.ParseUint(h.Get(headSequence), 10, 64); err != nil || row.Sequence == 0 {
		return ledger.Row{}, errNotOurs
	}
	for _, part := range []struct {
		name string
		into *[32]byte
	}{{headPrevious, &row.Previous}, {headHash, &row.Hash}} {
		text := h.Get(part.name)
		if len(text) != 64 {
			return ledger.Row{}, errNotOurs
		}
		if _, err := hex.Decode(part.into[:], []byte(text)); err != nil {
			return ledger.Row{}, errNotOurs
		}
	}
	return row, nil
}
