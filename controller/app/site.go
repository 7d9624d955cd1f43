package app

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"runtime/debug"
	"sync"
	"time"

	"go.uber.org/zap"

	"leat/controller"
	"leat/controller/config"
	"leat/controller/metrics"
	"leat/controller/mqtt"
	"leat/controller/payload"
	"leat/controller/store"
	"leat/controller/web"
)

// SiteOptions are what a caller may choose for a process of several stations.
type SiteOptions struct {
	Version   string
	Log       *zap.Logger
	Reload    func(station string) (*config.File, error)
	Turn      func(ctx context.Context, file *config.File, tell func(string), run func(context.Context, Term) error) error // nil = each ledger is the station's own
	Supervise func(state string)                                                                                           // nil = systemd where there is one
	ArmAll    bool                                                                                                         // tests arm their own tanks
}

// Site is one process with several stations. Each is an App with a core, a loop, a ledger, an
// epoch and a local socket of its own: none waits for another. What there is once is the link to
// the broker, the door of the page and of the monitoring, and the people, who are kept with the
// first station. A station that fails ends alone, and /fleet and /metrics say so.
type Site struct {
	files   []*config.File
	options SiteOptions
	trunk   *mqtt.Link
	db      *store.DB // of the people
	front   *web.Server
	watch   supervised
	starts  chan struct{} // places of stations that start at once

	mu      sync.Mutex
	apps    []*App // nil = it does not run here now
	trouble []string
	owners  []string
}

// startsAtOnce bounds how many stations replay their ledgers at the same time: more would
// only hold more memory.
const startsAtOnce = 4

// NewSite opens the door of a process of several stations.
func NewSite(files []*config.File, options SiteOptions) (*Site, error) {
	if options.Log == nil {
		options.Log = zap.NewNop()
	}
	if options.Supervise == nil {
		options.Supervise = supervise
	}
	s := &Site{files: files, options: options, starts: make(chan struct{}, startsAtOnce), apps: make([]*App, len(files)), trouble: make([]string, len(files)), owners: make([]string, len(files)),
		watch: supervised{tell: options.Supervise, ready: make([]bool, len(files)), fed: make([]bool, len(files)), ended: make([]bool, len(files))}}
	for _, f := range files {
		if above := filepath.Dir(f.State); holdsLedger(above) {
			return nil, fmt.Errorf("%s holds a ledger itself, and station %q is to keep its own in %s: move the files of the station that wrote it there, so that its doses still count", above, f.Settings.Safety.Station, f.State)
		}
	}
	secure, err := BrokerTLS(files[0].Broker)
	if err != nil {
		return nil, err
	}
	b := files[0].Broker
	online := files[0].Topics.Online(b.ClientID)
	s.trunk = mqtt.New(mqtt.Options{URL: b.URL, ClientID: b.ClientID, User: b.User, Password: b.Password, TLS: secure,
		Will:        mqtt.Message{Topic: online, Body: []byte(payload.Offline)},
		Birth:       mqtt.Message{Topic: online, Body: []byte(payload.Online)},
		LargestBody: payload.LargestPayload, Log: options.Log})
	if s.db, err = store.Open(files[0].State); err != nil {
		return nil, err
	}
	if s.front, err = web.New(s.webOptions()); err != nil {
		return nil, errors.Join(err, s.db.Close())
	}
	return s, nil
}

func holdsLedger(folder string) bool {
	rows, _, known := store.Head(folder)
	return known && rows > 0
}

// webOptions are those of the front door.
func (s *Site) webOptions() web.Options {
	w := s.files[0].Web
	if w.Off {
		w = config.Web{}
	}
	return web.Options{Listen: w.Listen, Certificate: w.Certificate, Key: w.Key, Proxied: w.BehindProxy, Monitoring: s.files[0].Metrics.Listen,
		ECScale: w.ECScale, US: w.US, View: func() *controller.View { return nil },
		People: nights{s.db}.people, Tokens: tokens{store.TokensOf(s.db)}, Phones: phones{store.PhonesOf(s.db)}, Passkeys: passkeys{store.PasskeysOf(s.db)},
		Hand: handing(s.db), Find: findIn(s.db),
		Audit: func(who, from, what, detail string) {
			if err := s.db.Audit(time.Now().In(s.files[0].Zone), who, from, what, detail); err != nil {
				s.options.Log.Error("audit", zap.Error(err))
			}
		},
		Metrics: metrics.Together(s.measured), Ready: func() error { return s.each((*App).ready) },
		Alive: func() error { return s.each(func(a *App) error { return a.driver.pulse.within(aliveWithin) }) },
		Loop:  func() time.Duration { return 0 }, Stations: s.stations, Several: true}
}

// Address is where the page listens.
func (s *Site) Address() string { return s.front.Address() }

// SignInLink makes a link that signs one person in once, without a password.
func (s *Site) SignInLink(role controller.Role) string { return s.front.SignInLink(role) }

// App is a station that runs here now; nil = it does not.
func (s *Site) App(station string) *App {
	s.mu.Lock()
	defer s.mu.Unlock()
	for i, f := range s.files {
		if f.Settings.Safety.Station == station {
			return s.apps[i]
		}
	}
	return nil
}

// running are the stations that run here now.
func (s *Site) running() (apps []*App) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, a := range s.apps {
		if a != nil {
			apps = append(apps, a)
		}
	}
	return apps
}

