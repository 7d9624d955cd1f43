package apptest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"leat/controller"
	"leat/controller/config"
	"leat/controller/mqtt"
	"leat/controller/payload"
	"leat/controller/sim"
	"leat/dosing"
)

// Farm is the simulated farm as a client of a broker, in real time. It knows the
// truth, and remembers what it was told.
type Farm struct {
	file *config.File
	link *mqtt.Link

	mu     sync.Mutex
	sim    *sim.Farm
	latest map[string][]byte // the last reading of each topic
	muted  map[string]bool
	wrap   map[string]func([]byte) []byte
	orders []Arrival
	begun  map[string]int
	order  []string // of the orders that were begun, as they were
	done   map[string]int
	stops  []time.Time
}

// Arrival is an order as it arrived at the node.
type Arrival struct {
	Order string
	At    time.Time
}

// Steps of the farm. A reading is repeated four times a second: half of dead time
// and lag, which bounds its age, is one second in the small tub.
const (
	farmStep    = 20 * time.Millisecond
	repeatEvery = 250 * time.Millisecond
)

// NewFarm starts the farm of a configuration, still but for what is dosed, with
// exact pumps. It ends with the test.
func NewFarm(t testing.TB, file *config.File) *Farm {
	t.Helper()
	wires := make([]sim.Wire, len(file.Settings.Safety.Inputs))
	for i := range file.InputTopics {
		in := &file.InputTopics[i]
		wires[in.Input] = sim.Wire{Topic: in.Topic, Compensation: in.Compensation}
	}
	simulated, err := sim.New(&file.Settings, file.Topics, wires, sim.Options{Seed: 1, StartPH: 6.6, StartECShare: 0.6, Quiet: true, PumpError: -1})
	if err != nil {
		t.Fatal(err)
	}
	f := &Farm{file: file, sim: simulated, latest: map[string][]byte{}, muted: map[string]bool{}, wrap: map[string]func([]byte) []byte{}, begun: map[string]int{}, done: map[string]int{}}
	// Patient, so that it misses nothing of what it is to witness when the machine is slow.
	f.link = mqtt.New(mqtt.Options{URL: file.Broker.URL, ClientID: "farm-" + file.Settings.Safety.Station, User: file.Broker.User, Password: file.Broker.Password,
		Queued: f.sim.Subscriptions(), LongestPause: 500 * time.Millisecond,
		KeepAlive: time.Minute, PingTimeout: time.Minute, WriteTimeout: time.Minute})
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan struct{}, 2)
	go func() { _ = f.link.Run(ctx); ended <- struct{}{} }()
	go func() { f.run(ctx); ended <- struct{}{} }()
	t.Cleanup(func() {
		stop()
		<-ended
		<-ended
	})
	// What a daemon says before that, such as its first stop, would be lost.
	Eventually(t, "the farm is connected", f.Connected)
	return f
}

func (f *Farm) run(ctx context.Context) {
	began, repeated := time.Now(), time.Now()
	ticker := time.NewTicker(farmStep)
	defer ticker.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case up := <-f.link.Changed():
			f.mu.Lock()
			f.sim.Connected(up)
			f.mu.Unlock()
		case <-f.link.Ready():
			for m, ok := f.link.Next(); ok; m, ok = f.link.Next() {
				f.take(m)
			}
		case <-ticker.C:
			f.mu.Lock()
			f.sim.Advance(time.Since(began), f.send)
			if time.Since(repeated) >= repeatEvery {
				repeated = time.Now()
				for topic, body := range f.latest {
					f.publish(topic, 0, body)
				}
			}
			f.mu.Unlock()
		}
	}
}

