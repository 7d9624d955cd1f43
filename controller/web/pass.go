package web

import (
	"context"
	"net/http"
)

// Pass is one alarm that a link acknowledges. Why says why it cannot be acknowledged any
// more; empty = it can.
type Pass struct{ Words, Why string }

// Passes are the links of what was told.
type Passes interface {
	Look(pass string) (Pass, bool)
	Take(ctx context.Context, pass string) (Pass, error)
}

// passData is what the page of a link shows.
type passData struct {
	Pass
	Taken   bool
	Problem string
	Path    string
}

// links serves the links of what was told.
type links struct{ server *Server }

// show shows what a link is of. It changes nothing: scanners of mail follow links.
func (l links) show(w http.ResponseWriter, r *http.Request) {
	s := l.server
	var pass Pass
	known := false
	if s.options.Passes != nil {
		pass, known = s.options.Passes.Look(r.PathValue("pass"))
	}
	switch {
	case !known:
		s.render(w, r, "acknowledge", http.StatusNotFound, passData{Problem: noPass})
	case pass.Why != "":
		s.render(w, r, "acknowledge", http.StatusGone, passData{Pass: pass, Problem: pass.Why})
	default:
		s.render(w, r, "acknowledge", http.StatusOK, passData{Pass: pass, Path: r.URL.EscapedPath()})
	}
}

const noPass = "This is no link of this station."

// take acknowledges what a link is of. The link itself is the right to do that and
// nothing else.
func (l links) take(w http.ResponseWriter, r *http.Request) {
	s := l.server
	text := r.PathValue("pass")
	if s.options.Passes == nil {
		l.show(w, r)
		return
	}
	if before, known := s.options.Passes.Look(text); !known || before.Why != "" {
		signIn{s}.failed("link", "acknowledgement refused", s.client(r))
		l.show(w, r)
		return
	}
	pass, err := s.options.Passes.Take(r.Context(), text)
	switch {
	case err != nil:
		s.render(w, r, "acknowledge", http.StatusServiceUnavailable, passData{Pass: pass, Problem: "The daemon did not answer. Try again.", Path: r.URL.EscapedPath()})
	case pass.Why != "":
		s.render(w, r, "acknowledge", http.StatusGone, passData{Pass: pass, Problem: pass.Why})
	default:
		s.options.Audit("link", "notification", "acknowledged", pass.Words+", from "+s.client(r))
		s.render(w, r, "acknowledge", http.StatusOK, passData{Pass: pass, Taken: true})
	}
}
