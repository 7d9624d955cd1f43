package cluster

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"leat/safety/ledger"
)

// Load calls each for every row from the given number on. Each row is asked of the stream's
// leader: a consumer may sit on a server that lags, and what it does not deliver looks like
// the end of the record.
func (s *Store) Load(from uint64, each func(ledger.Row) error) error {
	// Row n stands nowhere before message n: each row is a message of its own.
	for next, behind := max(from, 1), uint64(0); ; {
		m, err := s.message(next)
		switch {
		case errors.Is(err, jetstream.ErrMsgNotFound):
			return nil
		case err != nil:
			return fmt.Errorf("reading %s behind row %d: %w", s.subject, behind, err)
		}
		next = m.Sequence + 1
		row, err := rowOf(m.Header, m.Data)
		if err != nil {
			return fmt.Errorf("%w behind row %d: message %d of %s is not leat's: %w; see who can publish there beside leat, and take it out with the servers' own tools",
				ledger.ErrBroken, behind, m.Sequence, s.subject, err)
		}
		behind = row.Sequence
		if row.Sequence < from {
			continue
		}
		if err := each(row); err != nil {
			return err
		}
	}
}

// message is the subject's first message from a place of the stream on. A server that is
// gone is asked for again while another takes its place.
func (s *Store) message(from uint64) (*jetstream.RawStreamMsg, error) {
	for end := time.Now().Add(s.cluster.options.Patience); ; {
		ctx, cancel := context.WithTimeout(s.cluster.ctx, answerWithin)
		m, err := s.cluster.stream.GetMsg(ctx, from, jetstream.WithGetMsgSubject(s.subject))
		cancel()
		if err == nil || errors.Is(err, jetstream.ErrMsgNotFound) || time.Now().After(end) || s.cluster.ctx.Err() != nil {
			return m, err
		}
		time.Sleep(100 * time.Millisecond)
	}
}
