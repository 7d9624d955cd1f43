package demo

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"time"

	"leat/controller"
	"leat/controller/mqtt"
	"leat/dosing"
	"leat/safety"
	"leat/safety/alarm"
)

// The fault that this package plays itself, and how long the broker is away, in
// simulated time.
const (
	brokerRestart = "broker-restart"
	brokerAway    = 3 * time.Minute
)

// patience is how long to wait for quiet before the counters are taken as they
// are: a reconnect loses messages that no counter will ever account for.
const patience = 400 * time.Millisecond

// offset is what a client's own counters and the broker's differ by.
type offset struct{ taken, given int64 }

// play runs the night to its end.
func (s *stage) play(ctx context.Context) (*Report, error) {
	end, err := s.begin(ctx)
	if err == nil {
		s.greet()
		s.began = time.Now()
		err = s.conduct(ctx)
	}
	reached := s.clock.Now().Up.Seconds() / max(time.Since(s.began).Seconds(), 1e-3)
	if ended := end(); err == nil {
		err = ended
	}
	if err != nil {
		return nil, err
	}
	return s.report(reached)
}

// begin starts farm and daemon and waits until both are connected; end stops them.
func (s *stage) begin(ctx context.Context) (end func() error, err error) {
	running, stop := context.WithCancel(context.WithoutCancel(ctx))
	farmEnded := make(chan error, 1)
	go func() { farmEnded <- s.farmLink.Run(running) }()
	s.startDaemon()
	return func() error {
		// The daemon stops first, pumps off, while the farm still listens.
		err := s.stopDaemon()
		s.takeIn()
		stop()
		if ended := <-farmEnded; err == nil {
			err = ended
		}
		return err
	}, s.connect(ctx)
}

// startDaemon lets the daemon run until stopDaemon.
func (s *stage) startDaemon() {
	ctx, stop := context.WithCancel(context.Background())
	go func() { s.ended <- s.app.Run(ctx) }()
	s.stopDaemon = func() error {
		stop()
		return s.awaitDaemon()
	}
}

// awaitDaemon waits for the daemon's end while the farm goes on hearing it.
func (s *stage) awaitDaemon() error {
	for {
		select {
		case err := <-s.ended:
			s.ended <- nil
			return err
		case <-time.After(time.Millisecond):
			s.takeIn()
		}
	}
}

// connect waits until farm and daemon are both connected.
func (s *stage) connect(ctx context.Context) error {
	deadline := time.After(10 * time.Second)
	for !s.farmLink.Open() || !s.app.Link().Open() {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case err := <-s.ended:
			s.ended <- nil
			return err
		case <-deadline:
			return fmt.Errorf("daemon and farm did not connect to the broker within 10 s: %w", errors.Join(s.app.Link().LastError(), s.farmLink.LastError()))
		case <-time.After(time.Millisecond):
		}
	}
	return nil
}

// conduct moves the clock second by second at the wished speed.
func (s *stage) conduct(ctx context.Context) error {
	screen := newScreen(s.options.Out, s.options.Wide)
	defer screen.leave()
	for ctx.Err() == nil && !s.options.over(s.began, s.clock.Now().Up) {
		now, err := s.second(ctx)
		if err != nil {
			return err
		}
		screen.show(s, now)
		s.pace(ctx, now.Up)
	}
	return nil
}

// second plays one second of the night.
func (s *stage) second(ctx context.Context) (dosing.Instant, error) {
	now := s.clock.advance()
	if err := s.playBroker(now.Up); err != nil {
		return now, err
	}
	s.farm.Advance(now.Up, s.sendForFarm)
	s.settle(ctx)
	s.broker.traffic.tick()
	select {
	case s.clock.ticks <- now:
	case err := <-s.ended:
		s.ended <- nil
		return now, fmt.Errorf("the daemon ended: %w", err)
	}
	s.settle(ctx)
	s.note(now)
	return now, nil
}

// over says that the night has lasted as long as was asked for.
func (o *Options) over(began time.Time, up time.Duration) bool {
	return o.For > 0 && time.Since(began) >= o.For || o.Simulated > 0 && up >= o.Simulated
}

// pace waits until the simulated time is due.
func (s *stage) pace(ctx context.Context, up time.Duration) {
	if s.options.Speed <= 0 {
		return
	}
	due := s.began.Add(time.Duration(float64(up) / s.options.Speed))
	if wait := time.Until(due); wait > 0 {
		select {
		case <-ctx.Done():
		case <-time.After(wait):
		}
	}
}

// playBroker takes the broker away and brings it back, where that is the fault.
func (s *stage) playBroker(up time.Duration) error {
	if s.options.Fault != brokerRestart {
		return nil
	}
	switch up {
	case s.faultAt:
		return s.broker.stop()
	case s.faultAt + brokerAway:
		return s.broker.start()
	}
	return nil
}