// take hands the simulated nodes what arrived, and notes it.
func (f *Farm) take(m mqtt.Message) {
	if m.Retained {
		return // an order that the broker stored is from another time
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	switch {
	case strings.Contains(m.Topic, "/order/"):
		if order, err := payload.ParseOrder(m.Body); err == nil {
			f.orders = append(f.orders, Arrival{Order: order.ID.String(), At: time.Now()})
		}
	case strings.HasSuffix(m.Topic, "/stop"):
		f.stops = append(f.stops, time.Now())
	}
	f.sim.Receive(m.Topic, m.Body, f.send)
}

// send is the simulation's way to the broker.
func (f *Farm) send(topic string, qos byte, _ bool, body []byte) {
	body = bytes.Clone(body) // the simulation writes the next one in its place
	switch {
	case strings.Contains(topic, "/reading/"):
		f.latest[topic] = body
	case strings.Contains(topic, "/report/"):
		f.note(body)
	}
	f.publish(topic, qos, body)
}

func (f *Farm) note(body []byte) {
	report, err := payload.ParseReport(body)
	if err != nil {
		return
	}
	switch report.Phase {
	case controller.PhaseAccepted:
		if f.begun[report.Order.String()]++; f.begun[report.Order.String()] == 1 {
			f.order = append(f.order, report.Order.String())
		}
	case controller.PhaseDone, controller.PhaseStopped:
		f.done[report.Order.String()]++
	}
}

func (f *Farm) publish(topic string, qos byte, body []byte) {
	if f.muted[topic] {
		return
	}
	if wrap := f.wrap[topic]; wrap != nil {
		body = wrap(body)
	}
	if err := f.link.Publish(topic, qos, false, body); err != nil && !errors.Is(err, mqtt.ErrClosed) {
		return // as lost as on a real farm; what must arrive is asked for by the tests
	}
}

// Wrap makes a sensor's payload of the plain number that the simulation sends.
func (f *Farm) Wrap(topic string, wrap func([]byte) []byte) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.wrap[topic] = wrap
}

// Mute keeps the farm from sending on a topic, so that a test can send there.
func (f *Farm) Mute(topic string, muted bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.muted[topic] = muted
}

// Orders are the orders that arrived, in order.
func (f *Farm) Orders() []Arrival {
	f.mu.Lock()
	defer f.mu.Unlock()
	return append([]Arrival(nil), f.orders...)
}

// Begun are the orders that the nodes began, in order.
func (f *Farm) Begun() []string {
	f.mu.Lock()
	defer f.mu.Unlock()
	return append([]string(nil), f.order...)
}

// Starts is how many doses the nodes began.
func (f *Farm) Starts() int {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.sim.Starts()
}

// Finished is how many different orders the nodes reported done or stopped.
func (f *Farm) Finished() int {
	f.mu.Lock()
	defer f.mu.Unlock()
	return len(f.done)
}

// FinishedOf is Finished of the orders of one epoch.
func (f *Farm) FinishedOf(epoch int) int {
	f.mu.Lock()
	defer f.mu.Unlock()
	n := 0
	for order := range f.done {
		if strings.HasPrefix(order, fmt.Sprintf("%d-", epoch)) {
			n++
		}
	}
	return n
}

// Stops are when stop orders arrived.
func (f *Farm) Stops() []time.Time {
	f.mu.Lock()
	defer f.mu.Unlock()
	return append([]time.Time(nil), f.stops...)
}

// Reboot cuts the power of the first node for a moment, in a dose or not.
func (f *Farm) Reboot() {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.sim.Reboot(0)
}

// Pumping says whether a pump runs now.
func (f *Farm) Pumping() bool {
	f.mu.Lock()
	defer f.mu.Unlock()
	_, running := f.sim.Running()
	return running
}

// Delivered is what truly left each container, by the pump's name.
func (f *Farm) Delivered() map[string]dosing.Volume {
	f.mu.Lock()
	defer f.mu.Unlock()
	all := map[string]dosing.Volume{}
	for i, p := range f.file.Settings.Safety.Pumps {
		all[p.Name] = f.sim.Delivered(dosing.PumpID(i))
	}
	return all
}

// Connected says whether the farm's link is open.
func (f *Farm) Connected() bool { return f.link.Open() }

// Twice are the orders that arrived or were begun more than once. There must be
// none.
func (f *Farm) Twice() []string {
	f.mu.Lock()
	defer f.mu.Unlock()
	var twice []string
	arrived := map[string]int{}
	for _, a := range f.orders {
		if arrived[a.Order]++; arrived[a.Order] == 2 {
			twice = append(twice, a.Order+" arrived twice")
		}
	}
	for order, times := range f.begun {
		if times > 1 {
			twice = append(twice, order+" was begun twice")
		}
	}
	return twice
}