// each is the first thing that is wrong with a station, with its name.
func (s *Site) each(wrong func(*App) error) error {
	for _, a := range s.running() {
		if err := wrong(a); err != nil {
			return fmt.Errorf("station %s: %w", a.file.Settings.Safety.Station, err)
		}
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	for i, why := range s.trouble {
		if why != "" {
			return fmt.Errorf("station %s: %s", s.files[i].Settings.Safety.Station, why)
		}
	}
	return nil
}

func (s *Site) measured() (all []metrics.Station) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for i, f := range s.files {
		m := metrics.Station{Name: f.Settings.Safety.Station, Failed: s.trouble[i] != ""}
		if s.apps[i] != nil {
			m.Metrics = s.apps[i].metrics
		}
		all = append(all, m)
	}
	return all
}

func (s *Site) stations() (all []web.Station) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for i, f := range s.files {
		line := web.Station{Name: f.Settings.Safety.Station, Trouble: s.trouble[i], Owner: s.owners[i]}
		if a := s.apps[i]; a != nil {
			line.View, line.Server = a.display.View(), a.web
		}
		all = append(all, line)
	}
	return all
}

// OwnedBy notes which other daemon has a station; empty = none is known.
func (s *Site) OwnedBy(station, owner string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for i, f := range s.files {
		if f.Settings.Safety.Station == station {
			s.owners[i] = owner
		}
	}
}

// place notes that a station runs here, or with nil that it does not.
func (s *Site) place(i int, a *App) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.apps[i] = a
	if a != nil {
		s.owners[i] = ""
	}
}

// Reload re-reads every station that runs here, each whole and valid or not at all.
func (s *Site) Reload(ctx context.Context) error {
	var all error
	for _, a := range s.running() {
		if err := a.Reload(ctx); err != nil {
			all = errors.Join(all, fmt.Errorf("station %s: %w", a.file.Settings.Safety.Station, err))
		}
	}
	return all
}

// Run runs all stations until ctx ends, or until none is left.
func (s *Site) Run(ctx context.Context) error {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	open, shut := context.WithCancel(context.WithoutCancel(ctx))
	defer shut()
	var doors, stations sync.WaitGroup
	faults := make(chan error, 2)
	doors.Go(func() { faults <- s.trunk.Run(open) })
	doors.Go(func() { faults <- s.front.Serve(open) })
	ended := make(chan struct{})
	for i := range s.files {
		stations.Go(func() { s.keep(ctx, i) })
	}
	go func() {
		stations.Wait()
		close(ended)
	}()
	var fault error
	select {
	case <-ended:
	case fault = <-faults:
		stop()
		<-ended
	}
	closing, done := context.WithTimeout(context.Background(), lastWords)
	_ = s.trunk.Close(closing) // a broker that does not answer is left behind
	done()
	shut()
	doors.Wait()
	return errors.Join(fault, s.each(func(*App) error { return nil }), s.db.Close())
}

// keep runs one station, in its turns where daemons share it. One that fails ends alone.
func (s *Site) keep(ctx context.Context, i int) {
	f := s.files[i]
	name := f.Settings.Safety.Station
	log := s.options.Log.With(zap.String("station", name))
	tell := s.watch.of(i)
	defer s.watch.leave(i)
	run := func(ctx context.Context, term Term) error {
		s.starts <- struct{}{}
		a, err := New(f, Options{Log: log, Version: s.options.Version, Term: term, Supervise: tell, ArmAll: s.options.ArmAll, site: s,
			Reload: func() (*config.File, error) { return s.options.Reload(name) }})
		<-s.starts
		if err != nil {
			return err
		}
		s.place(i, a)
		defer s.place(i, nil)
		log.Info("started", zap.String("configuration", f.Settings.Version), zap.String("state", f.State))
		return a.Run(ctx)
	}
	var err error
	if s.options.Turn == nil {
		err = run(ctx, nil)
	} else {
		err = s.options.Turn(ctx, f, tell, run)
	}
	if err != nil {
		log.Error("station does not run", zap.Error(err))
		s.mu.Lock()
		s.trouble[i] = err.Error()
		s.mu.Unlock()
	}
}

// supervised tells one supervisor of several stations: all are ready, all are alive. One that
// hangs lets the watchdog run out; one that ended has told a person.
type supervised struct {
	tell              func(string)
	mu                sync.Mutex
	ready, fed, ended []bool
	told, stopping    bool
}

func (s *supervised) of(i int) func(string) {
	return func(state string) {
		s.mu.Lock()
		defer s.mu.Unlock()
		switch state {
		case "READY=1":
			s.ready[i] = true
		case "WATCHDOG=1":
			s.fed[i] = true
		case "STOPPING=1":
			if !s.stopping {
				s.stopping = true
				s.tell(state)
			}
		}
		s.pass()
	}
}

func (s *supervised) leave(i int) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.ended[i] = true
	s.pass()
}

// pass tells what holds of all; mu is held.
func (s *supervised) pass() {
	all := func(of []bool) bool {
		for i := range of {
			if !of[i] && !s.ended[i] {
				return false
			}
		}
		return true
	}
	if !s.told && all(s.ready) {
		s.told = true
		s.tell("READY=1")
		go debug.FreeOSMemory() // reading the files of a farm takes more than running it
	}
	if all(s.fed) {
		clear(s.fed)
		if s.told && !all(s.ended) {
			s.tell("WATCHDOG=1")
		}
	}
}
