package web

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"time"

	"leat/controller"
)

// The live part of a page: every liveEvery the parts of it whose text has changed, as
// server-sent events. A reader that takes longer than liveWithin is let go.
const (
	liveEvery  = 5 * time.Second
	liveWithin = 10 * time.Second
	liveMost   = 400 // pages that follow at once
)

// parts are the texts of a page's live parts by their ids.
type parts map[string]string

// liveMark is how the templates mark a live part.
const liveMark = `" data-live>`

// partsOf finds the live parts of a page of ours: none lies within another.
func partsOf(page string) (parts, error) {
	found := parts{}
	for {
		at := strings.Index(page, liveMark)
		if at < 0 {
			return found, nil
		}
		open := strings.LastIndexByte(page[:at], '<')
		name, _, _ := strings.Cut(page[open+1:at], " ")
		_, id, ok := strings.Cut(page[open:at], ` id="`)
		inside := page[at+len(liveMark):]
		end := closing(inside, name)
		if !ok || end < 0 {
			return nil, fmt.Errorf("the live part at %.60q has no id or no end", page[open:])
		}
		found[id] = inside[:end]
		page = inside[end:]
	}
}

// closing is where an element ends whose beginning was passed.
func closing(text, name string) int {
	depth := 1
	for at := 0; ; {
		next := strings.Index(text[at:], name)
		if next < 0 {
			return -1
		}
		next += at
		at = next + len(name)
		switch {
		case next > 1 && text[next-2:next] == "</" && strings.HasPrefix(text[at:], ">"):
			if depth--; depth == 0 {
				return next - 2
			}
		case next > 0 && text[next-1] == '<' && strings.IndexAny(text[at:], " >") == 0:
			depth++
		}
	}
}

// feed is what one open page has been told.
type feed struct {
	told parts
	zone zone
}

// zone is the farm's, with its minutes east of Greenwich: a phone elsewhere shows its own
// time beside it.
type zone struct {
	Name string `json:"name"`
	East int    `json:"east"`
}

// change is one event: how many seconds ago the loop took its last step, the time of the
// figures, the zone where it is news, and the parts that are new.
type change struct {
	Loop  int    `json:"loop"`
	At    string `json:"at"`
	Zone  *zone  `json:"zone,omitempty"`
	Parts parts  `json:"parts,omitempty"`
}

// next is the event that brings a page up to date.
func (f *feed) next(now parts, at time.Time, loop time.Duration) []byte {
	c := change{Loop: int(loop.Seconds()), At: at.Format("15:04:05"), Parts: parts{}}
	name, seconds := at.Zone()
	if here := (zone{name, seconds / 60}); here != f.zone {
		f.zone, c.Zone = here, &here
	}
	for id, text := range now {
		if was, known := f.told[id]; !known || was != text {
			c.Parts[id] = text
		}
	}
	f.told = now
	var event bytes.Buffer
	event.WriteString("data: ")
	out := json.NewEncoder(&event)
	out.SetEscapeHTML(false)
	_ = out.Encode(c) // texts and numbers only
	event.WriteByte('\n')
	return event.Bytes()
}

// pages keeps the parts of the newest view, so that many phones cost little more than
// one.
type pages struct {
	mu   sync.Mutex
	view *controller.View
	have map[string]parts
	open int
}

func (p *pages) enter() bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.open >= liveMost {
		return false
	}
	p.open++
	return true
}

func (p *pages) leave() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.open--
}

// liveParts are the live parts of a page; nil = there is no such page.
func (s *Server) liveParts(view *controller.View, role controller.Role, l *language, path string) (parts, error) {
	s.live.mu.Lock()
	defer s.live.mu.Unlock()
	if s.live.view != view {
		s.live.view, s.live.have = view, map[string]parts{}
	}
	key := strconv.Itoa(int(role)) + path
	if l != nil {
		key = l.name + key
	}
	if have, known := s.live.have[key]; known {
		return have, nil
	}
	data := s.pageOf(view, role, path)
	if data == nil {
		return nil, nil
	}
	data.once = func() string { return "" } // forms are no live part
	var page bytes.Buffer
	if err := s.pages.ExecuteTemplate(&page, data.name, data); err != nil {
		return nil, err
	}
	text := page.String()
	if l != nil {
		text = string(l.page(page.Bytes(), properNames(view)))
	}
	have, err := partsOf(string(lower([]byte(text), s.options.Under)))
	s.live.have[key] = have
	return have, err
}

// follow streams what changes on a page to whoever has it open and is signed in.
func (s *Server) follow(w http.ResponseWriter, r *http.Request) {
	if !s.live.enter() {
		http.Error(w, "too many pages are open; this one is refreshed by hand", http.StatusServiceUnavailable)
		return
	}
	defer s.live.leave()
	w.Header().Set("Content-Type", "text/event-stream")
	w.Header().Set("X-Accel-Buffering", "no") // a proxy that gathers would make old figures look live
	out := http.NewResponseController(w)
	ticker := time.NewTicker(s.every)
	defer ticker.Stop()
	f := &feed{}
	for {
		event, last := s.event(r, f)
		_ = out.SetWriteDeadline(time.Now().Add(liveWithin)) // a connection without deadlines is none of ours
		if _, err := w.Write(event); err != nil || out.Flush() != nil || last {
			return
		}
		select {
		case <-ticker.C:
		case <-r.Context().Done():
			return
		case <-s.ending:
			return
		}
	}
}

// event is the next event of a page that is followed, and whether it is the last.
func (s *Server) event(r *http.Request, f *feed) (event []byte, last bool) {
	who, ok := s.who(r)
	if !ok {
		return outEvent(r, "signed out"), true
	}
	view := s.options.View()
	if view == nil {
		return []byte(": starting\n\n"), false
	}
	now, err := s.liveParts(view, who.role, languageOf(r), r.URL.Query().Get("page"))
	if err != nil || now == nil {
		return outEvent(r, "this page is no more"), true
	}
	return f.next(now, view.At.Wall, s.options.Loop()), false
}

// outEvent ends the following of a page, with why.
func outEvent(r *http.Request, why string) []byte {
	if l := languageOf(r); l != nil {
		why, _ = l.say(why, 0)
	}
	return []byte("event: out\ndata: " + why + "\n\n")
}
