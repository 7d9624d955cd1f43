package web

import (
	"crypto/rand"
	"net/url"
	"sync"

	"leat/controller"
)

// keptMost is how many forms of people who were signed out are kept; the oldest goes first.
const keptMost = 64

// kept holds what was typed into a form whose sender was signed out meanwhile. Nothing of
// it is done: after the sign-in it stands in its fields again and is asked anew.
type kept struct {
	mu    sync.Mutex
	forms map[string]url.Values
	order []string
}

// keep returns the name under which a form is found again.
func (k *kept) keep(form url.Values) string {
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
	return name
}

// answer is a form that was kept, as one that was refused; nil = there is none.
func (k *kept) answer(name string) *answerData {
	k.mu.Lock()
	defer k.mu.Unlock()
	form, known := k.forms[name]
	if !known {
		return nil
	}
	return &answerData{TankName: form.Get("tank"), sent: form,
		Answer: controller.Answer{Text: "you were signed out, so nothing was changed; what you typed stands in its fields: look at it and send it again"}}
}
