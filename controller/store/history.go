package store

import (
	"database/sql"
	"errors"
	"fmt"
	"math"
	"sync"
	"time"

	"leat/controller/diary"
)

// History gathers readings into minutes and writes them in one transaction each
// time Flush is called. Observe never touches the disk, so the event loop may
// call it; Flush belongs to the goroutine that writes.
type History struct {
	db   *DB
	keep time.Duration

	mu      sync.Mutex
	current map[string]*minuteSum
	done    []minuteSum   // complete minutes that wait for Flush
	events  []diary.Event // that wait for Flush
	urgent  bool          // one of them says what a reader needs for all others
	newest  int64         // newest minute observed
	dropped uint64

	flushing sync.Mutex
	ids      map[string]int64 // by input name; guarded by flushing
	pruned   int64            // minute of the last pruning
}

type minuteSum struct {
	input          string
	at             int64 // minutes since 1970
	count          int
	low, sum, high float64
}

// Bounds of what waits for the disk: with it gone for hours, the oldest minutes
// are dropped and counted rather than kept in memory.
const (
	mostWaiting = 20_000
	mostInputs  = 4096
	mostEvents  = 50_000
	pruneEvery  = 60 // minutes
)

// hoursKept is how many times as long hours are kept as minutes, of which they are a
// sixtieth.
const hoursKept = 10

// DefaultKeep is how long minutes are kept unless KeepFor says otherwise: two
// years, so that a season can be compared with the one before.
const DefaultKeep = 2 * 366 * 24 * time.Hour

// History is the file's history of readings. Call it once.
func (db *DB) History() *History {
	return &History{db: db, keep: DefaultKeep, current: map[string]*minuteSum{}, ids: map[string]int64{}, pruned: math.MinInt64 / 2}
}

// KeepFor sets the age at which minutes are pruned; 0 or less keeps all.
func (h *History) KeepFor(age time.Duration) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.keep = age
}

// Observe adds a reading. Values that are not numbers are left out.
func (h *History) Observe(wall time.Time, input string, value float64) {
	if math.IsNaN(value) || math.IsInf(value, 0) || input == "" {
		return
	}
	at := minuteOf(wall)
	h.mu.Lock()
	defer h.mu.Unlock()
	h.newest = at
	sum, known := h.current[input]
	switch {
	case !known && len(h.current) >= mostInputs:
		h.dropped++
		return
	case !known:
		sum = &minuteSum{}
		h.current[input] = sum
	case sum.at != at:
		h.complete(sum)
	}
	if sum.count == 0 {
		*sum = minuteSum{input: input, at: at, low: value, high: value}
	}
	sum.count++
	sum.sum += value
	sum.low = min(sum.low, value)
	sum.high = max(sum.high, value)
}

// complete moves a minute to those that wait and empties it.
func (h *History) complete(sum *minuteSum) {
	if sum.count > 0 {
		if len(h.done) >= mostWaiting {
			h.done = h.done[1:]
			h.dropped++
		}
		h.done = append(h.done, *sum)
	}
	sum.count = 0
}

// Dropped is how many minutes or readings were lost because the disk was gone or
// there were too many inputs.
func (h *History) Dropped() uint64 {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.dropped
}

// Note adds an event. Like Observe it never touches the disk.
func (h *History) Note(e diary.Event) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if len(h.events) >= mostEvents {
		h.dropped++
		return
	}
	h.events = append(h.events, e)
	h.urgent = h.urgent || e.Kind == diary.KindStation
}

// Due says whether a minute is complete and waits for Flush, or an event of one that is
// over now.
func (h *History) Due(now time.Time) bool {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.urgent || len(h.done) > 0 || len(h.events) > 0 && minuteOf(h.events[0].At) != minuteOf(now) {
		return true
	}
	for _, sum := range h.current {
		if sum.count > 0 && sum.at != h.newest {
			return true
		}
	}
	return false
}

// Flush writes what was gathered, the minute under way included, in one
// transaction. What could not be written waits for the next Flush.
func (h *History) Flush() error {
	h.flushing.Lock()
	defer h.flushing.Unlock()
	h.mu.Lock()
	for _, sum := range h.current {
		h.complete(sum)
	}
	waiting, events, keep, newest := h.done, h.events, h.keep, h.newest
	h.done, h.events, h.urgent = nil, nil, false
	h.mu.Unlock()
	if len(waiting) == 0 && len(events) == 0 {
		return nil
	}
	err := h.write(waiting, events, keep, newest)
	if err != nil {
		// Ids of inputs that the transaction made are gone with it.
		clear(h.ids)
		h.mu.Lock()
		h.events = append(events, h.events...)
		h.done = append(waiting, h.done...)
		if over := len(h.done) - mostWaiting; over > 0 {
			h.done = h.done[over:]
			h.dropped += uint64(over)
		}
		h.mu.Unlock()
	}
	return err
}

// A minute is added to one that was written before, at a restart or when the wall clock
// went back, and to its hour, from which a month or a year is drawn.
const (
	mergeMinute = `INSERT INTO minute ` + merge
	mergeHour   = `INSERT INTO hour ` + merge
	merge       = `(input, at, count, low, mean, high) VALUES (?, ?, ?, ?, ?, ?)
ON CONFLICT (input, at) DO UPDATE SET
	mean = (mean * count + excluded.mean * excluded.count) / (count + excluded.count),
	count = count + excluded.count, low = min(low, excluded.low), high = max(high, excluded.high)`
)

