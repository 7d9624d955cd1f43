// Package fleet runs a station on whichever of several daemons has its turn: it joins the
// daemon to the ledger servers. The usual program is built without it, since one daemon with
// a ledger of its own needs none of this; `go build -tags cluster ./cmd/leat` has it.
package fleet

import (
	"context"
	"crypto/tls"
	"errors"
	"time"

	"go.uber.org/zap"

	"leat/controller/app"
	"leat/controller/cluster"
	"leat/controller/config"
	"leat/safety/ledger"
)

// askAgain is how long after a failure the servers are asked again: at power-on they may
// come later than this daemon.
const askAgain = 2 * time.Second

// Run waits for the station's turn, runs it, and waits again when another daemon took it,
// until ctx ends.
func Run(ctx context.Context, file *config.File, log *zap.Logger, tell func(state string), run func(context.Context, app.Term) error) error {
	options, err := optionsOf(file)
	if err != nil {
		return err
	}
	m := &member{file: file, options: options, log: log}
	defer m.leave()
	return app.InTurn(ctx, log, tell, m.next, run)
}

// member is one daemon of several.
type member struct {
	file    *config.File
	options cluster.Options
	log     *zap.Logger
	joined  *cluster.Cluster
}

func (m *member) leave() {
	if m.joined != nil {
		m.joined.Close()
		m.joined = nil
	}
}

// next waits for the next turn.
func (m *member) next(ctx context.Context) (app.Term, error) {
	for {
		term, err := m.try(ctx)
		if err == nil {
			return term, nil
		}
		if errors.Is(err, ledger.ErrBroken) || ctx.Err() != nil {
			return nil, err
		}
		m.log.Warn("ledger servers: asked again", zap.Error(err))
		select {
		case <-ctx.Done():
			return nil, ctx.Err()
		case <-time.After(askAgain):
		}
	}
}

func (m *member) try(ctx context.Context) (app.Term, error) {
	if m.joined == nil {
		joined, err := cluster.Connect(ctx, m.options)
		if err != nil {
			return nil, err
		}
		m.joined = joined
	}
	station := m.file.Settings.Safety.Station
	term, err := m.joined.Term(ctx, station, func(owner string) {
		m.log.Info("standing by: another daemon owns the station", zap.String("station", station), zap.String("owner", owner), zap.String("this", m.options.Name))
	})
	if err != nil {
		return nil, err
	}
	m.log.Info("this daemon's turn", zap.String("station", station), zap.String("this", m.options.Name))
	return term, nil
}

func optionsOf(file *config.File) (cluster.Options, error) {
	c := file.Cluster
	o := cluster.Options{Servers: c.Servers, Name: c.Name, Replicas: c.Replicas, User: c.User, Password: c.Password}
	if c.CA == "" && c.Certificate == "" {
		return o, nil
	}
	secure, err := app.BrokerTLS(config.Broker{CA: c.CA, Certificate: c.Certificate, Key: c.Key})
	if err != nil {
		return o, err
	}
	o.TLS = &tls.Config{MinVersion: tls.VersionTLS12}
	if secure != nil {
		o.TLS = secure
	}
	return o, nil
}
