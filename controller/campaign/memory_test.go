package campaign

import (
	"os"
	"runtime"
	"strconv"
	"testing"
	"time"

	"leat/controller/sim"
	"leat/safety/ledger"
)

// discard is a disk that takes every row and keeps none: what then grows is the
// daemon or the farm.
type discard struct{}

func (discard) Append(ledger.Row) error                   { return nil }
func (discard) Load(uint64, func(ledger.Row) error) error { return nil }

func heap() uint64 {
	runtime.GC()
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}

func fromEnvironment(t *testing.T, name string, otherwise int) int {
	t.Helper()
	text := os.Getenv(name)
	if text == "" {
		return otherwise
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 {
		t.Fatalf("%s is %q; want a whole number", name, text)
	}
	return n
}

// Memory is flat from the second day to the last of a run, and from the first run
// to the last. LEAT_RUNS=100 LEAT_DAYS=90 plays the whole length:
//
//	LEAT_RUNS=100 LEAT_DAYS=90 go test ./controller/campaign -run Memory -v -timeout 24h
func TestMemoryIsFlatOverLongRuns(t *testing.T) {
	runs, days := fromEnvironment(t, "LEAT_RUNS", 2), fromEnvironment(t, "LEAT_DAYS", 3)
	const slack = 256 << 10 // bytes: maps and slices that had room to spare
	first := uint64(0)
	for r := range runs {
		s, err := standard.Scene(uint64(r + 1))
		if err != nil {
			t.Fatal(err)
		}
		for i := range s.Settings.Safety.Pumps {
			s.Settings.Safety.Pumps[i].Container *= 100 // somebody fills up
		}
		farm, err := sim.New(s.Settings, s.Topics, s.Wires, s.Options)
		if err != nil {
			t.Fatal(err)
		}
		n, err := sim.NewNight(s.Settings, s.Topics, s.Feeds, farm, discard{}, evening)
		if err != nil {
			t.Fatal(err)
		}
		n.Run(s.Options.Rest, nil)
		n.Arm()
		n.Run(48*time.Hour, nil) // windows of 24 h are full
		second := heap()
		for range days - 2 {
			n.Run(24*time.Hour, nil)
		}
		last := heap()
		doses := farm.Starts()
		if r == 0 {
			first = last
		}
		t.Logf("run %d: heap %d KiB after 2 days, %d KiB after %d, %d doses", r, second>>10, last>>10, days, doses)
		if last > second+slack || last > first+slack {
			t.Errorf("run %d: heap of %d KiB after day 2 became %d KiB after day %d; %d KiB after the first run", r, second>>10, last>>10, days, first>>10)
		}
		if doses < 20 {
			t.Errorf("run %d: only %d doses", r, doses)
		}
		runtime.KeepAlive(n)
	}
}