func (h *History) write(waiting []minuteSum, events []diary.Event, keep time.Duration, newest int64) error {
	prune := keep > 0 && (newest-h.pruned >= pruneEvery || newest < h.pruned)
	err := h.db.inTransaction(func(tx *sql.Tx) error {
		for _, sum := range waiting {
			id, err := h.idOf(tx, sum.input)
			if err != nil {
				return err
			}
			mean := min(max(sum.sum/float64(sum.count), sum.low), sum.high)
			for merge, at := range map[string]int64{mergeMinute: sum.at, mergeHour: hourOf(sum.at)} {
				if _, err := tx.Exec(merge, id, at, sum.count, sum.low, mean, sum.high); err != nil {
					return err
				}
			}
		}
		if err := writeEvents(tx, events); err != nil || !prune {
			return err
		}
		before := newest - int64(keep/time.Minute)
		old := newest - hoursKept*int64(keep/time.Minute)
		_, err := tx.Exec(`DELETE FROM hour WHERE at < ?1 AND at < (SELECT min(at) FROM hour) + 24`, hourOf(old))
		return errors.Join(err, pruneMinutes(tx, before), pruneEvents(tx, before))
	})
	if err == nil && prune {
		h.pruned = newest
	}
	return err
}

// prunedAtOnce bounds what one pruning deletes of an input: a wall clock that is
// years ahead for an hour costs a day of the oldest minutes rather than all, and
// an append to the ledger never waits long behind it.
const prunedAtOnce = 24 * 60

func pruneMinutes(tx *sql.Tx, before int64) error {
	var ids []int64
	found, err := tx.Query(`SELECT id FROM input`)
	if err != nil {
		return err
	}
	defer func() { _ = found.Close() }() // its error is that of Err
	for found.Next() {
		var id int64
		if err := found.Scan(&id); err != nil {
			return err
		}
		ids = append(ids, id)
	}
	if err := found.Err(); err != nil {
		return err
	}
	// Input by input: a join would read every minute there is.
	for _, id := range ids {
		_, err := tx.Exec(`DELETE FROM minute WHERE input = ?1 AND at < ?2 AND at < (SELECT min(at) FROM minute WHERE input = ?1) + ?3`,
			id, before, prunedAtOnce)
		if err != nil {
			return err
		}
	}
	return nil
}

func (h *History) idOf(tx *sql.Tx, input string) (int64, error) {
	if id, known := h.ids[input]; known {
		return id, nil
	}
	if _, err := tx.Exec(`INSERT INTO input (name) VALUES (?) ON CONFLICT (name) DO NOTHING`, input); err != nil {
		return 0, err
	}
	var id int64
	if err := tx.QueryRow(`SELECT id FROM input WHERE name = ?`, input).Scan(&id); err != nil {
		return 0, err
	}
	h.ids[input] = id
	return id, nil
}

// inTransaction runs do in one write transaction.
func (db *DB) inTransaction(do func(*sql.Tx) error) error {
	db.turn.Lock()
	defer db.turn.Unlock()
	if err := db.writable(); err != nil {
		return err
	}
	defer db.place.note()
	tx, err := db.write.Begin()
	if err != nil {
		return db.classify(err)
	}
	if err := do(tx); err != nil {
		_ = tx.Rollback() // the first error is the one that tells
		return db.classify(err)
	}
	return db.classify(tx.Commit())
}

// Readings are the minutes of one input that begin in [from, to), in order.
// Minutes that still wait for Flush are not among them.
func (r *Record) Readings(input string, from, to time.Time) ([]diary.Minute, error) {
	found, err := r.read.Query(`SELECT at, count, low, mean, high FROM minute
		WHERE input = (SELECT id FROM input WHERE name = ?) AND at >= ? AND at < ? ORDER BY at`,
		input, firstMinute(from), firstMinute(to))
	if err != nil {
		return nil, fmt.Errorf("readings of %s: %w", input, err)
	}
	defer func() { _ = found.Close() }() // its error is that of Err
	var minutes []diary.Minute
	for found.Next() {
		var at int64
		var m diary.Minute
		if err := found.Scan(&at, &m.Count, &m.Low, &m.Mean, &m.Top); err != nil {
			return nil, fmt.Errorf("readings of %s: %w", input, err)
		}
		m.At = time.Unix(at*60, 0).UTC()
		minutes = append(minutes, m)
	}
	return minutes, found.Err()
}

// Inputs are the names of all inputs that have readings, sorted.
func (r *Record) Inputs() ([]string, error) {
	found, err := r.read.Query(`SELECT name FROM input ORDER BY name`)
	if err != nil {
		return nil, err
	}
	defer func() { _ = found.Close() }() // its error is that of Err
	var names []string
	for found.Next() {
		var name string
		if err := found.Scan(&name); err != nil {
			return nil, err
		}
		names = append(names, name)
	}
	return names, found.Err()
}

// minuteOf is the minute a moment lies in.
func minuteOf(t time.Time) int64 {
	seconds := t.Unix()
	if seconds < 0 {
		seconds -= 59 // toward the past, as for later moments
	}
	return seconds / 60
}

// hourOf is the hour that a minute lies in.
func hourOf(minute int64) int64 { return minute / 60 }

// firstMinute is the first minute that begins at or after t. Times beyond what
// the calendar of the record holds stand for "no limit".
func firstMinute(t time.Time) int64 {
	at := minuteOf(t)
	if t.After(time.Unix(at*60, 0)) {
		at++
	}
	return at
}
