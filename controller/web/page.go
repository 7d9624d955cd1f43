package web

import (
	"bytes"
	"encoding/json"
	"fmt"
	"html/template"
	"math"
	"net/http"
	"strconv"
	"time"

	"leat/controller"
	"leat/dosing"
	"leat/safety"
)

// words are the functions of the page template: figures and ages as people say
// them.
func words(scale dosing.ECScale) template.FuncMap {
	return template.FuncMap{
		"age":     ageWords,
		"ionBars": ionBars,
		"percent": func(v float64) string { return strconv.FormatFloat(100*v, 'f', 1, 64) + " %" },
		"in":      inWords,
		"value":   func(in controller.InputView) string { return valueWords(in, scale) },
		"two":     func(v float64) string { return strconv.FormatFloat(v, 'f', 2, 64) },
		"ec":      func(v float64) string { return dosing.Conductivity(v).String() + scale.Beside(dosing.Conductivity(v)) },
		// A spread of a logarithm as people say it.
		"factor": func(spread float64) string { return strconv.FormatFloat(math.Exp(spread), 'f', 1, 64) },
		"clock":  func(t time.Time) string { return t.Format("2 Jan 15:04") },
		"since":  func(now, then dosing.Instant) time.Duration { return now.Since(then) },
		"setpoint": func(v controller.SetpointView, tank, quantity, unit string) setpointForm {
			return setpointForm{v, tank, quantity, unit}
		},
	}
}

type setpointForm struct {
	controller.SetpointView
	Tank, Quantity, Unit string
}

// ageWords is a duration with one unit.
func ageWords(d time.Duration) string {
	switch {
	case d < 0:
		return "just now"
	case d < 2*time.Minute:
		return fmt.Sprintf("%.0f s", d.Seconds())
	case d < 2*time.Hour:
		return fmt.Sprintf("%.0f min", d.Minutes())
	}
	return fmt.Sprintf("%.0f h", d.Hours())
}

// inWords says when a band is left.
func inWords(d time.Duration) string {
	switch {
	case d < 0:
		return "not in sight"
	case d == 0:
		return "outside now"
	}
	return "in " + ageWords(d)
}

func valueWords(in controller.InputView, scale dosing.ECScale) string {
	if !in.Present {
		return "no reading yet"
	}
	switch {
	case in.Quantity.Switch():
		return switchWords(in.Quantity, in.Value != 0)
	case in.Quantity == dosing.QuantityPH:
		return dosing.PH(in.Value).String()
	case in.Quantity == dosing.QuantityEC:
		return dosing.Conductivity(in.Value).String() + scale.Beside(dosing.Conductivity(in.Value))
	}
	return strconv.FormatFloat(in.Value, 'f', 1, 64) + " " + in.Quantity.Unit()
}

func switchWords(q dosing.Quantity, on bool) string {
	pair := map[dosing.Quantity][2]string{
		dosing.QuantityCirculation: {"off", "runs"}, dosing.QuantityLeak: {"dry", "wet"}, dosing.QuantityFlood: {"none", "under way"},
		dosing.QuantityTopUp: {"closed", "open"}, dosing.QuantitySampleFlow: {"off", "flows"}, dosing.QuantityOutlet: {"closed", "proved open"},
		dosing.QuantityStop: {"released", "pressed"},
	}[q]
	if on {
		return pair[1]
	}
	return pair[0]
}

// pageData is what the template shows.
type pageData struct {
	*controller.View
	Who     string
	Role    controller.Role
	Operate bool
	Manage  bool
	Answer  *answerData
}

// answerData is the daemon's answer to the last form, with the form to confirm it.
type answerData struct {
	controller.Answer
	TankName string
	Until    string
	Note     string
}

func (s *Server) showPage(w http.ResponseWriter, r *http.Request) { s.pageWith(w, r, nil) }

func (s *Server) pageWith(w http.ResponseWriter, r *http.Request, answer *answerData) {
	who, ok := s.sessions.who(r)
	if !ok {
		http.Redirect(w, r, "/signin", http.StatusSeeOther)
		return
	}
	view := s.options.View()
	if view == nil {
		http.Error(w, "the daemon is starting; try again in a moment", http.StatusServiceUnavailable)
		return
	}
	status := http.StatusOK
	if answer != nil && !answer.Accepted {
		status = http.StatusUnprocessableEntity
	}
	s.render(w, s.page, status, pageData{View: view, Who: who.name, Role: who.role, Operate: who.role >= controller.RoleOperate,
		Manage: who.role >= controller.RoleEngineer, Answer: answer})
}

