package web

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"net"
	"net/http"
	"os"
	"slices"
	"syscall"
	"time"

	"leat/controller"
)

// listenLocal opens the local socket for leat mode and leat act. Whoever may open it is an
// engineer: the folder's permissions decide.
func listenLocal(path string) (net.Listener, error) {
	if most := len(syscall.RawSockaddrUnix{}.Path) - 1; len(path) > most {
		return nil, fmt.Errorf("local socket: the path %s has %d bytes and a socket's at most %d here: name a shorter folder in [storage]", path, len(path), most)
	}
	// The state folder's lock is held, so a socket that is there is a dead run's.
	if err := os.Remove(path); err != nil && !os.IsNotExist(err) {
		return nil, fmt.Errorf("local socket: %w", err)
	}
	l, err := net.Listen("unix", path)
	if err != nil {
		return nil, fmt.Errorf("local socket: %w", err)
	}
	if err := os.Chmod(path, 0o600); err != nil {
		_ = l.Close()
		return nil, fmt.Errorf("local socket: %w", err)
	}
	return l, nil
}

type peerKey struct{}

// withPeer notes who is at the other end of a local connection, as the system tells
// it: what the caller says of itself proves nothing.
func withPeer(ctx context.Context, conn net.Conn) context.Context {
	return context.WithValue(ctx, peerKey{}, peerUser(conn))
}

// peerOf is " user 1000", or nothing where the system does not tell.
func peerOf(ctx context.Context) string {
	user, _ := ctx.Value(peerKey{}).(string)
	return user
}

// Rung is what became of a test by one way; no Problem = it was taken.
type Rung struct{ Way, Problem string }

// ringer sends a test by each way on which alarms are told.
func ringer(ring func(context.Context) map[string]error) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		all := []Rung{}
		if ring != nil {
			for way, err := range ring(r.Context()) {
				rung := Rung{Way: way}
				if err != nil {
					rung.Problem = err.Error()
				}
				all = append(all, rung)
			}
		}
		slices.SortFunc(all, func(a, b Rung) int { return cmp.Compare(a.Way, b.Way) })
		w.Header().Set("Content-Type", "application/json")
		_ = json.NewEncoder(w).Encode(all) // a caller that went away is no fault of ours
	}
}

// localRoutes are the paths of the local socket: the same requests as the page's
// forms, without a sign-in.
func (s *Server) localRoutes() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("POST /ask", func(w http.ResponseWriter, r *http.Request) {
		r.Body = http.MaxBytesReader(w, r.Body, 16<<10)
		request, err := s.reader.read(r.FormValue)
		if err != nil {
			http.Error(w, err.Error(), http.StatusBadRequest)
			return
		}
		request.By, request.From, request.Role = r.FormValue("by"), "socket"+peerOf(r.Context()), controller.RoleEngineer
		answer, err := s.options.Ask(r.Context(), request)
		if err != nil {
			http.Error(w, "the daemon did not answer", http.StatusServiceUnavailable)
			return
		}
		if !answer.Accepted {
			s.options.Audit(request.By, request.From, request.Kind.String()+" refused", answer.Text)
		}
		w.Header().Set("Content-Type", "application/json")
		_ = json.NewEncoder(w).Encode(answer) // a caller that went away is no fault of ours
	})
	mux.HandleFunc("POST /ring", ringer(s.options.Ring))
	return http.TimeoutHandler(mux, 10*time.Second, "the daemon did not answer")
}