// sendForFarm publishes what the farm sends. While the link is down a sensor's
// value is lost, as on a real farm.
func (s *stage) sendForFarm(topic string, qos byte, retained bool, body []byte) {
	if err := s.farmLink.Publish(topic, qos, retained, bytes.Clone(body)); err != nil && !errors.Is(err, mqtt.ErrClosed) {
		s.options.Log.Sugar().Debugf("farm: %v", err)
	}
}

// takeIn hands the farm what arrived for it, and tells whether anything did.
func (s *stage) takeIn() bool {
	moved := false
	for {
		select {
		case up := <-s.farmLink.Changed():
			s.farm.Connected(up)
			moved = true
			continue
		default:
		}
		m, ok := s.farmLink.Next()
		if !ok {
			return moved
		}
		moved = true
		s.farm.Receive(m.Topic, m.Body, s.sendForFarm)
	}
}

// settle waits until nothing is on the way between farm, broker and daemon.
func (s *stage) settle(ctx context.Context) {
	began := time.Now()
	for {
		if !s.takeIn() && s.quiet(ctx) && !s.takeIn() {
			return
		}
		if time.Since(began) > patience {
			s.broker.traffic.rebase("leat-demo", s.app.Link())
			s.broker.traffic.rebase("farm", s.farmLink)
			return
		}
		time.Sleep(20 * time.Microsecond)
	}
}

func (s *stage) quiet(ctx context.Context) bool {
	return s.broker.traffic.balanced("leat-demo", s.app.Link()) && s.broker.traffic.balanced("farm", s.farmLink) && s.app.Quiet(ctx) && s.farmLink.Idle()
}

// balanced says that all the client sent was taken and all it was given arrived.
func (t *traffic) balanced(client string, link *mqtt.Link) bool {
	return !link.Open() || t.difference(client, link) == t.offsets[client]
}

// rebase takes the counters of a client and of the broker as they are.
func (t *traffic) rebase(client string, link *mqtt.Link) {
	t.offsets[client] = t.difference(client, link)
}

func (t *traffic) difference(client string, link *mqtt.Link) offset {
	own, brokers := link.Stats(), t.of(client)
	return offset{taken: int64(own.Published) - int64(brokers.taken), given: int64(brokers.given) - int64(own.Received)}
}

// note writes down the moment for the report.
func (s *stage) note(now dosing.Instant) {
	view := s.app.View()
	if view == nil {
		return
	}
	for i, n := range s.nights {
		t := &view.Tanks[i]
		n.noteHolds(now.Up, t)
		n.noteAlarms(now.Up, t)
		if now.Up%sampleEvery != 0 {
			continue
		}
		truth := s.farm.Truth(dosing.TankID(i))
		n.samples = append(n.samples, sample{at: now.Up, pH: truth.PH, ec: truth.EC, wantPH: t.PH.Working, wantEC: t.EC.Working,
			holding: t.Mode != safety.ModeArmed})
	}
}

// noteHolds follows which interlocks are active.
func (n *night) noteHolds(up time.Duration, t *controller.TankView) {
	for i := range n.holds {
		h := &n.holds[i]
		if h.to < 0 && !holds(t, h.cause) {
			h.to = up
		}
	}
	for _, h := range t.Holds {
		if h.Cause == safety.CauseDoseOpen || n.open(h.Cause.String()) {
			continue
		}
		n.holds = append(n.holds, holdMark{cause: h.Cause.String(), text: h.Text, from: up, to: -1})
	}
}

func holds(t *controller.TankView, cause string) bool {
	for _, h := range t.Holds {
		if h.Cause.String() == cause {
			return true
		}
	}
	return false
}

func (n *night) open(cause string) bool {
	for i := range n.holds {
		if n.holds[i].cause == cause && n.holds[i].to < 0 {
			return true
		}
	}
	return false
}

// noteAlarms keeps each alarm once, at the priority it rose to, in its last words: their figures
// change as more is known.
func (n *night) noteAlarms(up time.Duration, t *controller.TankView) {
	for _, a := range t.Alarms {
		if a.State == alarm.Suppressed || a.State == alarm.Normal {
			continue
		}
		known := false
		for i := range n.alarms {
			if n.alarms[i].cause == a.Cause && n.alarms[i].priority == a.Priority.String() {
				known, n.alarms[i].text = true, a.Text
			}
		}
		if !known {
			n.alarms = append(n.alarms, alarmMark{at: up, cause: a.Cause, priority: a.Priority.String(), text: a.Text})
		}
	}
}
