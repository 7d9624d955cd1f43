package demo

import (
	"context"
	"fmt"
	"io"
	"os"
	"sync"
	"testing"
	"time"

	"go.uber.org/zap"

	"leat/controller"
	"leat/controller/mqtt"
	"leat/controller/payload"
	"leat/controller/store"
	"leat/controller/web"
	"leat/controller/web/webtest"
	"leat/dosing"
)

const password = "four slow brown carp"

// stand is one demo farm, with its real core, gate, ledger, broker and page, that all tests of the
// page share. Its clock stands still or goes a second a second; pass lets it go as fast as it can.
// Whatever happens, each order that goes out is held against the reading.
type stand struct {
	*stage
	end    func() error
	ear    *mqtt.Link // hears the orders
	heard  int
	orders int
	turns  chan func()
	held   bool     // the clock stands: nothing steps the decision loop
	wrongs []string // orders against the reading
	given  map[string]int
	broken error
	over   chan struct{}
}

var theStand struct {
	sync.Once
	*stand
	err error
}

// farm is the shared demo, an hour and a half into its evening: both tanks are in their bands.
func farm(t *testing.T) *stand {
	t.Helper()
	webtest.Need(t)
	theStand.Do(func() { theStand.stand, theStand.err = newStand() })
	if theStand.err != nil {
		t.Fatal(theStand.err)
	}
	return theStand.stand
}

func newStand() (*stand, error) {
	s := &stand{stage: &stage{options: Options{Listen: "127.0.0.1:0", MQTT: "127.0.0.1:0", Seed: 11, Speed: 60, Out: io.Discard, Log: zap.NewNop()},
		ended: make(chan error, 1)}, turns: make(chan func()), over: make(chan struct{}), given: map[string]int{}}
	if err := s.prepare(); err != nil {
		return nil, err
	}
	if err := s.addPeople(); err != nil {
		return nil, err
	}
	var err error
	if s.end, err = s.begin(context.Background()); err != nil {
		return nil, err
	}
	if err := s.listen(); err != nil {
		return nil, err
	}
	s.began = time.Now()
	go s.conductByTurns()
	return s, s.pass(100 * time.Minute)
}

// addPeople adds who may sign in by a password, as leat user does.
func (s *stand) addPeople() error {
	hash, err := web.Hash(password)
	if err != nil {
		return err
	}
	db, err := store.Open(s.state)
	if err != nil {
		return err
	}
	for name, role := range map[string]controller.Role{"mara": controller.RoleEngineer, "odo": controller.RoleEngineer, "visitor": controller.RoleView} {
		if err := db.People().Add(store.Person{Name: name, Role: role.String(), Hash: hash, Added: time.Now()}); err != nil {
			return err
		}
	}
	return db.Close()
}

// listen hears every order that the daemon gives.
func (s *stand) listen() error {
	var topics []string
	for i := range s.file.Settings.Safety.Pumps {
		topics = append(topics, s.file.Topics.Order(s.file.Settings.Safety.Pumps[i].Name))
	}
	s.ear = mqtt.New(mqtt.Options{URL: s.broker.url(), ClientID: "ear", Queued: topics, QueuePerItem: 4096})
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- s.ear.Run(ctx) }()
	end := s.end
	s.end = func() error {
		err := end()
		stop()
		if deaf := <-ended; err == nil {
			err = deaf
		}
		return err
	}
	for !s.ear.Open() {
		select {
		case err := <-ended:
			ended <- err
			return err
		case <-time.After(time.Millisecond):
		}
	}
	return nil
}

// conductByTurns moves the clock a second a second, and does what is asked between two seconds.
func (s *stand) conductByTurns() {
	for {
		select {
		case do, open := <-s.turns:
			if !open {
				close(s.over)
				return
			}
			do()
		case <-time.After(time.Second):
			if !s.held {
				s.tick()
			}
		}
	}
}

// turn does something between two seconds.
func (s *stand) turn(do func()) {
	done := make(chan struct{})
	s.turns <- func() { do(); close(done) }
	<-done
}

// pass lets so much time of the farm pass.
func (s *stand) pass(d time.Duration) (err error) {
	s.turn(func() {
		for range int(d / time.Second) {
			s.tick()
		}
		err = s.broken
	})
	return err
}

// tick is one second, after which its orders are judged.
func (s *stand) tick() {
	if s.broken != nil {
		return
	}
	before := s.app.View()
	if _, err := s.second(context.Background()); err != nil {
		s.broken = err
		return
	}
	after := s.app.View()
	// All that the broker took of the daemon's orders is waited for.
	for s.heard < len(s.broker.traffic.orderWaits()) {
		m, ok := s.ear.Next()
		if !ok {
			time.Sleep(100 * time.Microsecond)
			continue
		}
		s.heard++
		s.judge(before, after, m)
	}
}

// judge holds an order against the readings of the second in which it went out.
func (s *stand) judge(before, after *controller.View, m mqtt.Message) {
	order, err := payload.ParseOrder(m.Body)
	if err != nil {
		s.broken = fmt.Errorf("%s: %w", m.Topic, err)
		return
	}
	for i := range s.file.Settings.Safety.Pumps {
		p := &s.file.Settings.Safety.Pumps[i]
		if s.file.Topics.Order(p.Name) != m.Topic {
			continue
		}
		s.orders++
		for id := range s.file.Settings.Tanks {
			if !p.ServesTank(dosing.TankID(id)) || order.Outlet != "" && order.Outlet != after.Tanks[id].Name {
				continue
			}
			s.given[after.Tanks[id].Name+" "+p.Role.String()]++
			why := against(p.Role, &after.Tanks[id])
			if why != "" && before != nil {
				why = against(p.Role, &before.Tanks[id]) // the reading by which it was decided
			}
			if why != "" {
				s.wrongs = append(s.wrongs, fmt.Sprintf("%s: %s into %s: %s", after.At.Wall.Format("15:04:05"), p.Name, after.Tanks[id].Name, why))
			}
		}
	}
}

// against says why a dose goes against the reading; "" = it does not: acid only above the setpoint,
// base only below it, within what a reading scatters. A blend that was begun is finished, so a stock may come until EC is above its
// band. A titration has an aim of its own that the person was told, at most a quarter of a pH beyond
// the band in which it began.
func against(role dosing.Role, t *controller.TankView) string {
	const scatter = 0.03 // pH: three deviations of the noise
	quantity, wanted, side := dosing.QuantityPH, t.PH.Working, 1.0
	switch role {
	case dosing.RoleAcid:
	case dosing.RoleBase:
		side = -1
	case dosing.RoleStock:
		quantity, wanted, side = dosing.QuantityEC, t.EC.Working+dosing.StartBand.EC, -1
	default:
		return ""
	}
	if t.Titrating && role != dosing.RoleStock {
		wanted -= side * (dosing.StartBand.PH + 0.25)
	}
	for i := range t.Inputs {
		if in := &t.Inputs[i]; in.Quantity == quantity && in.Present && in.Quality.MayDose() {
			if side*(in.Value-wanted) > -scatter {
				return ""
			}
			return fmt.Sprintf("%s reads %.3f, setpoint %.3f", quantity, in.Value, wanted)
		}
	}
	return fmt.Sprintf("no reading of %s may dose", quantity)
}

// close ends the farm after the tests.
func closeStand() {
	s := theStand.stand
	if s == nil {
		return
	}
	close(s.turns)
	<-s.over
	if err := s.end(); err != nil {
		fmt.Fprintln(os.Stderr, "the shared farm:", err)
	}
	s.clear()
	_ = os.RemoveAll(s.state)
}
