package web

import (
	"net/http"

	"leat/controller"
)

func (s *Server) showSignIn(w http.ResponseWriter, _ *http.Request) {
	s.render(w, s.signIn, http.StatusOK, map[string]string{})
}

func (s *Server) takeSignIn(w http.ResponseWriter, r *http.Request) {
	name, password := r.FormValue("name"), r.FormValue("password")
	if !s.sessions.mayTry(r) {
		s.options.Audit(name, "page", "sign-in limited", r.RemoteAddr)
		s.render(w, s.signIn, http.StatusTooManyRequests, map[string]string{"Problem": "Too many attempts from this address. Wait five minutes."})
		return
	}
	person, found, err := s.options.Find(name)
	if err != nil {
		http.Error(w, "the list of people cannot be read: "+err.Error(), http.StatusInternalServerError)
		return
	}
	if !found {
		person.Hash = ""
	}
	if !s.sessions.matches(password, person.Hash) {
		s.options.Audit(name, "page", "sign-in refused", r.RemoteAddr)
		s.render(w, s.signIn, http.StatusForbidden, map[string]string{"Problem": "Name or password is wrong.", "Name": name})
		return
	}
	s.options.Audit(name, "page", "signed in", r.RemoteAddr)
	s.welcome(w, r, person.Name, person.Role)
}

// enter redeems a one-time ticket.
func (s *Server) enter(w http.ResponseWriter, r *http.Request) {
	held, ok := s.sessions.redeem(r.URL.Query().Get("ticket"))
	if !ok {
		s.render(w, s.signIn, http.StatusForbidden, map[string]string{"Problem": "This link was used before or is older than ten minutes."})
		return
	}
	s.options.Audit(held.name, "page", "signed in by link", r.RemoteAddr)
	s.welcome(w, r, held.name, held.role)
}

func (s *Server) welcome(w http.ResponseWriter, r *http.Request, name string, role controller.Role) {
	http.SetCookie(w, &http.Cookie{Name: cookieName, Value: s.sessions.begin(name, role), Path: "/", HttpOnly: true,
		SameSite: http.SameSiteLaxMode, Secure: s.options.Secure, MaxAge: int(sessionHolds.Seconds())})
	http.Redirect(w, r, "/", http.StatusSeeOther)
}

func (s *Server) signOut(w http.ResponseWriter, r *http.Request) {
	s.sessions.end(r)
	http.SetCookie(w, &http.Cookie{Name: cookieName, Path: "/", MaxAge: -1, HttpOnly: true, SameSite: http.SameSiteLaxMode})
	http.Redirect(w, r, "/signin", http.StatusSeeOther)
}
