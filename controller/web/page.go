package web

import (
	"encoding/json"
	"net/http"
	"net/url"
	"strings"

	"leat/controller"
	"leat/safety"
)

// pageData is what the templates show. Tank is that of a tank's pages, Card the alarm
// of an alarm's.
type pageData struct {
	*controller.View
	Tank   *controller.TankView
	Card   *alarmCard
	Alarm  *controller.AlarmView // nil: it does not stand now
	Who    string
	Role   controller.Role
	Path   string
	Answer *answerData
	Ions   *controller.IonsView
	Strip  *strip             // nil where nobody keeps a history
	sparks map[string][]spark // by tank
	span   *span              // of a page of the past
	name   string             // of the template
	once   func() string
}

// Operate and Manage say what the person may ask for.
func (d *pageData) Operate() bool { return d.Role >= controller.RoleOperate }

// Manage says that the person may arm, clear and confirm.
func (d *pageData) Manage() bool { return d.Role >= controller.RoleEngineer }

// Once is the id of one form.
func (d *pageData) Once() string { return d.once() }

// Title tells the verdict even of a page that is not in front.
func (d *pageData) Title() string {
	if d.Tank != nil {
		return d.Tank.Name + ": " + d.Tank.Verdict.Text
	}
	return d.Verdict.Text
}

// Back is the page above this one, and BackName its name.
func (d *pageData) Back() string {
	if d.name == "tank" {
		return "/"
	}
	return "/tank/" + url.PathEscape(d.Tank.Name)
}

// BackName is the name of the page above this one.
func (d *pageData) BackName() string {
	if d.name == "tank" {
		return "all"
	}
	return "back"
}

// places are the pages that a path of one, two or three parts leads to.
var places = map[string]string{"": "home", "stocks": "stocks", "refill": "refill"}

// locate finds what a path shows: the template, the tank and the cause of an alarm.
func (d *pageData) locate(path string) bool {
	d.Path = path
	parts := strings.Split(strings.TrimPrefix(path, "/"), "/")
	for i, part := range parts {
		plain, err := url.PathUnescape(part)
		if err != nil {
			return false
		}
		parts[i] = plain
	}
	if len(parts) == 1 {
		d.name = places[parts[0]]
		return d.name != ""
	}
	for i := range d.Tanks {
		if d.Tanks[i].Name == parts[1] {
			d.Tank = &d.Tanks[i]
		}
	}
	switch {
	case d.Tank == nil:
		return false
	case len(parts) == 2 && parts[0] == "tank":
		d.name = "tank"
	case len(parts) == 3 && parts[0] == "tank" && (parts[2] == "change" || parts[2] == "enter"):
		d.name = parts[2]
	case len(parts) == 4 && parts[0] == "tank" && parts[2] == "past":
		d.name = "past"
		what, known := spanOf(parts[3])
		d.span = what
		return known
	case len(parts) == 3 && parts[0] == "alarm":
		cause, known := safety.ParseCause(parts[2])
		if !known {
			return false
		}
		d.name = "alarm"
		d.showAlarm(cause)
	default:
		return false
	}
	return true
}

// shown shows the page of the path that was asked for, with the answer to a form where
// one was just sent.
func (s *Server) shown(w http.ResponseWriter, r *http.Request) {
	if id := r.URL.Query().Get("answer"); id != "" {
		if who, ok := s.who(r); ok {
			if sent := s.once.find(id, who.name); sent != nil {
				s.showPage(w, r, r.URL.EscapedPath(), sent.status, sent.answer)
				return
			}
		}
	}
	s.showPage(w, r, r.URL.EscapedPath(), http.StatusOK, s.kept.answer(r))
}

