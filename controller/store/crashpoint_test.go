//go:build linux

package store_test

import (
	"cmp"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"testing"
	"time"

	"leat/controller"
	"leat/controller/sim"
	"leat/controller/store"
	"leat/dosing"
	"leat/safety/ledger"
)

// crashCase is one end of the evening's daemon, and of the next one if that is to end too.
type crashCase struct {
	change int // of the folder, before which it ends, or in which it ends when torn
	moment int // of the daemon's life, counted from 0; -1 = before its core stands
	inside bool
	crash
	again bool
	kind  string
}

func (c crashCase) String() string {
	text := fmt.Sprintf("%s (change %d, moment %d), %s", c.kind, c.change, c.moment, lossNames[c.Loss])
	if c.again {
		text += ", and once more during the recovery"
	}
	return text
}

// played is the evening as it was, with all that was done to the folder.
type played struct {
	bench *bench
	notes *notes
	marks []mark
	rows  int
	given int
}

// mark says which change came next when the daemon passed a moment.
type mark struct {
	moment moment
	change int
}

// planted is a fault of the daemon or its disk, for the test of the test.
type planted struct {
	name  string
	store func(ledger.Store) ledger.Store
	lies  bool // the disk acknowledges a sync and does none
}

var sound = planted{store: func(s ledger.Store) ledger.Store { return s }}

// lateStore says that a row is durable and writes it when the next one comes.
type lateStore struct {
	ledger.Store
	waiting *ledger.Row
}

func (s *lateStore) Append(row ledger.Row) error {
	if s.waiting != nil {
		if err := s.Store.Append(*s.waiting); err != nil {
			return err
		}
	}
	s.waiting = &row
	return nil
}

