package web

import (
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"
)

// signInData is what the sign-in shows: To is the page that follows it, Kept a form that
// waits there.
type signInData struct {
	Problem, Name, To string
	Kept              bool // what was typed before
	Proof             bool // a trusted phone, or one who signed in a while ago, is asked anew
	Trusts, Passkeys  bool // whether phones may be trusted, and passkeys taken, here
}

// signInFor is the sign-in that leads to a page.
func signInFor(path string) string {
	return "/signin?to=" + url.QueryEscape(path)
}

// inside is the page of ours that a path names, or the first one: a link must not lead
// who signs in to another site.
func inside(path string) string {
	first, _, _ := strings.Cut(strings.TrimPrefix(path, "/"), "/")
	if _, known := places[first]; !strings.HasPrefix(path, "/") || strings.ContainsAny(path, "\\\r\n?#") || !known && !slices.Contains([]string{"tank", "alarm", "pump", "record", "fleet", "station"}, first) || first == "" {
		return "/"
	}
	return path
}

// signIn lets people in and out again.
type signIn struct{ *Server }

// show shows the sign-in, with what was wrong.
func (s signIn) show(w http.ResponseWriter, r *http.Request, status int, problem, name string) {
	who, here := s.who(r)
	if here && name == "" && who.hash != "" { // a one-time link has no password
		name = who.name
	}
	s.render(w, r, "signin", status, signInData{Problem: problem, Name: name, To: inside(r.FormValue("to")), Kept: s.kept.of(r) != nil, Proof: here,
		Trusts: s.options.Phones != nil && who.phone == "", Passkeys: s.options.Passkeys != nil})
}

func (s signIn) take(w http.ResponseWriter, r *http.Request) {
	name, password := r.FormValue("name"), r.FormValue("password")
	client := s.client(r)
	if !s.sessions.attempts.take(client, name) {
		s.failed(name, "sign-in limited", client)
		s.show(w, r, http.StatusTooManyRequests, "Too many attempts from this address. Wait five minutes.", "")
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
		s.failed(name, "sign-in refused", client)
		s.show(w, r, http.StatusForbidden, "Name or password is wrong.", name)
		return
	}
	s.sessions.attempts.forgive(client, name)
	s.options.Audit(name, "page", "signed in", client)
	s.welcome(w, r, person)
}

// failed audits a sign-in that was not let in.
func (s signIn) failed(name, what, client string) {
	if more, due := s.failures.note(what); due {
		s.options.Audit(name, "page", what, client+more)
	}
}

// enter redeems a one-time ticket.
func (s signIn) enter(w http.ResponseWriter, r *http.Request) {
	held, ok := s.sessions.redeem(r.URL.Query().Get("ticket"))
	if !ok {
		s.render(w, r, "signin", http.StatusForbidden, signInData{Problem: "This link was used before or is older than ten minutes.", To: "/"})
		return
	}
	s.options.Audit(held.name, "page", "signed in by link", s.client(r))
	s.welcome(w, r, Person{Name: held.name, Role: held.role})
}

// who is signed in with this request. Someone who was removed, or whose password or
// role is another by now, is not. Where the list of people cannot be read the session
// stands: a stop must not hang on a disk.
func (s *Server) who(r *http.Request) (session, bool) {
	held, ok := s.sessions.who(r)
	if !ok {
		return s.trust.who(r)
	}
	if held.hash == "" {
		return held, true
	}
	person, found, err := s.options.Find(held.name)
	if err == nil && (!found || person.Hash != held.hash || person.Role != held.base) {
		s.sessions.end(r)
		return session{}, false
	}
	if err == nil {
		held.given = person.Given
	}
	held.role = Person{Role: held.base, Given: held.given}.May(time.Now())
	if trusted, known := s.trust.phone(r); known && trusted.Person == held.name {
		if held.phone != trusted.ID {
			s.sessions.on(r, trusted.ID)
		}
		held.phone = trusted.ID
	}
	return held, true
}

func (s signIn) welcome(w http.ResponseWriter, r *http.Request, p Person) {
	s.sessions.end(r) // one that was here before, to be proved anew
	if r.FormValue("trust") != "" {
		s.trust.begin(w, r, p)
	}
	if p.Language != "" {
		speech(s).keep(w, p.Language)
	}
	http.SetCookie(w, &http.Cookie{Name: cookieName, Value: s.sessions.begin(p, s.client(r), r.UserAgent()), Path: "/", HttpOnly: true,
		SameSite: http.SameSiteLaxMode, Secure: s.secure, MaxAge: int(sessionHolds.Seconds())})
	http.Redirect(w, r, inside(r.FormValue("to")), http.StatusSeeOther)
}

func (s signIn) out(w http.ResponseWriter, r *http.Request) {
	s.trust.leave(w, r)
	s.sessions.end(r)
	http.SetCookie(w, &http.Cookie{Name: cookieName, Path: "/", MaxAge: -1, HttpOnly: true, SameSite: http.SameSiteLaxMode})
	http.Redirect(w, r, "/signin", http.StatusSeeOther)
}
