package demo

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net"
	"os"
	"path/filepath"
	"strings"
	"time"

	"go.uber.org/zap"

	"leat/controller"
	"leat/controller/app"
	"leat/controller/config"
	"leat/controller/mqtt"
	"leat/controller/sim"
	"leat/deploy"
)

// Options are what the person at the terminal chooses.
type Options struct {
	Config string        // file; empty = the embedded sample farm
	Speed  float64       // simulated seconds per second; a wish
	For    time.Duration // wall time after which the night ends; 0 = until interrupted
	// Simulated ends the night after so much simulated time; 0 = never.
	Simulated time.Duration
	Listen    string // of the page; empty = the configuration's, or a free port
	MQTT      string // of the broker; empty = the usual port, or a free one
	State     string // folder; empty = a temporary one
	Fault     string
	Seed      uint64
	Picture   string // SVG file of the night; empty = in the state folder
	Out       io.Writer
	Wide      func() int // columns of Out where it is a terminal to be redrawn; nil = plain lines
	Log       *zap.Logger
}

// faultAfter is when a fault begins if the night is long enough, in simulated time.
const faultAfter = 90 * time.Minute

// stage is everything that plays in a night.
type stage struct {
	options  Options
	file     *config.File
	broker   *broker
	clock    *virtualClock
	app      *app.App
	farm     *sim.Farm
	farmLink *mqtt.Link
	state    string
	nights   []*night
	faultAt  time.Duration
	ended    chan error // the daemon's end
	// stopDaemon ends the daemon and waits for it.
	stopDaemon func() error
	began      time.Time
}

// Run plays a night and reports it.
func Run(ctx context.Context, o Options) (*Report, error) {
	if err := CheckFault(o.Fault); err != nil {
		return nil, err
	}
	s := &stage{options: o, ended: make(chan error, 1), faultAt: faultAfter}
	// A short night shows its fault too: after the start has settled and with two
	// fifths of the night left.
	for _, length := range []time.Duration{time.Duration(o.For.Seconds()*o.Speed) * time.Second, o.Simulated} {
		if length > 0 {
			s.faultAt = min(s.faultAt, length*3/5).Truncate(time.Second)
		}
	}
	defer s.clear()
	if err := s.prepare(); err != nil {
		return nil, err
	}
	return s.play(ctx)
}

// Faults lists the faults that can be shown, a line each.
func Faults() []string {
	var lines []string
	for _, f := range sim.Faults() {
		if !f.Outside || f.Name == brokerRestart {
			lines = append(lines, fmt.Sprintf("%-20s %s", f.Name, f.Text))
		}
	}
	return lines
}

// CheckFault says whether a fault of this name can be shown; "" is none.
func CheckFault(name string) error {
	if name == "" {
		return nil
	}
	var names []string
	for _, f := range sim.Faults() {
		if f.Name == name {
			return nil
		}
		names = append(names, f.Name)
	}
	return fmt.Errorf("no fault is named %q; there are: %s", name, strings.Join(names, ", "))
}

// prepare builds the stage from the broker up.
func (s *stage) prepare() (err error) {
	if s.file, err = readConfig(s.options.Config, ranSample); err != nil {
		return err
	}
	if err := s.prepareState(); err != nil {
		return err
	}
	if s.broker, err = startBroker(s.options.MQTT); err != nil {
		return err
	}
	s.file.Broker = config.Broker{URL: s.broker.url(), ClientID: "leat-demo", User: daemonUser, Password: s.broker.password[daemonUser]}
	s.file.Web = config.Web{Listen: freeAddress(s.options.Listen, s.file.Web.Listen)}
	s.file.State = s.state
	s.file.Zone = time.Local
	for i := range s.file.Settings.Tanks {
		t := &s.file.Settings.Tanks[i]
		// Two minutes of the person at the page, whose clock is not the farm's.
		t.PH.ConfirmWithin = time.Duration(2 * max(s.options.Speed, 1) * float64(time.Minute))
		t.EC.ConfirmWithin = t.PH.ConfirmWithin
	}
	evening := time.Now()
	evening = time.Date(evening.Year(), evening.Month(), evening.Day(), 18, 0, 0, 0, time.Local)
	s.clock = newVirtualClock(evening)
	if err := s.prepareDaemon(); err != nil {
		return err
	}
	return s.prepareFarm()
}

