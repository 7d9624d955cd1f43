package app

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"go.uber.org/zap"

	"leat/controller"
	"leat/controller/store"
	"leat/dosing"
	"leat/safety/ledger"
)

// Term is this daemon's time as owner of a station whose ledger several daemons share.
type Term interface {
	ledger.Store
	// Begin returns the epoch of this term, above the last that the ledger knows. No other
	// term of the station has it.
	Begin(ctx context.Context, last uint32) (uint32, error)
	// Instance names the ledger, whoever owns the station.
	Instance() string
	// Held says whether the station is surely ours now. It asks nobody.
	Held() bool
	// Beat says that the decisions go on.
	Beat()
	// Lost is closed when another daemon has taken the station.
	Lost() <-chan struct{}
	// Release gives the station back.
	Release()
}

// ErrTaken says that another daemon has taken the station.
var ErrTaken = errors.New("another daemon has taken this station")

// InTurn runs the station whenever this daemon's turn comes, until ctx ends or something
// fails that another try does not cure. tell tells a supervisor; nil = systemd where there is one.
func InTurn(ctx context.Context, log *zap.Logger, tell func(state string), next func(context.Context) (Term, error), run func(context.Context, Term) error) error {
	if tell == nil {
		tell = supervise
	}
	for {
		term, err := standBy(ctx, tell, next)
		if err != nil {
			if ctx.Err() != nil {
				return nil //nolint:nilerr // it was told to end
			}
			return err
		}
		if err := run(ctx, term); !errors.Is(err, ErrTaken) {
			return err
		}
		log.Warn("another daemon has taken this station: waiting for the next turn")
	}
}

// attendEvery is how often a supervisor hears of a daemon that stands by.
const attendEvery = 2 * time.Second

// standBy waits for the next turn. To a supervisor a daemon that stands by has started, and it
// is alive.
func standBy(ctx context.Context, tell func(string), next func(context.Context) (Term, error)) (Term, error) {
	tell("READY=1")
	waiting, end := context.WithCancel(ctx)
	var group sync.WaitGroup
	defer group.Wait()
	defer end()
	group.Go(func() {
		for waiting.Err() == nil {
			tell("WATCHDOG=1")
			select {
			case <-waiting.Done():
			case <-time.After(attendEvery):
			}
		}
	})
	return next(ctx)
}

// copied is a shared ledger with its copy in the state folder, from which this daemon starts
// without the servers' help, and which reports, exports and backups read. The servers' rows
// are the record: one that the folder cannot take is copied at the next start.
type copied struct {
	shared ledger.Store
	folder *store.DB
	log    *zap.Logger
	behind bool
}

func (c *copied) Append(row ledger.Row) error {
	if err := c.shared.Append(row); err != nil {
		return err
	}
	if c.behind {
		return nil
	}
	if err := c.folder.Append(row); err != nil {
		c.behind = true
		c.log.Error("the state folder's copy of the ledger ends here until the next start", zap.Uint64("row", row.Sequence), zap.Error(err))
	}
	return nil
}

func (c *copied) Load(from uint64, each func(ledger.Row) error) error {
	return c.folder.Load(from, each)
}

// catchUp brings the copy to the end of the shared ledger. A folder whose rows the servers do
// not have is another ledger's; where they have none at all, they get the folder's: so a farm
// that had one daemon moves to several.
func (c *copied) catchUp() error {
	rows, hash, err := store.Newest(c.folder.Record)
	if err != nil {
		return err
	}
	met, began, taken := rows == 0, time.Now(), 0
	err = c.shared.Load(max(rows, 1), func(row ledger.Row) error {
		if row.Sequence == rows {
			if met = row.Hash == hash; !met {
				return fmt.Errorf("%w: row %d of the state folder is not the one that the ledger servers hold: the folder belongs to another ledger; "+
					"move it away, and it is filled anew", ledger.ErrBroken, rows)
			}
			return nil
		}
		taken++
		return c.folder.Append(row)
	})
	switch {
	case err != nil:
		return err
	case !met:
		if err := c.handOver(rows); err != nil {
			return err
		}
	}
	c.log.Info("the state folder has the shared ledger", zap.Uint64("rows_before", rows), zap.Int("rows_taken", taken), zap.Duration("in", time.Since(began)))
	return nil
}

