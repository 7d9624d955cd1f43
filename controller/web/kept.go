package web

import (
	"crypto/rand"
	"net/http"
	"net/url"
	"sync"
	"time"

	"leat/controller"
)

const (
	// keptMost is how many forms of people who were signed out are kept; the oldest goes first.
	keptMost   = 64
	keptCookie = "leat_kept"
	keptFor    = time.Hour
)

// kept holds what was typed into a form whose sender was signed out meanwhile, or had to prove anew who they are. Nothing of
// it is done: after the sign-in it stands in its fields again and is asked anew. Only the
// browser that sent it finds it: by a cookie, so that no link fills another's fields.
type kept struct {
	mu    sync.Mutex
	forms map[string]url.Values
	order []string
}

// keep holds a form for the browser that sent it.
func (k *kept) keep(w http.ResponseWriter, form url.Values, secure bool) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.forms == nil {
		k.forms = map[string]url.Values{}
	}
	if len(k.order) >= keptMost {
		delete(k.forms, k.order[0])
		k.order = k.order[1:]
	}
	name := rand.Text()
	k.forms[name], k.order = form, append(k.order, name)
	http.SetCookie(w, &http.Cookie{Name: keptCookie, Value: name, Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode,
		Secure: secure, MaxAge: int(keptFor.Seconds())})
}

// of is the form that was kept for a browser; nil = there is none.
func (k *kept) of(r *http.Request) url.Values {
	cookie, err := r.Cookie(keptCookie)
	if err != nil {
		return nil
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.forms[cookie.Value]
}

// answer is the form that was kept of this page, as one that was refused; nil = there is none.
func (k *kept) answer(r *http.Request) *answerData {
	form := k.of(r)
	if form == nil || pageOf(form.Get) != r.URL.EscapedPath() {
		return nil
	}
	return &answerData{TankName: form.Get("tank"), sent: form,
		Answer: controller.Answer{Text: "you were asked who you are, so nothing was changed yet; what you typed stands in its fields: look at it and send it again"}}
}

// done forgets the form of a browser that has sent one again.
func (k *kept) done(w http.ResponseWriter, r *http.Request) {
	if k.of(r) != nil {
		http.SetCookie(w, &http.Cookie{Name: keptCookie, Path: "/", MaxAge: -1, HttpOnly: true, SameSite: http.SameSiteStrictMode})
	}
}
