package app

import (
	"fmt"
	"sync/atomic"
	"time"
)

// The decision loop steps once a second. Ready fails when its last step is older
// than readyWithin, and alive, by which a supervisor may restart the daemon, when it
// is older than aliveWithin.
const (
	readyWithin = 5 * time.Second
	aliveWithin = 15 * time.Second
)

// pulse is when the loop last stepped, for whoever asks from another goroutine: a
// hung loop cannot be asked itself.
type pulse struct {
	since time.Time // of which the steps are counted; the monotonic clock's
	last  atomic.Int64
}

func (p *pulse) beat() { p.last.Store(int64(time.Since(p.since))) }

// age is how long ago the loop stepped.
func (p *pulse) age() time.Duration { return time.Since(p.since) - time.Duration(p.last.Load()) }

// within says why the loop counts as hung, or nil.
func (p *pulse) within(limit time.Duration) error {
	if age := p.age(); age > limit {
		return fmt.Errorf("the decision loop took its last step %s ago", age.Round(time.Second))
	}
	return nil
}
