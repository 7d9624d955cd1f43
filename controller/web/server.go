// Package web is the page, sign-in, health and the local socket. It sees a
// read-only View and sends Requests; it decides nothing and can widen no limit.
package web

import (
	"context"
	"crypto/tls"
	"embed"
	"errors"
	"fmt"
	"html/template"
	"net"
	"net/http"
	"time"

	"leat/controller"
)

//go:embed page.html signin.html style.css live.js
var files embed.FS

// Person is someone who may sign in. Hash is an argon2id PHC string.
type Person struct {
	Name string
	Role controller.Role
	Hash string
}

// Options joins the page to the daemon.
type Options struct {
	Listen           string // host:port; loopback unless configured otherwise
	Certificate, Key string // files; empty = plain HTTP
	Socket           string // path of the local socket; empty = none
	View             func() *controller.View
	Ask              func(context.Context, controller.Request) (controller.Answer, error)
	Find             func(name string) (Person, bool, error)
	Audit            func(who, from, what, detail string)
	Metrics          http.Handler
	Ready            func() error // why the daemon is not ready; nil = ready
}

// Server serves the page and the local socket.
type Server struct {
	options  Options
	page     *template.Template
	signIn   *template.Template
	sessions *sessions
	listener net.Listener
	local    net.Listener
	http     *http.Server
	socket   *http.Server
}

// New binds the listeners, so that a port in use is an error at the start.
func New(options Options) (*Server, error) {
	s := &Server{options: options, sessions: newSessions()}
	var err error
	if s.page, err = template.New("page.html").Funcs(words).ParseFS(files, "page.html"); err != nil {
		return nil, fmt.Errorf("page template: %w", err)
	}
	if s.signIn, err = template.ParseFS(files, "signin.html"); err != nil {
		return nil, fmt.Errorf("sign-in template: %w", err)
	}
	if s.listener, err = net.Listen("tcp", options.Listen); err != nil {
		return nil, fmt.Errorf("page: %w; choose another address for the page, or find what uses this one", err)
	}
	if options.Certificate != "" {
		pair, err := tls.LoadX509KeyPair(options.Certificate, options.Key)
		if err != nil {
			s.Close()
			return nil, fmt.Errorf("page certificate: %w", err)
		}
		s.listener = tls.NewListener(s.listener, &tls.Config{Certificates: []tls.Certificate{pair}, MinVersion: tls.VersionTLS12})
	}
	if options.Socket != "" {
		if s.local, err = listenLocal(options.Socket); err != nil {
			s.Close()
			return nil, err
		}
	}
	s.http = &http.Server{Handler: s.routes(), ReadHeaderTimeout: 5 * time.Second, ReadTimeout: 10 * time.Second,
		WriteTimeout: 15 * time.Second, IdleTimeout: time.Minute, MaxHeaderBytes: 16 << 10}
	s.socket = &http.Server{Handler: s.localRoutes(), ReadHeaderTimeout: 5 * time.Second}
	return s, nil
}

// Address is where the page listens, as a URL.
func (s *Server) Address() string {
	scheme := "http"
	if s.options.Certificate != "" {
		scheme = "https"
	}
	return scheme + "://" + s.listener.Addr().String()
}

// SignInLink makes a link that signs one person in once, within ten minutes.
func (s *Server) SignInLink(role controller.Role) string {
	return s.Address() + "/enter?ticket=" + s.sessions.ticket(role)
}

// Serve serves until ctx ends.
func (s *Server) Serve(ctx context.Context) error {
	failed := make(chan error, 2)
	running := 1
	go func() { failed <- s.http.Serve(s.listener) }()
	if s.local != nil {
		running++
		go func() { failed <- s.socket.Serve(s.local) }()
	}
	var first error
	select {
	case <-ctx.Done():
	case first = <-failed:
		running--
	}
	closing, done := context.WithTimeout(context.WithoutCancel(ctx), time.Second)
	defer done()
	_ = s.http.Shutdown(closing) // open pages are cut after a second
	_ = s.socket.Shutdown(closing)
	_ = s.http.Close()
	_ = s.socket.Close()
	for ; running > 0; running-- {
		<-failed
	}
	if errors.Is(first, http.ErrServerClosed) {
		return nil
	}
	return first
}

// Close gives the listeners back where Serve never ran.
func (s *Server) Close() {
	if s.listener != nil {
		_ = s.listener.Close()
	}
	if s.local != nil {
		_ = s.local.Close()
	}
}

// routes are the page's paths. What changes anything is a POST from the page's own
// origin by a person whose role allows it.
func (s *Server) routes() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /{$}", s.showPage)
	mux.HandleFunc("GET /state", s.showState)
	mux.HandleFunc("POST /ask", s.ask)
	mux.HandleFunc("GET /signin", s.showSignIn)
	mux.HandleFunc("POST /signin", s.takeSignIn)
	mux.HandleFunc("GET /enter", s.enter)
	mux.HandleFunc("POST /signout", s.signOut)
	for _, name := range []string{"style.css", "live.js"} {
		mux.HandleFunc("GET /"+name, func(w http.ResponseWriter, r *http.Request) {
			w.Header().Set("Cache-Control", "max-age=3600")
			http.ServeFileFS(w, r, files, name)
		})
	}
	mux.HandleFunc("GET /healthz", func(w http.ResponseWriter, _ *http.Request) { fmt.Fprintln(w, "alive") })
	mux.HandleFunc("GET /readyz", func(w http.ResponseWriter, _ *http.Request) {
		if err := s.options.Ready(); err != nil {
			http.Error(w, "not ready: "+err.Error(), http.StatusServiceUnavailable)
			return
		}
		fmt.Fprintln(w, "ready")
	})
	if s.options.Metrics != nil {
		mux.Handle("GET /metrics", s.options.Metrics)
	}
	return guarded(http.NewCrossOriginProtection().Handler(mux))
}

// guarded sets the headers that keep a page from being framed, sniffed or scripted
// from elsewhere.
func guarded(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", "default-src 'none'; style-src 'self'; script-src 'self'; connect-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'")
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cache-Control", "no-store")
		r.Body = http.MaxBytesReader(w, r.Body, 16<<10)
		next.ServeHTTP(w, r)
	})
}
