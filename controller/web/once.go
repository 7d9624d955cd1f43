package web

import (
	"crypto/rand"
	"fmt"
	"sync"
)

const onceMost = 1000 // answers that are kept for whoever loads one again

// once gives every form an id of its own, so that a form which is sent twice is carried
// out once: the second sending gets the answer of the first.
type once struct {
	mu      sync.Mutex
	run     string // ids of another run of the daemon are none of ours
	count   uint64
	answers map[string]*given
	order   []string
	old     uint64 // ids up to this one may have been forgotten
}

// given is the answer to one form.
type given struct {
	who    string
	done   chan struct{}
	status int
	answer *answerData
}

func newOnce() *once { return &once{run: rand.Text()[:12], answers: map[string]*given{}} }

// id is that of the next form.
func (o *once) id() string {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.count++
	return fmt.Sprintf("%s-%d", o.run, o.count)
}

// begin says whether a form is sent for the first time; if not, what was answered then.
// An id that was never given, or so long ago that its answer is forgotten, is an error.
func (o *once) begin(id, who string) (g *given, first bool, err error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	if g := o.answers[id]; g != nil {
		if g.who != who {
			return nil, false, fmt.Errorf("this form was sent by another person")
		}
		return g, false, nil
	}
	number := o.number(id)
	if number == 0 || number > o.count || number <= o.old {
		return nil, false, fmt.Errorf("this form is from an older page: look whether it was done, and fill it in anew")
	}
	g = &given{who: who, done: make(chan struct{})}
	o.answers[id], o.order = g, append(o.order, id)
	if len(o.order) > onceMost {
		for _, gone := range o.order[:onceMost/2] {
			o.old = max(o.old, o.number(gone))
			delete(o.answers, gone)
		}
		o.order = append([]string(nil), o.order[onceMost/2:]...)
	}
	return g, true, nil
}

// number is which id of this run it is; 0 = none.
func (o *once) number(id string) (n uint64) {
	if len(id) > 40 || len(id) < len(o.run) || id[:len(o.run)] != o.run {
		return 0
	}
	if _, err := fmt.Sscanf(id[len(o.run):], "-%d", &n); err != nil || id != fmt.Sprintf("%s-%d", o.run, n) {
		return 0
	}
	return n
}

// find is an answer that a person was given before.
func (o *once) find(id, who string) *given {
	o.mu.Lock()
	defer o.mu.Unlock()
	if g := o.answers[id]; g != nil && g.who == who {
		select {
		case <-g.done:
			return g
		default:
		}
	}
	return nil
}

func (g *given) end(status int, answer *answerData) {
	g.status, g.answer = status, answer
	close(g.done)
}
