package demo

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"go.uber.org/zap"

	"leat/controller/mqtt"
	"leat/controller/sim"
	"leat/deploy"
)

// FarmOptions are for the simulated farm alone, against a broker of the user's.
type FarmOptions struct {
	Config       string // file; empty = the embedded sample farm
	Broker       string // URL
	User         string
	PasswordFile string
	Seed         uint64
	For          time.Duration // 0 = until interrupted
	Fault        string
	Out          io.Writer
	Log          *zap.Logger
}

func (o *FarmOptions) password() (string, error) {
	if o.PasswordFile == "" {
		return "", nil
	}
	text, err := os.ReadFile(o.PasswordFile)
	if err != nil {
		return "", fmt.Errorf("password: %w", err)
	}
	return strings.TrimRight(string(text), "\r\n"), nil
}

// farmStep is how finely the farm follows the clock of the machine.
const farmStep = 50 * time.Millisecond

// RunFarm runs the farm in real time until ctx ends.
func RunFarm(ctx context.Context, o FarmOptions) error {
	if err := CheckFault(o.Fault); err != nil {
		return err
	}
	file, err := readConfig(o.Config, deploy.Sample)
	if err != nil {
		return err
	}
	password, err := o.password()
	if err != nil {
		return err
	}
	farm, err := newFarm(file, sim.Options{Seed: o.Seed, StartPH: 6.6, StartECShare: 0.6, Fault: o.Fault, FaultAt: faultAfter})
	if err != nil {
		return err
	}
	if o.For > 0 {
		var end context.CancelFunc
		ctx, end = context.WithTimeout(ctx, o.For)
		defer end()
	}
	link := mqtt.New(mqtt.Options{URL: o.Broker, ClientID: "leat-farm", User: o.User, Password: password, Queued: farm.Subscriptions(), Log: o.Log})
	ended := make(chan error, 1)
	go func() { ended <- link.Run(ctx) }()
	fmt.Fprintf(o.Out, "simulated farm %s on %s, in real time; Ctrl-C ends it\n", file.Settings.Safety.Station, o.Broker)
	began := time.Now()
	patience := time.After(3 * time.Second)
	connected := false
	ticker := time.NewTicker(farmStep)
	defer ticker.Stop()
	send := func(topic string, qos byte, retained bool, body []byte) {
		if err := link.Publish(topic, qos, retained, bytes.Clone(body)); err != nil && !errors.Is(err, mqtt.ErrClosed) {
			o.Log.Warn("farm", zap.Error(err))
		}
	}
	for {
		select {
		case err := <-ended:
			return err
		case up := <-link.Changed():
			farm.Connected(up)
			connected = connected || up
			fmt.Fprintf(o.Out, "%s  broker %s\n", clockWords(time.Since(began)), upWords(up))
		case <-link.Ready():
			for m, ok := link.Next(); ok; m, ok = link.Next() {
				// An order that the broker stored is from another time.
				if !m.Retained || farm.TakesKept(m.Topic) {
					farm.Receive(m.Topic, m.Body, send)
				}
			}
		case <-patience:
			if !connected {
				fmt.Fprintf(o.Out, "%s  no broker lets the farm in yet, it goes on trying: %v\n", clockWords(time.Since(began)), link.LastError())
			}
		case <-ticker.C:
			farm.Advance(time.Since(began), send)
		}
	}
}
