package app

import (
	"context"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"go.uber.org/goleak"
	"go.uber.org/zap"
	"go.uber.org/zap/zapcore"

	"leat/controller"
	"leat/controller/config"
	"leat/safety"
	"leat/safety/ledger"
)

// A child of the crash test is this test binary with these in its environment.
const (
	childConfig = "LEAT_TEST_CONFIG"
	childPoint  = "LEAT_TEST_DIES_AT" // empty = lives until SIGTERM
	childDisk   = "LEAT_TEST_DISK"    // a file that says how long each append takes; empty = as long as it takes
)

func TestMain(m *testing.M) {
	if path := os.Getenv(childConfig); path != "" {
		if err := child(path, os.Getenv(childPoint)); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	// The points of the crash test wait for the farm's clock, not for the processor.
	flag.Parse()
	if err := flag.Set("test.parallel", "12"); err != nil {
		panic(err)
	}
	goleak.VerifyTestMain(m)
}

// Points at which nothing dies: a daemon that nobody arms, and one whose loop hangs
// at the first report that says done.
const (
	alone   = "alone"
	hanging = "hanging"
)

// slowDisk is a store each of whose appends takes as long as a file says at its
// beginning; a test that takes an hour for it has stalled the disk.
type slowDisk struct {
	ledger.Store
	told string
}

func (d *slowDisk) Append(row ledger.Row) error {
	text, err := os.ReadFile(d.told)
	if err != nil {
		return err
	}
	delay, err := time.ParseDuration(string(text))
	if err != nil {
		return err
	}
	time.Sleep(delay)
	return d.Store.Append(row)
}

// child runs the daemon, arms the tub as a person would, and dies by SIGKILL at
// the point.
func child(path, point string) error {
	file, err := config.Load(path)
	if err != nil {
		return err
	}
	if told := os.Getenv(childDisk); told != "" {
		slowing = func(store ledger.Store) ledger.Store { return &slowDisk{store, told} }
	}
	log := zap.New(zapcore.NewCore(zapcore.NewJSONEncoder(zap.NewProductionEncoderConfig()), zapcore.Lock(os.Stderr), zapcore.InfoLevel))
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGTERM)
	defer stop()
	var a *App
	var armed atomic.Bool
	passing = func(passed string) {
		if point == hanging && passed == "done arrived" {
			fmt.Fprintln(os.Stderr, "hangs")
			select {}
		}
		// Not at the settlements of the start: those are another point.
		if passed == point && armed.Load() || "start: "+passed == point && !armed.Load() {
			die(a, point)
		}
		// On a slow machine the dose may end sooner than half a run is over.
		if point == midRun && passed == "done arrived" && armed.Load() {
			kill()
		}
	}
	ready := make(chan struct{})
	a, err = New(file, Options{Log: log, Supervise: func(state string) {
		if state == "READY=1" {
			close(ready)
		}
	}})
	if err != nil {
		return err
	}
	go func() {
		<-ready
		if point == alone || point == hanging {
			return
		}
		person(ctx, a, func() { armed.Store(true) })
	}()
	return a.Run(ctx)
}

// die ends the process as kill -9 does. Two points need what cannot be seen from
// where they are passed: that the broker has the order, and that half of the run is
// over.
func die(a *App, point string) {
	switch point {
	case "order published":
		for end := time.Now().Add(time.Second); !a.link.Idle() && time.Now().Before(end); {
			time.Sleep(time.Millisecond)
		}
		kill()
	case midRun:
		time.AfterFunc(700*time.Millisecond, kill)
	default:
		kill()
	}
}

// kill ends this process by SIGKILL: nothing of it runs after that.
func kill() {
	if self, err := os.FindProcess(os.Getpid()); err == nil {
		_ = self.Kill()
	}
}

// person clears what an earlier crash latched, and arms the tub.
func person(ctx context.Context, a *App, armed func()) {
	for ctx.Err() == nil {
		if view := a.View(); view != nil {
			switch view.Tanks[0].Mode {
			case safety.ModeStopped:
				_, _ = a.Ask(ctx, controller.Request{Kind: controller.RequestClear, By: "test", From: "test", Role: controller.RoleEngineer, Note: "looked at pumps and stocks"})
			case safety.ModeArmed, safety.ModeHolding:
				armed()
			case safety.ModeObserving:
				_, _ = a.Ask(ctx, controller.Request{Kind: controller.RequestArm, By: "test", From: "test", Role: controller.RoleEngineer})
			}
		}
		select {
		case <-time.After(300 * time.Millisecond):
		case <-ctx.Done():
		}
	}
}
