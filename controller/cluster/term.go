package cluster

import (
	"context"
	"encoding/hex"
	"fmt"

	"leat/safety/ledger"
)

// Term is one daemon's time as owner of a station: its lease and the ledger that it may write.
type Term struct {
	*Lease
	*Store
}

// Term waits for the station as Acquire does and opens its ledger.
func (c *Cluster) Term(ctx context.Context, station string, waiting func(owner string)) (*Term, error) {
	lease, err := c.Acquire(ctx, station, waiting)
	if err != nil {
		return nil, err
	}
	store, err := c.Store(ctx, station)
	if err == nil {
		err = lease.witness(store)
	}
	if err != nil {
		lease.Release()
		return nil, err
	}
	return &Term{lease, store}, nil
}

// witness compares the ledger with what the owner before had had acknowledged, and keeps
// the entry's word on it from now on.
func (l *Lease) witness(s *Store) error {
	rows, hash := s.Newest()
	told := l.before
	if rows < told.Rows || rows == told.Rows && rows > 0 && hex.EncodeToString(hash[:]) != told.Hash {
		return fmt.Errorf("%w: the servers end with row %d of station %q, but row %d was acknowledged (%s): an older copy of the servers' "+
			"data was put back, or the end was lost; doses given since are not in it. If that was on purpose, and every pump node has been "+
			"restarted, delete the key %s of the bucket %s", ledger.ErrBroken, rows, l.station, told.Rows, told.Hash, l.station, bucketName)
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.head = s.Newest
	return nil
}
