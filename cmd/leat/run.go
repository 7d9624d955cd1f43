package main

import (
	"context"
	"errors"
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
	path := flags.String("config", "", "configuration `FILE`, or a folder of files of which each is a station; leat check -config FILE tells what it would do")
	return task{usage: runUsage, do: func(_, stderr io.Writer) error {
		if *path == "" {
			return desk.Misuse("name the configuration with -config FILE; deploy/leat.toml is a sample, leat demo needs none")
		}
		return runDaemon(*path, stderr)
	}}
}

// errNoCluster says what to do about a file that this program cannot run.
var errNoCluster = errors.New("[cluster]: this program was built without the client of the ledger servers; run the one whose name is leat-cluster, or build it with go build -tags cluster ./cmd/leat")

func runDaemon(path string, stderr io.Writer) error {
	files, err := config.Stations(path)
	if err != nil {
		return err
	}
	log, level := newLog(files[0].Log, stderr)
	for _, file := range files {
		for _, w := range file.Warnings {
			log.Warn("configuration", zap.String("station", file.Settings.Safety.Station), zap.String("warning", w))
		}
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	// From here on: a hang-up that came while the record is replayed would end the
	// program.
	hangup := make(chan os.Signal, 1)
	signal.Notify(hangup, syscall.SIGHUP)
	defer signal.Stop(hangup)
	shared := files[0].Cluster.Shared()
	switch {
	case shared && runShared == nil:
		err = errNoCluster
	case len(files) > 1:
		err = runSite(ctx, path, files, hangup, log, level)
	default:
		turn := func(ctx context.Context, term app.Term) error {
			return runTurn(ctx, files[0], term, hangup, log, level)
		}
		if shared {
			err = runShared(ctx, files[0], log, nil, turn)
		} else {
			err = turn(ctx, nil)
		}
	}
	if err != nil {
		return err
	}
	log.Info("stopped, pumps off")
	return nil
}

// runSite runs several stations in this process.
func runSite(ctx context.Context, path string, files []*config.File, hangup <-chan os.Signal, log *zap.Logger, level zap.AtomicLevel) error {
	names := map[string]string{}
	for _, f := range files {
		names[f.Settings.Safety.Station] = f.Name
	}
	options := app.SiteOptions{Log: log, Version: version, Reload: func(station string) (*config.File, error) {
		fresh, err := config.Load(names[station])
		if err == nil {
			level.SetLevel(levelOf(fresh.Log))
		}
		return fresh, err
	}}
	if files[0].Cluster.Shared() {
		options.Turn = func(ctx context.Context, file *config.File, tell func(string), run func(context.Context, app.Term) error) error {
			return runShared(ctx, file, log, tell, run)
		}
	}
	site, err := app.NewSite(files, options)
	if err != nil {
		return err
	}
	log.Info("stations", zap.String("configuration", path), zap.Int("stations", len(files)), zap.String("broker", files[0].Broker.URL), zap.String("page", site.Address()))
	running, end := context.WithCancel(ctx)
	defer end()
	go reloadOnHangup(running, hangup, site, func() {})
	return site.Run(ctx)
}

// runShared runs a station whose ledger several daemons share; nil in the program that is
// built without the servers' client.
var runShared func(ctx context.Context, file *config.File, log *zap.Logger, tell func(string), turn func(context.Context, app.Term) error) error

// runTurn runs the station until ctx ends or, where the ledger is shared, another daemon has it.
func runTurn(ctx context.Context, file *config.File, term app.Term, hangup <-chan os.Signal, log *zap.Logger, level zap.AtomicLevel) error {
	fresh := file
	daemon, err := app.New(file, app.Options{Log: log, Version: version, Term: term, Reload: func() (_ *config.File, err error) {
		fresh, err = config.Load(file.Name)
		return fresh, err
	}})
	if err != nil {
		return err
	}
	log.Info("started", zap.String("station", file.Settings.Safety.Station), zap.String("configuration", file.Settings.Version),
		zap.String("broker", file.Broker.URL), zap.String("page", daemon.Address()), zap.String("state", file.State))
	running, end := context.WithCancel(ctx)
	defer end()
	go reloadOnHangup(running, hangup, daemon, func() { level.SetLevel(levelOf(fresh.Log)) })
	return daemon.Run(ctx)
}

const runUsage = `usage: leat run -config FILE

The daemon, for one station, for the several [[station]] of a file, or for those of the files of a folder; FILE#NAME is one of
several. It logs one JSON line for each event to stderr, keeps its record in the state folder that the file names, and
only observes until a person arms a tank. SIGHUP reads the file again, whole and valid or not at all; SIGTERM stops the
pumps, closes the record and ends. Exit code: 0 stopped by a signal, 1 it could not start or go on, 2 wrong use.

`

// reloadOnHangup reads the configuration again at each SIGHUP; the daemon logs
// what came of it.
func reloadOnHangup(ctx context.Context, hangup <-chan os.Signal, daemon interface{ Reload(context.Context) error }, taken func()) {
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
