//go:build linux

package store_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"leat/safety/ledger"
)

// The simulated nights run on the store in memory, whose faults stand for those of a disk. What is
// promised of the one must hold on the other.
func TestACrashOnTheStoreInMemoryForgetsNothing(t *testing.T) {
	p := &played{bench: newBench(t)}
	moments, rows := 0, 0
	p.memoryLife(t, &ledger.Memory{}, func(l *life) {
		l.passed = func(moment) bool { moments++; return false }
		l.written = func(ledger.Row) { rows++ }
	})
	var ends []memoryEnd
	for m := range moments {
		ends = append(ends, memoryEnd{moment: m, row: -1})
	}
	for row := range rows {
		for _, fault := range []ledger.Fault{ledger.FaultFailed, ledger.FaultTorn, ledger.FaultWritten} {
			ends = append(ends, memoryEnd{moment: -1, row: row, fault: fault})
		}
	}
	failed, whole := 0, 2*len(ends)
	ends = drawn(t, ends, 40)
	for i, e := range ends {
		for _, again := range []bool{false, true} {
			if faults := p.endInMemory(t, e, again, rand.New(rand.NewPCG(3, uint64(i)))); len(faults) > 0 {
				if failed++; failed <= 10 {
					t.Errorf("%+v, again %v: %s", e, again, faults[0])
				}
			}
		}
	}
	t.Logf("%d moments, %d rows: %d of %d cases, %d did what must not be", moments, rows, 2*len(ends), whole, failed)
}

// memoryEnd is how a life on the store in memory ends.
type memoryEnd struct {
	moment int // the daemon is killed there; -1 = by a fault of its disk
	row    int // counted from 0, at which the disk fails; -1 = it does not
	fault  ledger.Fault
}

// memoryLife plays the evening on a store in memory.
func (p *played) memoryLife(t *testing.T, m *ledger.Memory, change func(*life)) *life {
	t.Helper()
	farm, err := p.bench.farm()
	if err != nil {
		t.Fatal(err)
	}
	l, err := p.bench.live(farm, m, begins, nothing(), change)
	if err != nil {
		t.Fatal(err)
	}
	l.play(evening, true, nil)
	return l
}

func (p *played) endInMemory(t *testing.T, e memoryEnd, again bool, r *rand.Rand) []string {
	t.Helper()
	m, passed := &ledger.Memory{}, -1
	if e.row >= 0 {
		m.FailNth(e.row+1, e.fault)
	}
	l := p.memoryLife(t, m, func(l *life) {
		l.passed = func(moment) bool { passed++; return passed == e.moment }
	})
	if len(l.faults) > 0 {
		return l.faults
	}
	m.Heal()
	m.Reopen()
	away(l.farm, loss(r.IntN(int(lossCount))), r)
	before := l.known
	if again {
		count, at := 0, r.IntN(30)
		second, err := p.bench.live(l.farm, m, begins.Add(l.farm.Truth(0).At), before, func(l *life) {
			l.passed = func(moment) bool { count++; return count > at }
		})
		if err != nil && !second.dead {
			return []string{fmt.Sprint("the first recovery: ", err)}
		}
		if second.night != nil {
			second.play(12*time.Second, false, nil)
		}
		m.Reopen()
		away(l.farm, killed, r)
		before = second.known
		if len(second.faults) > 0 {
			return slices.Clone(second.faults)
		}
	}
	faults, _ := p.judgeRecord(l.farm, m, before)
	return faults
}
