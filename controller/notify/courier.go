package notify

import (
	"cmp"
	"context"
	"slices"
	"sync"
	"time"

	"go.uber.org/zap"
)

// How a door that does not take a letter is tried again. A letter of twelve hours ago helps
// nobody any more.
const (
	firstPause  = 2 * time.Second
	longPause   = 5 * time.Minute
	letterLasts = 12 * time.Hour
	oneTry      = 20 * time.Second
	mostWaiting = 200
)

// door is a way out.
type door interface {
	name() string
	deliver(context.Context, *Letter) error
	close()
}

// courier takes letters to one door, in a goroutine of its own.
type courier struct {
	door
	log   *zap.Logger
	count func(door, outcome string)
	took  func(*Letter) // a letter was delivered
	first time.Duration // pause after a first failure

	mu      sync.Mutex
	waiting []*Letter
	woken   chan struct{} // has room for one
}

// hand adds a letter. It never waits: a full list loses the least urgent and oldest.
func (c *courier) hand(l *Letter) {
	own := *l // each door counts its own tries
	own.born = time.Now()
	c.mu.Lock()
	c.waiting = append(c.waiting, &own)
	lost := len(c.waiting) > mostWaiting
	if lost {
		last := slices.MaxFunc(c.waiting, func(a, b *Letter) int {
			return cmp.Or(cmp.Compare(a.Priority, b.Priority), b.born.Compare(a.born))
		})
		c.waiting = slices.DeleteFunc(c.waiting, func(l *Letter) bool { return l == last })
	}
	c.mu.Unlock()
	if lost {
		c.count(c.name(), "dropped")
		c.log.Error("notification dropped: too many wait", zap.String("way", c.name()))
	}
	select {
	case c.woken <- struct{}{}:
	default:
	}
}

// pick takes the letter that is to go next: of those that are due, the least tried, then the
// most urgent, then the oldest. Without one it says how long to wait.
func (c *courier) pick(now time.Time) (*Letter, time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	kept := c.waiting[:0]
	for _, l := range c.waiting {
		if now.Sub(l.born) < letterLasts {
			kept = append(kept, l)
			continue
		}
		c.count(c.name(), "dropped")
		c.log.Error("notification given up", zap.String("way", c.name()), zap.String("cause", l.Cause), zap.Int("tries", l.tries))
	}
	c.waiting = kept
	if len(kept) == 0 {
		return nil, time.Hour
	}
	best := slices.MinFunc(kept, func(a, b *Letter) int {
		return cmp.Or(cmp.Compare(max(0, a.next.Sub(now)), max(0, b.next.Sub(now))), cmp.Compare(a.tries, b.tries), cmp.Compare(a.Priority, b.Priority), a.born.Compare(b.born))
	})
	if wait := best.next.Sub(now); wait > 0 {
		return nil, wait
	}
	c.waiting = slices.DeleteFunc(c.waiting, func(l *Letter) bool { return l == best })
	return best, 0
}

// run carries letters until ctx ends.
func (c *courier) run(ctx context.Context) {
	defer c.close()
	for ctx.Err() == nil {
		l, wait := c.pick(time.Now())
		if l == nil {
			timer := time.NewTimer(wait)
			select {
			case <-ctx.Done():
			case <-c.woken:
			case <-timer.C:
			}
			timer.Stop()
			continue
		}
		c.try(ctx, l)
	}
}

func (c *courier) try(ctx context.Context, l *Letter) {
	trying, done := context.WithTimeout(ctx, oneTry)
	defer done()
	err := c.deliver(trying, l)
	if err == nil {
		c.count(c.name(), "sent")
		c.took(l)
		return
	}
	c.count(c.name(), "failed")
	pause := min(longPause, c.first<<min(l.tries, 20))
	l.tries++
	l.next = time.Now().Add(pause)
	c.log.Warn("notification failed", zap.String("way", c.name()), zap.String("cause", l.Cause), zap.Int("tries", l.tries), zap.Duration("next", pause), zap.Error(err))
	c.mu.Lock()
	c.waiting = append(c.waiting, l)
	c.mu.Unlock()
}