func (s *stage) prepareDaemon() (err error) {
	s.app, err = app.New(s.file, app.Options{Clock: s.clock, Log: s.options.Log, ArmAll: true, Supervise: func(string) {}})
	return err
}

func (s *stage) prepareFarm() (err error) {
	fault := s.options.Fault
	if fault == brokerRestart {
		fault = "" // that one is this package's
	}
	s.farm, err = newFarm(s.file, sim.Options{Seed: s.options.Seed, StartPH: 6.6, StartECShare: 0.6, StartHour: 18, Fault: fault, FaultAt: s.faultAt})
	if err != nil {
		return err
	}
	s.farmLink = mqtt.New(mqtt.Options{URL: s.broker.url(), ClientID: "farm", User: farmUser, Password: s.broker.password[farmUser],
		Queued: s.farm.Subscriptions(), QueuePerItem: 4096})
	for i := range s.file.Settings.Safety.Tanks {
		s.nights = append(s.nights, &night{tank: s.file.Settings.Safety.Tanks[i].Name})
	}
	return nil
}

// newFarm makes the simulated farm that belongs to a configuration.
func newFarm(file *config.File, o sim.Options) (*sim.Farm, error) {
	wires := make([]sim.Wire, len(file.Settings.Safety.Inputs))
	for i := range file.InputTopics {
		in := &file.InputTopics[i]
		wires[in.Input] = sim.Wire{Topic: in.Topic, Compensation: in.Compensation}
	}
	return sim.New(&file.Settings, file.Topics, wires, o)
}

// ranSample is the sample farm whose bench leat floods itself: the demo shows that, while the
// sample leaves the bench to its own controller.
var ranSample = bytes.Replace(deploy.Sample, []byte("\n#run = {"), []byte("\nrun = {"), 1)

// readConfig reads a file, or where none is named the sample that is given.
func readConfig(path string, sample []byte) (*config.File, error) {
	if path != "" {
		return config.Look(path)
	}
	file, err := config.Parse("the sample farm", sample, config.Env{})
	if err != nil {
		return nil, fmt.Errorf("the embedded sample: %w", err)
	}
	return file, nil
}

// prepareState finds the folder of the night. The demo always starts from an empty
// record: a night that continues another's doses would not be this night.
func (s *stage) prepareState() error {
	if s.options.State == "" {
		dir, err := os.MkdirTemp("", "leat-demo-")
		if err != nil {
			return fmt.Errorf("state folder: %w", err)
		}
		s.state = dir
		return nil
	}
	s.state = s.options.State
	if entries, err := os.ReadDir(s.state); err == nil && len(entries) > 0 {
		return fmt.Errorf("state folder %s is not empty; name a new one, so that this night's record stands alone", s.state)
	}
	return os.MkdirAll(s.state, 0o700)
}

// freeAddress is the wanted address if it can be bound, else a free port of
// loopback. A wish stated by the person is never replaced.
func freeAddress(stated, usual string) string {
	if stated != "" {
		return stated
	}
	l, err := net.Listen("tcp", usual)
	if err != nil {
		return "127.0.0.1:0"
	}
	_ = l.Close() // it is bound again in a moment
	return usual
}

func (s *stage) clear() {
	if s.app != nil {
		s.app.Close()
	}
	if s.broker != nil && s.broker.server != nil {
		_ = s.broker.stop() // the night is over; nobody is left to tell
	}
	if s.options.State == "" && s.options.Picture != "" && s.state != "" {
		_ = os.RemoveAll(s.state) // a temporary folder
	}
}

// picturePath is where the picture of the night goes.
func (o *Options) picturePath(state string) string {
	if o.Picture != "" {
		return o.Picture
	}
	return filepath.Join(state, "night.svg")
}

// greet tells where everything is.
func (s *stage) greet() {
	fmt.Fprintf(s.options.Out, `The simulated farm of the demo: %s. No real pump is moved.
  page     %s
  sign in  %s   (once, within ten minutes)
  broker   %s   (try: mosquitto_sub -p %s -t 'leat/#' -v)
  record   %s
Simulated time runs at up to %g times the clock. Ctrl-C ends the night and reports it.

`, s.file.Settings.Safety.Station, s.app.Address(), s.app.SignInLink(controller.RoleEngineer), s.broker.url(),
		s.broker.address[strings.LastIndexByte(s.broker.address, ':')+1:], s.state, s.options.Speed)
}
