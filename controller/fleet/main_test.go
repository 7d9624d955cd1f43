package fleet

import (
	"context"
	"fmt"
	"os"
	"os/signal"
	"syscall"
	"testing"
	"time"

	"go.uber.org/zap"
	"go.uber.org/zap/zapcore"

	"leat/controller"
	"leat/controller/app"
	"leat/controller/config"
	"leat/safety"
)

// childConfig in the environment makes this test binary a daemon.
const childConfig = "LEAT_TEST_CONFIG"

func TestMain(m *testing.M) {
	if path := os.Getenv(childConfig); path != "" {
		if err := child(path); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// child is leat run with a person at it, who arms the tub whenever it is this daemon's turn.
func child(path string) error {
	file, err := config.Load(path)
	if err != nil {
		return err
	}
	log := zap.New(zapcore.NewCore(zapcore.NewJSONEncoder(zap.NewProductionEncoderConfig()), zapcore.Lock(os.Stderr), zapcore.InfoLevel))
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGTERM)
	defer stop()
	return Run(ctx, file, log, nil, func(ctx context.Context, term app.Term) error {
		daemon, err := app.New(file, app.Options{Log: log, Term: term})
		if err != nil {
			return err
		}
		running, end := context.WithCancel(ctx)
		defer end()
		go person(running, daemon)
		return daemon.Run(ctx)
	})
}

func person(ctx context.Context, a *app.App) {
	for ctx.Err() == nil {
		if view := a.View(); view != nil {
			r := controller.Request{By: "test", From: "test", Role: controller.RoleEngineer, Note: "looked at pumps and stocks"}
			switch view.Tanks[0].Mode {
			case safety.ModeStopped:
				r.Kind = controller.RequestClear
			case safety.ModeObserving:
				r.Kind = controller.RequestArm
			}
			if r.Kind != controller.RequestNone {
				_, _ = a.Ask(ctx, r) // asked again until it is taken
			}
		}
		select {
		case <-time.After(300 * time.Millisecond):
		case <-ctx.Done():
		}
	}
}
