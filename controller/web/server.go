package web

import (
	"context"
	"crypto/tls"
	"embed"
	"errors"
	"fmt"
	"html/template"
	"io"
	"net"
	"net/http"
	"time"

	"leat/controller"
	"leat/controller/report"
	"leat/dosing"
)

//go:embed page
var files embed.FS

// Person is someone who may sign in. Hash is an argon2id PHC string.
type Person struct {
	Name  string
	Role  controller.Role
	Hash  string
	Given Handover
}

// Options joins the page to the daemon.
type Options struct {
	Listen           string         // host:port of the page; loopback unless configured otherwise; empty = no page
	Certificate, Key string         // files; empty = plain HTTP
	Proxied          bool           // a proxy on this machine speaks HTTPS for the page; its word on who asks is believed
	Monitoring       string         // host:port of health and metrics alone; empty = the page's
	Socket           string         // path of the local socket; empty = none
	ECScale          dosing.ECScale // shown beside mS/cm
	US               bool           // °F and US gallons beside °C and litres
	View             func() *controller.View
	Ask              func(context.Context, controller.Request) (controller.Answer, error)
	ReadAnalysis     func(list string, into *controller.Request) error   // what a laboratory's list says; nil = none are taken
	Night            func(from, to time.Time) (map[string]*Night, error) // what the record tells, by tank; nil = no strips
	Record           func(period string) (*report.Report, error)         // of night, week, month or the last day; nil = none is kept
	Export           func(w io.Writer, kind string, from time.Time) error
	People           func() ([]Person, error)
	Tokens           Tokens                                  // of programs; nil = none are given out
	Hand             func(name string, given Handover) error // lends a role; nil = none is lent
	Phones           Phones                                  // nil = none is trusted
	Passkeys         Passkeys                                // nil = none are taken
	Passes           Passes                                  // nil = nobody is told of alarms by a link
	Ring             func(context.Context) map[string]error  // sends a test by each way; what became of it
	Find             func(name string) (Person, bool, error)
	Audit            func(who, from, what, detail string)
	Metrics          http.Handler
	Ready            func() error         // why the daemon is not ready; nil = ready
	Alive            func() error         // why it must be started anew; nil = alive
	Loop             func() time.Duration // how long ago the decision loop took its last step
	Stations         func() []Station     // all of the process; nil = they are not listed
	Several          bool                 // the process has several stations, and this server has their front door
	Under            string               // path of this station's pages behind that door; empty = they have a door of their own
	Front            *Server              // whose sessions this one's pages share; nil = its own
}

// Server serves the page, the monitoring and the local socket.
type Server struct {
	options     Options
	pages       *template.Template
	sessions    *sessions
	once        *once
	failures    failures
	live        pages
	strips      strips
	records     records
	reader      reader
	api         *api
	trust       *trust
	passkeys    *passkeys
	handover    *handover
	certificate *certificate // nil = plain HTTP
	kept        *kept
	below       http.Handler  // of a station of several
	every       time.Duration // between two events of a page that is followed
	ending      chan struct{} // closed when serving ends
	secure      bool          // browsers reach the page by HTTPS
	address     string
	doors       []door
}

// door is one listener with what is served there.
type door struct {
	listener net.Listener
	server   *http.Server
}

// New binds the listeners, so that a port in use is an error at the start.
func New(options Options) (*Server, error) {
	s := &Server{options: options, strips: strips{read: options.Night}, records: records{read: options.Record}, reader: reader{now: options.View, analysis: options.ReadAnalysis},
		sessions: newSessions(), kept: &kept{}, once: newOnce(), secure: options.Proxied, every: liveEvery, ending: make(chan struct{}),
		failures: failures{said: map[string]time.Time{}, unsaid: map[string]int{}}}
	s.api, s.trust, s.handover = &api{server: s}, &trust{server: s, seen: map[string]time.Time{}}, &handover{server: s}
	s.passkeys = &passkeys{server: s, asked: map[string]time.Time{}}
	if options.Front != nil {
		s.sessions, s.kept, s.secure = options.Front.sessions, options.Front.kept, options.Front.secure
	}
	if err := s.open(); err != nil {
		s.Close()
		return nil, err
	}
	return s, nil
}