// playEvening plays the evening once on the real store, in a folder that holds base, and notes everything.
func playEvening(t *testing.T, b *bench, base map[string][]byte, plant planted) *played {
	t.Helper()
	p := &played{bench: b, notes: take(t, folder(t, memoryFolder(t), base), base)}
	p.notes.lies = plant.lies
	db, err := store.Open(p.notes.dir)
	if err != nil {
		t.Fatal(err)
	}
	farm, err := b.farm()
	if err != nil {
		t.Fatal(err)
	}
	l, err := b.live(farm, plant.store(db), begins, nothing(), func(l *life) {
		l.passed = func(m moment) bool {
			p.marks = append(p.marks, mark{m, p.notes.length()})
			return false
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	history, minute := db.History(), 0
	// History, audit and people share the file; their writes stand between those of the ledger.
	l.play(evening, true, func() {
		minute++
		for _, input := range []string{"pH tub", "EC tub", "temperature tub", "level tub"} {
			history.Observe(begins.Add(time.Duration(minute)*time.Minute), input, float64(minute))
		}
		err := errors.Join(history.Flush(), db.Audit(begins, "ada", "page", "sign-in", ""))
		if err != nil {
			t.Fatal(err)
		}
	})
	p.notes.length() // the last witness
	p.rows, p.given = int(l.newest), len(l.orders)
	if len(l.faults) > 0 || l.dead {
		t.Fatalf("the evening itself: %q", l.faults)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	return p
}

var begins = time.Date(2026, 3, 1, 18, 0, 0, 0, time.UTC)

// usedFolder is the state of a daemon that was killed with its log nearly full: during the evening
// SQLite brings the log into the database and begins it anew.
func usedFolder(t *testing.T) map[string][]byte {
	t.Helper()
	n := take(t, memoryFolder(t), nil)
	db, err := store.Open(n.dir)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	const pages, page = 700, 4096 + 24 // of the 1000 after which SQLite does so
	for {
		files := n.image(n.length(), crash{}, rand.New(rand.NewPCG(1, 1)))
		if len(files[wal]) > pages*page {
			return files
		}
		for range 20 {
			if err := db.Audit(begins, "ada", "page", "sign-in", "before this evening"); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// whileTheLogIsBroughtIn are the ends around the writes of the database itself.
func (p *played) whileTheLogIsBroughtIn() []crashCase {
	first, last := -1, -1
	for k, c := range p.notes.changes {
		if c.file == database && first < 0 {
			first = k
		}
		if c.file == database {
			last = k
		}
	}
	return slices.DeleteFunc(p.cases(), func(c crashCase) bool { return first < 0 || c.change < first-20 || c.change > last+60 })
}

// cases are all ends of the evening.
func (p *played) cases() []crashCase {
	var all []crashCase
	add := func(c crashCase) {
		for l := range lossCount {
			c.Loss = l
			for _, c.again = range []bool{false, true} {
				all = append(all, c)
			}
		}
	}
	// Changes belong to the moment before them: to the row under way or, of history, audit and the
	// first start, to none.
	next := 0
	for k := range p.notes.changes {
		for next < len(p.marks) && p.marks[next].change <= k {
			next++
		}
		c := crashCase{change: k, moment: next, kind: "before a " + p.notes.changes[k].name()}
		switch {
		case next == 0:
			c.moment = -1
		case p.marks[next-1].moment == rowBegins:
			c.moment, c.inside = next-1, true
		}
		add(c)
		if p.notes.changes[k].kind == wrote {
			c.Torn, c.kind = true, "in a "+p.notes.changes[k].name()
			add(c)
		}
	}
	for i, m := range p.marks {
		add(crashCase{change: m.change, moment: i, kind: momentNames[m.moment]})
	}
	return all
}

func (c *change) name() string {
	return [...]string{"write", "truncation", "sync", "removal"}[c.kind] + " of " + c.file
}

// check ends the evening as the case says, starts the daemon again from what is left, and returns what it
// did wrong, and whether it doses again once a person allows it.
func (p *played) check(t *testing.T, root string, c crashCase, plant planted, r *rand.Rand) (faults []string, doses bool) {
	t.Helper()
	farm, before, err := p.until(c, plant)
	if err != nil {
		return []string{err.Error()}, false
	}
	files := p.notes.image(min(c.change, len(p.notes.changes)), c.crash, r)
	away(farm, c.Loss, r)
	if c.again {
		if files, before, err = p.recovery(t, root, farm, files, before, plant, r); err != nil {
			return []string{"the first recovery: " + err.Error()}, false
		}
	}
	return p.judge(t, root, farm, files, before)
}

// until plays the evening again up to its end, on a store in memory; the farm is as it was then.
func (p *played) until(c crashCase, plant planted) (*sim.Farm, known, error) {
	farm, err := p.bench.farm()
	if err != nil || c.moment < 0 {
		return farm, nothing(), err
	}
	passed := -1
	l, err := p.bench.live(farm, plant.store(&ledger.Memory{}), begins, nothing(), func(l *life) {
		l.passed = func(moment) bool {
			passed++
			return passed == c.moment && !c.inside
		}
		l.written = func(ledger.Row) {
			if passed == c.moment && c.inside {
				l.die()
			}
		}
	})
	if err != nil && !l.dead {
		return nil, known{}, err
	}
	if l.night != nil {
		l.play(evening, true, nil)
	}
	return farm, l.known, nil
}

// away is the time in which no daemon runs. Where the power went, the nodes may have lost theirs.
func away(farm *sim.Farm, how loss, r *rand.Rand) {
	farm.Connected(false)
	if how != killed && r.IntN(2) == 0 {
		farm.Reboot(0)
	}
	farm.Advance(farm.Truth(0).At+time.Duration(r.IntN(20))*time.Second, func(string, byte, bool, []byte) {})
}

// recovery starts a daemon from the files and ends it in its first seconds.
func (p *played) recovery(t *testing.T, root string, farm *sim.Farm, files map[string][]byte, before known, plant planted, r *rand.Rand) (map[string][]byte, known, error) {
	t.Helper()
	dir := folder(t, root, files)
	defer func() { _ = os.RemoveAll(dir) }()
	n := take(t, dir, files)
	n.lies = plant.lies
	change, count, dead := r.IntN(60), 0, false
	var l *life
	n.each = func(number int) {
		if number == change {
			if dead = true; l != nil {
				l.die()
			}
		}
	}
	how := crash{Torn: r.IntN(2) == 0, Loss: loss(r.IntN(int(lossCount)))}
	db, err := store.Open(dir)
	if err != nil {
		return nil, before, err
	}
	after := before
	if !dead {
		l, err = p.bench.live(farm, plant.store(db), begins.Add(farm.Truth(0).At), before, func(started *life) {
			l = started
			if r.IntN(3) == 0 { // at a moment rather than at a change
				change = -1
				at := r.IntN(30)
				started.passed = func(moment) bool {
					count++
					return count > at
				}
			}
		})
		if err != nil && !l.dead {
			return nil, before, errors.Join(err, db.Close())
		}
		if l.night != nil {
			l.play(12*time.Second, false, nil)
		}
		after = l.known
		if len(l.faults) > 0 {
			return nil, before, errors.Join(errors.New(l.faults[0]), db.Close())
		}
	}
	cut := n.length()
	if change >= 0 && change < cut {
		cut = change
	}
	how.Torn = how.Torn && cut < n.length()
	left := n.image(cut, how, r)
	take(t, filepath.Join(root, "nobody"), nil)
	away(farm, how.Loss, r)
	return left, after, db.Close()
}

// judge starts the daemon from the files and says what it forgot, counted wrongly or gave.
func (p *played) judge(t *testing.T, root string, farm *sim.Farm, files map[string][]byte, before known) (faults []string, doses bool) {
	t.Helper()
	dir := folder(t, root, files)
	defer func() { _ = os.RemoveAll(dir) }()
	db, err := store.Open(dir)
	if err != nil {
		return []string{"the store does not open: " + err.Error()}, false
	}
	defer db.Close()
	return p.judgeRecord(farm, db, before)
}

// judgeRecord is judge on whatever keeps the record.
func (p *played) judgeRecord(farm *sim.Farm, db ledger.Store, before known) (faults []string, doses bool) {
	if faults = remembered(db, before); len(faults) > 0 {
		return faults, false
	}
	l, err := p.bench.live(farm, db, begins.Add(farm.Truth(0).At), before, func(*life) {})
	if err != nil {
		return []string{"the daemon does not start: " + err.Error()}, false
	}
	if got := l.night.Core.Remembered(l.night.Now()).Tanks[0].PH.Final; before.ph != 0 && got != before.ph {
		l.fault("setpoint %v was accepted and is %v after the restart", before.ph, got)
	}
	l.play(20*time.Second, false, nil)
	for _, kind := range []controller.RequestKind{controller.RequestResume, controller.RequestConfirmWater, controller.RequestClear, controller.RequestArm} {
		l.ask(controller.Request{Kind: kind, Note: "nutrient solution, rinsed"})
	}
	ordered := len(l.orders)
	l.play(40*time.Second, false, nil)
	faults = append(l.faults, p.covered(db, l)...)
	return faults, len(l.orders) > ordered
}

// remembered compares the record with what was acknowledged to the daemon and what left it.
func remembered(db ledger.Store, before known) (faults []string) {
	fault := func(format string, args ...any) { faults = append(faults, fmt.Sprintf(format, args...)) }
	intents := map[ledger.OrderID]bool{}
	last, _, err := ledger.VerifyRows(db, func(row ledger.Row, e ledger.Entry) error {
		if hash, ok := before.rows[row.Sequence]; ok && hash != row.Hash {
			fault("row %d is not the one that was acknowledged", row.Sequence)
		}
		if e.Kind == ledger.EntryIntent {
			if intents[e.Order] {
				fault("order %s is in the record twice", e.Order)
			}
			intents[e.Order] = true
		}
		return nil
	})
	if err != nil {
		fault("the chain does not verify: %v", err)
	}
	if last < before.newest || last > before.newest+1 || last > before.newest && !before.begun {
		fault("the record ends with row %d; row %d was acknowledged, one more under way: %v", last, before.newest, before.begun)
	}
	for order := range before.orders {
		if !intents[order] {
			fault("order %s was published and is forgotten", order)
		}
	}
	return faults
}

// covered adds the record up without the daemon's help, and compares it with what the daemon counts
// and what truly left the containers.
func (p *played) covered(db ledger.Store, l *life) (faults []string) {
	fault := func(format string, args ...any) { faults = append(faults, fmt.Sprintf(format, args...)) }
	volumes, pumps := map[ledger.OrderID]dosing.Volume{}, map[ledger.OrderID]string{}
	if _, _, err := ledger.Verify(db, func(e ledger.Entry) error {
		if e.Kind != ledger.EntryChange {
			volumes[e.Order], pumps[e.Order] = e.Volume, e.Pump
		}
		return nil
	}); err != nil {
		fault("the chain does not verify: %v", err)
	}
	sums := map[string]dosing.Volume{}
	for order, volume := range volumes {
		sums[pumps[order]] += volume
	}
	now := l.night.Now()
	state, err := ledger.Replay(db, now, false)
	if err != nil {
		fault("the record is not replayed: %v", err)
	}
	live := l.night.Core.Remembered(now)
	rounding := dosing.Volume(p.given+len(l.orders)) * dosing.Microlitre
	for i := range p.bench.file.Settings.Safety.Pumps {
		pump := dosing.PumpID(i)
		name, given, caps := p.bench.file.Settings.Safety.Pumps[i].Name, l.farm.Delivered(pump), p.bench.file.Settings.Safety.Caps[i]
		switch {
		case state.Ever[name] != sums[name] || live.Pumps[i].Ever != sums[name]:
			fault("pump %s: the rows add up to %s, %s is replayed, %s counted by the daemon", name, sums[name], state.Ever[name], live.Pumps[i].Ever)
		case given > sums[name]+rounding:
			fault("pump %s: %s left its container, the record counts %s", name, given, sums[name])
		case given > live.Pumps[i].Hour+rounding || given > live.Pumps[i].Day+rounding:
			fault("pump %s: %s left its container within the hour, the caps count %s and %s", name, given, live.Pumps[i].Hour, live.Pumps[i].Day)
		case live.Pumps[i].Hour > max(caps.PerHour, 0)+100*dosing.Microlitre:
			fault("pump %s: %s in an hour; the cap is %s", name, live.Pumps[i].Hour, caps.PerHour)
		}
	}
	return faults
}

// drawn is how many cases are played: LEAT_CRASH=all plays all of them, a number that many.
func drawn[C any](t *testing.T, cases []C, usual int) []C {
	t.Helper()
	text := cmp.Or(os.Getenv("LEAT_CRASH"), strconv.Itoa(usual))
	if text == "all" {
		return cases
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 {
		t.Fatalf("LEAT_CRASH=%s: want all, or a number of cases", text)
	}
	r := rand.New(rand.NewPCG(7, 7))
	r.Shuffle(len(cases), func(i, k int) { cases[i], cases[k] = cases[k], cases[i] })
	return cases[:min(n, len(cases))]
}

func TestACrashAnywhereForgetsNothingAndDosesNothingTwice(t *testing.T) {
	b := newBench(t)
	p := playEvening(t, b, nil, sound)
	all := p.cases()
	t.Logf("an evening of %d orders, %d rows, %d changes to the files, %d moments: %d ways to end", p.given, p.rows, len(p.notes.changes), len(p.marks), len(all))
	if len(all) < 10_000 || p.given < 10 {
		t.Errorf("%d cases with %d orders; at least 10,000 with 10", len(all), p.given)
	}
	p.checkAll(t, drawn(t, all, 80))
}

func TestACrashWhileTheLogIsBroughtIntoTheDatabaseForgetsNothing(t *testing.T) {
	p := playEvening(t, newBench(t), usedFolder(t), sound)
	all := p.whileTheLogIsBroughtIn()
	t.Logf("%d ways to end while the log is brought into the database", len(all))
	if len(all) < 500 {
		t.Fatal("the log was not brought in during the evening; this tests nothing")
	}
	p.checkAll(t, drawn(t, all, 25))
}

// checkAll plays cases and counts them by kind.
func (p *played) checkAll(t *testing.T, cases []crashCase) {
	t.Helper()
	root, counts, failed, again := memoryFolder(t), map[string]int{}, 0, 0
	for i, c := range cases {
		faults, doses := p.check(t, root, c, sound, rand.New(rand.NewPCG(uint64(i), uint64(c.change))))
		counts[c.kind]++
		counts[lossNames[c.Loss]]++
		if c.again {
			counts["once more during the recovery"]++
		}
		if doses {
			again++
		}
		if len(faults) > 0 {
			if failed++; failed <= 10 {
				t.Errorf("%d. %s: %s", i, c, faults[0])
			}
		}
	}
	for _, kind := range sortedKeys(counts) {
		t.Logf("%6d  %s", counts[kind], kind)
	}
	t.Logf("%d cases: %d did what must not be; %d dosed again when a person allowed it", len(cases), failed, again)
	if again < len(cases)*9/10 {
		t.Errorf("only %d of %d dose again", again, len(cases))
	}
}

func sortedKeys(counts map[string]int) []string {
	var keys []string
	for k := range counts {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

// A check that cannot fail checks nothing.
func TestCrashesFindWhatWasPlanted(t *testing.T) {
	for _, plant := range []planted{
		{name: "orders leave before their rows are written", store: func(s ledger.Store) ledger.Store { return &lateStore{Store: s} }},
		{name: "the disk syncs nothing", store: sound.store, lies: true},
	} {
		t.Run(plant.name, func(t *testing.T) {
			p := playEvening(t, newBench(t), nil, plant)
			root, found := memoryFolder(t), 0
			cases := drawn(t, p.cases(), 40)
			for _, c := range cases[:min(40, len(cases))] {
				if faults, _ := p.check(t, root, c, plant, rand.New(rand.NewPCG(2, uint64(c.change)))); len(faults) > 0 {
					found++
					if found == 1 {
						t.Logf("found: %s: %s", c, faults[0])
					}
				}
			}
			t.Logf("%d of %d cases show it", found, min(40, len(cases)))
			if found == 0 {
				t.Error("no case shows it")
			}
		})
	}
}
