package main

import (
	"context"
	"flag"
	"io"
	"os"
	"os/signal"
	"syscall"

	"go.uber.org/zap"
	"go.uber.org/zap/zapcore"

	"leat/controller/app"
	"leat/controller/config"
	"leat/controller/desk"
)

func runCommand(flags *flag.FlagSet) task {
	path := flags.String("config", "", "configuration `FILE`; leat check -config FILE tells what it would do")
	return task{usage: runUsage, do: func(_, stderr io.Writer) error {
		if *path == "" {
			return desk.Misuse("name the configuration with -config FILE; deploy/leat.toml is a sample, leat demo needs none")
		}
		return runDaemon(*path, stderr)
	}}
}

func runDaemon(path string, stderr io.Writer) error {
	file, err := config.Load(path)
	if err != nil {
		return err
	}
	log, level := newLog(file.Log, stderr)
	for _, w := range file.Warnings {
		log.Warn("configuration", zap.String("warning", w))
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	// From here on: a hang-up that came while the record is replayed would end the
	// program.
	hangup := make(chan os.Signal, 1)
	signal.Notify(hangup, syscall.SIGHUP)
	defer signal.Stop(hangup)
	fresh := file
	daemon, err := app.New(file, app.Options{Log: log, Version: version, Reload: func() (_ *config.File, err error) {
		fresh, err = config.Load(path)
		return fresh, err
	}})
	if err != nil {
		return err
	}
	log.Info("started", zap.String("station", file.Settings.Safety.Station), zap.String("configuration", file.Settings.Version),
		zap.String("broker", file.Broker.URL), zap.String("page", daemon.Address()), zap.String("state", file.State))
	go reloadOnHangup(ctx, hangup, daemon, func() { level.SetLevel(levelOf(fresh.Log)) })
	if err := daemon.Run(ctx); err != nil {
		return err
	}
	log.Info("stopped, pumps off")
	return nil
}

const runUsage = `usage: leat run -config FILE

The daemon. It logs one JSON line for each event to stderr, keeps its record in the state folder that the file names, and
only observes until a person arms a tank. SIGHUP reads the file again, whole and valid or not at all; SIGTERM stops the
pumps, closes the record and ends. Exit code: 0 stopped by a signal, 1 it could not start or go on, 2 wrong use.

`

// reloadOnHangup reads the configuration again at each SIGHUP; the daemon logs
// what came of it.
func reloadOnHangup(ctx context.Context, hangup <-chan os.Signal, daemon *app.App, taken func()) {
	for {
		select {
		case <-ctx.Done():
			return
		case <-hangup:
			if daemon.Reload(ctx) == nil { // else logged and counted by the daemon
				taken()
			}
		}
	}
}

// newLog writes one JSON line for each event to w, without sampling: a dose that
// is not in the log would look like one that was not given.
func newLog(level string, w io.Writer) (*zap.Logger, zap.AtomicLevel) {
	least := zap.NewAtomicLevelAt(levelOf(level))
	encoding := zap.NewProductionEncoderConfig()
	encoding.EncodeTime = zapcore.RFC3339TimeEncoder
	return zap.New(zapcore.NewCore(zapcore.NewJSONEncoder(encoding), zapcore.Lock(zapcore.AddSync(w)), least)), least
}

func levelOf(name string) zapcore.Level {
	level, err := zapcore.ParseLevel(name)
	if err != nil {
		return zapcore.InfoLevel
	}
	return level
}