func (s *Server) open() (err error) {
	if s.options.Front != nil {
		s.pages = s.options.Front.pages // some megabytes, and the same
	} else if s.pages, err = parsePages(s.options.ECScale, s.options.US); err != nil {
		return fmt.Errorf("page template: %w", err)
	}
	if s.options.Under != "" {
		s.below = below(s)
	}
	if s.options.Listen != "" {
		if err := s.openPage(); err != nil {
			return err
		}
	}
	if s.options.Monitoring != "" {
		listener, err := net.Listen("tcp", s.options.Monitoring)
		if err != nil {
			return fmt.Errorf("metrics: %w; choose another address in [metrics], or find what uses this one", err)
		}
		s.serve(listener, s.monitoring(http.NewServeMux(), true))
	}
	if s.options.Socket != "" {
		listener, err := listenLocal(s.options.Socket)
		if err != nil {
			return err
		}
		s.serve(listener, s.localRoutes())
		s.doors[len(s.doors)-1].server.ConnContext = withPeer
	}
	return nil
}

func (s *Server) openPage() error {
	listener, err := net.Listen("tcp", s.options.Listen)
	if err != nil {
		return fmt.Errorf("page: %w; choose another address for the page, or find what uses this one", err)
	}
	s.address = "http://" + listener.Addr().String()
	if s.options.Certificate != "" {
		if s.certificate, err = newCertificate(s.options.Certificate, s.options.Key); err != nil {
			_ = listener.Close()
			return fmt.Errorf("page certificate: %w", err)
		}
		s.secure = true
		s.address = "https://" + listener.Addr().String()
		listener = tls.NewListener(listener, &tls.Config{GetCertificate: s.certificate.get, MinVersion: tls.VersionTLS12})
	}
	s.serve(listener, s.routes())
	return nil
}

func (s *Server) serve(listener net.Listener, handler http.Handler) {
	s.doors = append(s.doors, door{listener, &http.Server{Handler: handler, ReadHeaderTimeout: 5 * time.Second, ReadTimeout: 10 * time.Second,
		WriteTimeout: 15 * time.Second, IdleTimeout: time.Minute, MaxHeaderBytes: 16 << 10}})
}

// Address is where the page listens, as a URL; empty without a page.
func (s *Server) Address() string { return s.address }

// SignInLink makes a link that signs one person in once, within ten minutes.
func (s *Server) SignInLink(role controller.Role) string {
	return s.address + "/enter?ticket=" + s.sessions.ticket(role)
}

// Serve serves until ctx ends or a listener fails.
func (s *Server) Serve(ctx context.Context) error {
	failed := make(chan error, len(s.doors))
	for _, d := range s.doors {
		go func() { failed <- d.server.Serve(d.listener) }()
	}
	running := len(s.doors)
	var first error
	select {
	case <-ctx.Done():
	case first = <-failed:
		running--
	}
	close(s.ending)
	closing, done := context.WithTimeout(context.WithoutCancel(ctx), time.Second)
	defer done()
	for _, d := range s.doors {
		_ = d.server.Shutdown(closing) // pages still open are cut after a second
		_ = d.server.Close()
	}
	// What the others end with is that they were closed.
	for ; running > 0; running-- {
		if err := <-failed; first == nil {
			first = err
		}
	}
	if errors.Is(first, http.ErrServerClosed) {
		return nil
	}
	return first
}

// Close gives the listeners back where Serve never ran.
func (s *Server) Close() {
	for _, d := range s.doors {
		_ = d.listener.Close()
	}
}

// monitoring adds health to a server's paths, and metrics where nobody passes them on
// to the world.
func (s *Server) monitoring(mux *http.ServeMux, figures bool) http.Handler {
	for path, state := range map[string]struct {
		word  string
		wrong func() error
	}{"/healthz": {"alive", s.options.Alive}, "/readyz": {"ready", s.options.Ready}} {
		mux.HandleFunc("GET "+path, func(w http.ResponseWriter, _ *http.Request) {
			if err := state.wrong(); err != nil {
				http.Error(w, "not "+state.word+": "+err.Error(), http.StatusServiceUnavailable)
				return
			}
			fmt.Fprintln(w, state.word)
		})
	}
	if s.options.Metrics != nil && figures {
		mux.Handle("GET /metrics", s.options.Metrics)
	}
	return mux
}

// guarded sets the headers that keep a page from being framed, sniffed or scripted
// from elsewhere.
func guarded(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", "default-src 'none'; style-src 'self'; script-src 'self'; connect-src 'self'; img-src 'self'; manifest-src 'self'; worker-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'")
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cache-Control", "no-store")
		r.Body = http.MaxBytesReader(w, r.Body, 16<<10)
		next.ServeHTTP(w, r)
	})
}
