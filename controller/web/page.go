package web

import (
	"encoding/json"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"leat/controller"
	"leat/controller/report"
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
	Strip  *strip               // nil where nobody keeps a history
	Pump   *controller.PumpView // of a pump's page
	Period string               // of a page of the record
	Told   *report.Report       // of it, and of a tank's doses
	Untold string               // why there is none
	Groups []doseGroup
	Here   []sitting // who is signed in
	People []Person
	Tokens []Token
	Phones []Phone
	Keys   []Passkey
	Given  Handover // what is lent to who looks; zero = nothing
	own    session
	keyed  bool // the station takes passkeys
	handed bool // and lends roles
	// Tokened says that programs may be given tokens here.
	Tokened bool
	sparks  map[string][]spark // by tank
	span    *span              // of a page of the past
	name    string             // of the template
	once    func() string
}

// Operate and Manage say what the person may ask for.
func (d *pageData) Operate() bool { return d.Role >= controller.RoleOperate }

// Manage says that the person may arm, clear and confirm.
func (d *pageData) Manage() bool { return d.Role >= controller.RoleEngineer }

// Once is the id of one form.
func (d *pageData) Once() string { return d.once() }

// Keyed says that devices may be given passkeys here, by this person.
func (d *pageData) Keyed() bool { return d.keyed && d.own.hash != "" }

// Hands says that this person may lend roles.
func (d *pageData) Hands() bool { return d.handed && d.own.base >= controller.RoleEngineer }

// Lends says that a person holds a role that was lent.
func (d *pageData) Lends(p Person) bool { return p.Given.Holds(time.Now()) }

// Typed is what stands in a field of the form to hand over that was refused.
func (d *pageData) Typed(field string) string {
	if a := d.Answer; a != nil && !a.Accepted && a.sent.Has("until") {
		return a.sent.Get(field)
	}
	return ""
}

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

// places are the pages of the station, by their path, and tankPlaces those of a tank; each
// is the name of its template.
var (
	places     = map[string]string{"": "home", "stocks": "stocks", "refill": "refill", "record": "record", "people": "people"}
	tankPlaces = []string{"change", "enter", "doses", "solution", "probes", "schedule", "first"}
	periods    = report.Periods
)

// pagePaths are the patterns of all pages.
func pagePaths() []string {
	paths := []string{"/tank/", "/alarm/", "/pump/", "/record/"}
	for place := range places {
		if place == "" {
			place = "{$}"
		}
		paths = append(paths, "/"+place)
	}
	slices.Sort(paths)
	return paths
}

// locate finds what a path shows: the template, the tank or pump, the cause of an alarm.
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
		d.name, d.Period = places[parts[0]], periods[0]
		return d.name != ""
	}
	switch parts[0] {
	case "record":
		d.name, d.Period = "record", parts[1]
		return len(parts) == 2 && slices.Contains(periods, parts[1])
	case "pump":
		d.name = "pump"
		for i := range d.Pumps {
			if d.Pumps[i].Name == parts[1] {
				d.Pump = &d.Pumps[i]
			}
		}
		return d.Pump != nil && len(parts) == 2
	}
	for i := range d.Tanks {
		if d.Tanks[i].Name == parts[1] {
			d.Tank = &d.Tanks[i]
		}
	}
	return d.Tank != nil && d.locateOfTank(parts[0], parts[2:])
}

// locateOfTank finds a page of a tank by what follows its name.
func (d *pageData) locateOfTank(kind string, rest []string) bool {
	switch {
	case kind == "tank" && len(rest) == 0:
		d.name = "tank"
	case kind == "tank" && len(rest) == 1 && slices.Contains(tankPlaces, rest[0]):
		d.name = rest[0]
	case kind == "tank" && len(rest) == 2 && rest[0] == "past":
		what, known := spanOf(rest[1])
		d.name, d.span = "past", what
		return known
	case kind == "alarm" && len(rest) == 1:
		cause, known := safety.ParseCause(rest[0])
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
	if view == nil && s.options.Several {
		http.Redirect(w, r, "/fleet", http.StatusSeeOther)
		return
	}
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
	if who.given.Holds(time.Now()) {
		data.Given = who.given
	}
	data.tell(s, who)
	s.render(w, r, data.name, status, data)
}

// pageOf is what a path shows of a view; nil = there is no such page. The parts of it that
// are followed live need no record.
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
	case "solution":
		data.Ions = data.Tank.Ions
	case "past":
		data.Strip = s.strips.of(view.At.Wall, data.Tank.Name, data.span)
	}
	return data
}

// tell adds what the record tells, and who is here, to a page that is loaded.
func (d *pageData) tell(s *Server, who session) {
	var err error
	switch d.name {
	case "doses":
		d.Told, err = s.records.of(d.At.Wall, "day")
		if err == nil {
			at := slices.IndexFunc(d.Told.Tanks, func(t report.Tank) bool { return t.Name == d.Tank.Name })
			if at >= 0 {
				d.Groups = dosesOf(&d.Told.Tanks[at], d.Tank)
			}
		}
	case "record":
		d.Told, err = s.records.of(d.At.Wall, d.Period)
	case "people":
		d.Here, d.own, d.keyed, d.handed = s.sessions.here(who), who, s.options.Passkeys != nil, s.options.Hand != nil
		if s.options.People != nil && d.Manage() {
			d.People, err = s.options.People()
		}
		if d.Tokened = s.options.Tokens != nil; d.Tokened && d.Manage() && err == nil {
			d.Tokens, err = s.options.Tokens.List()
		}
		if err == nil {
			d.Phones, err = s.trust.here(who)
		}
		if err == nil {
			d.Keys, err = s.passkeys.here(who)
		}
	}
	if err != nil {
		d.Untold = "the record cannot be read: " + err.Error()
	}
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