// showState is the view as JSON, for a person signed in.
func (s *Server) showState(w http.ResponseWriter, r *http.Request) {
	if _, ok := s.sessions.who(r); !ok {
		http.Error(w, "sign in first", http.StatusUnauthorized)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	_ = json.NewEncoder(w).Encode(s.options.View()) // a reader that went away is no fault of ours
}

// ask takes a form of the page, sends it to the core and shows the answer.
func (s *Server) ask(w http.ResponseWriter, r *http.Request) {
	who, ok := s.sessions.who(r)
	if !ok {
		http.Redirect(w, r, "/signin", http.StatusSeeOther)
		return
	}
	request, err := s.read(r.FormValue)
	if err != nil {
		http.Error(w, err.Error(), http.StatusBadRequest)
		return
	}
	request.By, request.From, request.Role = who.name, "page", who.role
	answer, err := s.options.Ask(r.Context(), request)
	if err != nil {
		http.Error(w, "the daemon did not answer; nothing was changed by this page", http.StatusServiceUnavailable)
		return
	}
	if !answer.Accepted {
		s.options.Audit(who.name, "page", request.Kind.String()+" refused", answer.Text)
	}
	view := s.options.View()
	s.pageWith(w, r, &answerData{Answer: answer, TankName: view.Tanks[request.Tank].Name, Until: request.Until, Note: request.Note})
}

// read makes a request of form values; the local socket uses the same names.
func (s *Server) read(value func(string) string) (controller.Request, error) {
	kind, ok := controller.ParseRequestKind(value("do"))
	if !ok {
		return controller.Request{}, fmt.Errorf("do=%.40q: no such request", value("do"))
	}
	request := controller.Request{Kind: kind, Until: value("until"), Note: value("note"), Confirm: value("confirm")}
	view := s.options.View()
	if view == nil {
		return request, fmt.Errorf("the daemon is starting")
	}
	found := false
	for i := range view.Tanks {
		if view.Tanks[i].Name == value("tank") {
			request.Tank, found = dosing.TankID(i), true
		}
	}
	if !found {
		return request, fmt.Errorf("tank=%.40q: no such tank", value("tank"))
	}
	err := s.readDetails(view, value, &request)
	return request, err
}

// readDetails reads what some requests need beside their tank.
func (s *Server) readDetails(view *controller.View, value func(string) string, request *controller.Request) error {
	var err error
	switch request.Kind {
	case controller.RequestSetpoint:
		if request.Value, err = strconv.ParseFloat(value("value"), 64); err != nil {
			return fmt.Errorf("value=%.40q: want a number such as 5.9", value("value"))
		}
		request.Quantity = map[string]dosing.Quantity{"ph": dosing.QuantityPH, "ec": dosing.QuantityEC}[value("quantity")]
	case controller.RequestAcknowledge, controller.RequestShelve:
		cause, ok := safety.ParseCause(value("cause"))
		if !ok {
			return fmt.Errorf("cause=%.40q: no such cause", value("cause"))
		}
		request.Cause = cause
		if request.Kind == controller.RequestShelve {
			if request.For, err = time.ParseDuration(value("for")); err != nil {
				return fmt.Errorf("for=%.40q: want a time such as 2h", value("for"))
			}
		}
	case controller.RequestAnalysis:
		if s.options.ReadAnalysis == nil {
			return fmt.Errorf("this page takes no analyses")
		}
		if err = s.options.ReadAnalysis(value("analysis"), request); err != nil {
			return err
		}
		if text := value("sampled"); text != "" {
			if request.Sampled, err = time.Parse(time.RFC3339, text); err != nil {
				return fmt.Errorf("sampled=%.40q: want a time such as 2026-01-01T09:00:00Z", text)
			}
		}
	case controller.RequestHandDose:
		ml, err := strconv.ParseFloat(value("ml"), 64)
		if err != nil || !(ml > 0) {
			return fmt.Errorf("ml=%.40q: want millilitres, more than nothing", value("ml"))
		}
		request.Volume = dosing.FromMillilitres(ml)
		for i := range view.Pumps {
			if view.Pumps[i].Name == value("pump") {
				request.Pump = dosing.PumpID(i)
				return nil
			}
		}
		return fmt.Errorf("pump=%.40q: no such pump", value("pump"))
	}
	return nil
}

// render writes a template whole or an error, never half a page.
func (s *Server) render(w http.ResponseWriter, t *template.Template, status int, data any) {
	var page bytes.Buffer
	if err := t.Execute(&page, data); err != nil {
		http.Error(w, "page: "+err.Error(), http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	_, _ = page.WriteTo(w) // a reader that went away is no fault of ours
}