func (s *Server) showPage(w http.ResponseWriter, r *http.Request, path string, status int, answer *answerData) {
	who, ok := s.who(r)
	if !ok {
		http.Redirect(w, r, signInFor(path), http.StatusSeeOther)
		return
	}
	view := s.options.View()
	if view == nil {
		http.Error(w, "the daemon is starting; try again in a moment", http.StatusServiceUnavailable)
		return
	}
	data := s.pageOf(view, who.role, path)
	if data == nil && answer != nil {
		data = s.pageOf(view, who.role, "/") // a form that named no tank is answered all the same
	}
	if data == nil {
		http.Error(w, "there is no such page; the tanks are at /", http.StatusNotFound)
		return
	}
	data.Who, data.Answer = who.name, answer
	s.render(w, r, data.name, status, data)
}

// pageOf is what a path shows of a view; nil = there is no such page.
func (s *Server) pageOf(view *controller.View, role controller.Role, path string) *pageData {
	data := &pageData{View: view, Role: role, once: s.once.id}
	if !data.locate(path) {
		return nil
	}
	switch data.name {
	case "home":
		data.sparks = s.strips.cards(view.At.Wall)
	case "tank":
		data.Strip, data.Ions = s.strips.of(view.At.Wall, data.Tank.Name, &spans[0]), s.strips.ionsOf(data.Tank)
	case "past":
		data.Strip = s.strips.of(view.At.Wall, data.Tank.Name, data.span)
	}
	return data
}

// showState is the view as JSON, for a person signed in.
func (s *Server) showState(w http.ResponseWriter, r *http.Request) {
	if _, ok := s.who(r); !ok {
		http.Error(w, "sign in first", http.StatusUnauthorized)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	_ = json.NewEncoder(w).Encode(s.options.View()) // a reader that went away is no fault of ours
}

// alarmCard is an alarm with what to do, whether or not it stands.
type alarmCard struct {
	Cause               safety.Cause
	Title, Text, Clears string
	Steps               []string
}

func (d *pageData) showAlarm(cause safety.Cause) {
	row := safety.Of(cause)
	d.Card = &alarmCard{Cause: cause, Title: row.Text, Text: row.Text, Clears: row.Clears, Steps: stepsOf(row.Advice)}
	for i := range d.Tank.Alarms {
		if a := &d.Tank.Alarms[i]; a.Cause == cause {
			d.Alarm, d.Card.Text = a, a.Text
			d.Card.Steps = stepsOf(a.Advice)
		}
	}
}

// stepsOf are the sentences of an advice.
func stepsOf(advice string) (steps []string) {
	for _, part := range strings.SplitAfter(advice, ". ") {
		if part = strings.TrimSpace(part); part != "" {
			steps = append(steps, part)
		}
	}
	return steps
}

// Clearable says that a stop of this alarm waits for a person who may clear it.
func (d *pageData) Clearable() bool {
	if d.Manage() {
		for i := range d.Tank.Holds {
			if h := &d.Tank.Holds[i]; h.Cause == d.Card.Cause && h.Action == safety.Stop {
				return d.Card.Cause != safety.CauseSolutionUnconfirmed
			}
		}
	}
	return false
}

// Spell says what a cause means.
func (d *pageData) Spell(cause string) string {
	if known, ok := safety.ParseCause(cause); ok {
		return safety.Of(known).Text
	}
	return cause
}

// Crop says how long the crop is safe.
func (d *pageData) Crop() string { return d.CropWords(d.Tank) }

// setpoint is the form of one setpoint.
func (d *pageData) setpoint(v controller.SetpointView, quantity, label string) setpointForm {
	name, _, _ := strings.Cut(label, ",")
	return setpointForm{formData: d.form(controller.RequestSetpoint.String(), quantity), SetpointView: v, Name: name, Label: label, again: d.once()}
}

// holds says that an interlock of one of these causes is active.
func holds(t *controller.TankView, causes ...string) bool {
	for i := range t.Holds {
		for _, cause := range causes {
			if t.Holds[i].Cause.String() == cause {
				return true
			}
		}
	}
	return false
}