// handOver gives the servers the folder's rows, where they have none.
func (c *copied) handOver(rows uint64) error {
	some := errors.New("some")
	if err := c.shared.Load(1, func(ledger.Row) error { return some }); err != nil {
		if errors.Is(err, some) {
			return fmt.Errorf("%w: the state folder ends with row %d, which the ledger servers do not hold: an older copy of their data was put back; "+
				"doses given since are not in it", ledger.ErrBroken, rows)
		}
		return err
	}
	c.log.Warn("the ledger servers hold nothing of this station: they get the state folder's ledger", zap.Uint64("rows", rows))
	return c.folder.Load(1, c.shared.Append)
}

// rows is where the ledger is kept.
func (g *gear) rows() (ledger.Store, error) {
	if g.term == nil {
		return g.db, nil
	}
	g.owner.instance = g.term.Instance()
	c := &copied{shared: g.term, folder: g.db, log: g.log}
	return c, c.catchUp()
}

// openLedger verifies the ledger and makes it ready to append.
func (g *gear) openLedger() (rows ledger.Store, book *ledger.Ledger, err error) {
	if rows, err = g.rows(); err != nil {
		return nil, nil, err
	}
	book, err = ledger.Open(slowed(rows))
	if errors.Is(err, ledger.ErrBroken) {
		err = fmt.Errorf("%w; the daemon does not dose on a record that was changed: look at it with leat ledger verify, then move the folder away to begin a new one", err)
	}
	return rows, book, err
}

// replay is what the ledger says. Where it is shared, the run's epoch is the one that the servers
// gave.
func (g *gear) replay(rows ledger.Store, now dosing.Instant) (ledger.State, error) {
	restored, err := ledger.Replay(rows, now, false)
	if err != nil {
		return restored, fmt.Errorf("replaying the ledger: %w", err)
	}
	sayCrashLoop(g.log, restored.Starts)
	if g.term == nil {
		return restored, nil
	}
	ctx, cancel := context.WithTimeout(context.Background(), answerWithin)
	defer cancel()
	epoch, err := g.term.Begin(ctx, restored.LastEpoch)
	if err != nil {
		return restored, fmt.Errorf("%w: %w", ErrTaken, err)
	}
	restored.LastEpoch = epoch - 1
	return restored, nil
}

// sayCrashLoop tells whoever reads the log that a supervisor starts the program over and over; before is how many starts the
// last ten minutes had.
func sayCrashLoop(log *zap.Logger, before int) {
	switch {
	case before > controller.CrashLoop-1:
		log.Error("crash loop: every tank only observes until a person arms it; read what the program said last before it ended", zap.Int("starts in ten minutes", before+1))
	case before == controller.CrashLoop-1:
		log.Warn("crash loop: this is the third start in ten minutes; from the next on every tank only observes", zap.Int("starts in ten minutes", before+1))
	}
}

// watchTerm holds all doses while it is in doubt whether the station is ours.
func (dr *driver) watchTerm(now dosing.Instant) {
	if dr.term == nil {
		return
	}
	dr.term.Beat()
	if apart := !dr.term.Held(); apart != dr.record.apart {
		dr.record.apart = apart
		dr.tellRecord(now)
	}
}

// leads says whether this daemon owns the station now, by the broker's word and, where the
// ledger is shared, by the servers'.
func (g *gear) leads() bool { return g.owner.owns && g.termHeld() }

func (g *gear) termHeld() bool { return g.term == nil || g.term.Held() }

// termLost is closed when another daemon has taken the station; nil = never.
func (g *gear) termLost() <-chan struct{} {
	if g.term == nil {
		return nil
	}
	return g.term.Lost()
}

// replaced says whether another daemon has taken the station: pumps are its business now.
func (g *gear) replaced() bool {
	select {
	case <-g.termLost():
		return true
	default:
		return false
	}
}
