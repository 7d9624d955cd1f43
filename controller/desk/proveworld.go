package desk

import (
	"bufio"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"sync/atomic"
	"time"

	"leat/controller/app"
	"leat/controller/config"
	"leat/controller/mqtt"
	"leat/controller/payload"
	"leat/controller/prove"
)

// proveWorld is the real broker, clock and person of a proof.
type proveWorld struct {
	options   mqtt.Options
	node      mqtt.Options // to connect as the node
	whyNot    string       // that cannot be
	displaces bool
	link      *mqtt.Link
	out       io.Writer
	lines     chan string
	wanted    bool // a line is: what is typed before it was asked for is not an answer
	began     time.Time
	quit      context.Context
	stop      func()
	ended     chan struct{}
	displaced atomic.Bool
}

// connectWithin is how long the broker may take at first, and after it was lost.
const connectWithin = 20 * time.Second

func openWorld(file *config.File, station *prove.Station, client Client, in io.Reader, out io.Writer) (*proveWorld, error) {
	secure, err := app.BrokerTLS(file.Broker)
	if err != nil {
		return nil, err
	}
	b := file.Broker
	w := &proveWorld{out: out, lines: make(chan string), began: time.Now(), ended: make(chan struct{}),
		options: mqtt.Options{URL: b.URL, ClientID: b.ClientID, User: b.User, Password: b.Password, TLS: secure, Queued: station.Subscriptions(), LargestBody: payload.LargestPayload}}
	if err := w.as(client, station.Node); err != nil {
		return nil, err
	}
	w.quit, w.stop = context.WithCancel(context.Background())
	w.link = mqtt.New(w.options)
	go func() {
		_ = w.link.Run(w.quit) // why it does not open, LastError tells
		close(w.ended)
	}()
	go w.read(in)
	for !w.link.Open() {
		select {
		case <-w.link.Changed():
		case <-w.ended:
			return nil, fmt.Errorf("broker %s: %w", b.URL, errors.Join(w.link.LastError(), errors.New("see [broker] in the configuration")))
		case <-time.After(connectWithin):
			w.close()
			return nil, fmt.Errorf("broker %s does not answer: %w", b.URL, w.link.LastError())
		}
	}
	return w, nil
}

func (w *proveWorld) close() {
	w.stop()
	<-w.ended
}

// read hands on what is typed.
func (w *proveWorld) read(in io.Reader) {
	scanner := bufio.NewScanner(in)
	for scanner.Scan() {
		select {
		case w.lines <- scanner.Text():
		case <-w.quit.Done():
			return
		}
	}
	close(w.lines)
}

func (w *proveWorld) Now() time.Duration { return time.Since(w.began) }

func (w *proveWorld) Publish(topic string, qos byte, retained bool, body []byte) error {
	return w.link.Publish(topic, qos, retained, body)
}

func (w *proveWorld) Wait(until time.Duration) (prove.Happening, error) {
	if m, ok := w.link.Next(); ok {
		return prove.Happening{Topic: m.Topic, Body: m.Body, Retained: m.Retained}, nil
	}
	lines := w.lines
	if !w.wanted {
		lines = nil
	}
	timer := time.NewTimer(until - w.Now())
	defer timer.Stop()
	select {
	case <-w.link.Ready():
	case <-timer.C:
	case up := <-w.link.Changed():
		if !up && w.displaces {
			return prove.Happening{}, errors.New("the broker threw this program out in the node's place, since it takes the user for the client id: give the node's own user with -client-user and -client-password-file")
		}
		if !up {
			return prove.Happening{}, errors.New("the broker was lost: nothing is proved; begin again")
		}
	case line, ok := <-lines:
		if !ok {
			return prove.Happening{}, errors.New("nobody answers: leat prove needs a person at the node")
		}
		w.wanted = false
		return prove.Happening{Typed: true, Line: line}, nil
	}
	return prove.Happening{}, nil
}

// as prepares to connect as the node. A broker that takes the user for the client id, as
// it should, needs the node's own user.
func (w *proveWorld) as(client Client, node string) error {
	w.node = w.options
	w.node.ClientID, w.node.Queued = cmp.Or(client.ID, node), nil
	w.node.FirstPause = time.Hour // it must not throw the node out again
	switch {
	case client.User != "":
		w.node.User = client.User
		if client.PasswordFile != "" {
			text, err := os.ReadFile(client.PasswordFile)
			if err != nil {
				return err
			}
			w.node.Password = strings.TrimRight(string(text), "\r\n")
		}
	case w.options.User != "" && client.ID == "":
		w.whyNot = "give the node's user at the broker with -client-user and -client-password-file, or, where the broker lets clients choose their ids, the node's id with -client"
	}
	return nil
}

// Displace connects as the node until that one throws this connection out.
func (w *proveWorld) Displace() string {
	if w.whyNot != "" {
		return w.whyNot
	}
	w.displaces = true
	w.displaced.Store(false)
	other := mqtt.New(w.node)
	quit, stop := context.WithTimeout(w.quit, time.Minute)
	go func() {
		_ = other.Run(quit) // it ends by being thrown out
		stop()
	}()
	go func() {
		opened := false
		for quit.Err() == nil {
			select {
			case up := <-other.Changed():
				w.displaced.Store(opened && !up)
				if opened = opened || up; !up {
					stop()
				}
			case <-quit.Done():
			}
		}
	}()
	return ""
}

func (w *proveWorld) Displaced() bool { return w.displaced.Load() }

func (w *proveWorld) Say(text string) { fmt.Fprintln(w.out, text) }

func (w *proveWorld) Ask(_ prove.Question, text string) {
	w.wanted = true
	fmt.Fprint(w.out, text)
}

func (w *proveWorld) Do(_ prove.Act, text string) { fmt.Fprintln(w.out, ">>> "+text) }
