package web

import (
	"bytes"
	"encoding/json"
	"fmt"
	"html/template"
	"math"
	"net/http"
	"strconv"
	"strings"
	"time"

	"leat/controller"
	"leat/dosing"
	"leat/safety"
)

// pageData is what the template shows.
type pageData struct {
	*controller.View
	Who     string
	Role    controller.Role
	Operate bool
	Manage  bool
	Answer  *answerData
	charts  [][]chart // by tank; none where nobody keeps a history
}

func newPage(view *controller.View, who string, role controller.Role) pageData {
	return pageData{View: view, Who: who, Role: role, Operate: role >= controller.RoleOperate, Manage: role >= controller.RoleEngineer}
}

// Chart is what the last hours of a tank looked like.
func (d pageData) Chart(tank int) []chart {
	if tank >= len(d.charts) {
		return nil
	}
	return d.charts[tank]
}

// answerData is the daemon's answer to the last form, with the form to confirm it.
type answerData struct {
	controller.Answer
	TankName string
	Until    string
	Note     string
	Analysis string // a list that was not taken, to be mended rather than typed anew
}

func (s *Server) showPage(w http.ResponseWriter, r *http.Request) {
	s.pageWith(w, r, http.StatusOK, nil)
}

func (s *Server) pageWith(w http.ResponseWriter, r *http.Request, status int, answer *answerData) {
	who, ok := s.who(r)
	if !ok {
		http.Redirect(w, r, "/signin", http.StatusSeeOther)
		return
	}
	view := s.options.View()
	if view == nil {
		http.Error(w, "the daemon is starting; try again in a moment", http.StatusServiceUnavailable)
		return
	}
	data := newPage(view, who.name, who.role)
	data.Answer = answer
	for i := range view.Tanks {
		data.charts = append(data.charts, s.charts(view.At.Wall, &view.Tanks[i]))
	}
	s.render(w, s.page, status, data)
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

// ask takes a form of the page, sends it to the core and shows the answer.
func (s *Server) ask(w http.ResponseWriter, r *http.Request) {
	who, ok := s.who(r)
	if !ok {
		http.Redirect(w, r, "/signin", http.StatusSeeOther)
		return
	}
	request, err := s.read(r.FormValue)
	refused := &answerData{TankName: r.FormValue("tank"), Analysis: r.FormValue("analysis")}
	if err != nil {
		refused.Text = err.Error() + "; nothing was changed"
		s.pageWith(w, r, http.StatusBadRequest, refused)
		return
	}
	request.By, request.From, request.Role = who.name, "page", who.role
	answer, err := s.options.Ask(r.Context(), request)
	if err != nil {
		refused.Text = "the daemon did not answer in time; look below whether it was done before asking again"
		s.pageWith(w, r, http.StatusServiceUnavailable, refused)
		return
	}
	if !answer.Accepted {
		s.options.Audit(who.name, "page", request.Kind.String()+" refused", answer.Text)
	}
	shown := &answerData{Answer: answer, TankName: r.FormValue("tank"), Until: request.Until, Note: request.Note}
	status := http.StatusOK
	if !answer.Accepted {
		status, shown.Analysis = http.StatusUnprocessableEntity, refused.Analysis
	}
	s.pageWith(w, r, status, shown)
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
	var names []string
	for i := range view.Tanks {
		names = append(names, view.Tanks[i].Name)
		if view.Tanks[i].Name == value("tank") {
			request.Tank, found = dosing.TankID(i), true
		}
	}
	if !found {
		return request, fmt.Errorf("there is no tank %.40q; there are: %s", value("tank"), strings.Join(names, ", "))
	}
	err := s.readDetails(view, value, &request)
	return request, err
}

// readDetails reads what some requests need beside their tank.
func (s *Server) readDetails(view *controller.View, value func(string) string, request *controller.Request) error {
	var err error
	switch request.Kind {
	case controller.RequestSetpoint:
		if request.Value, err = typed(value("value")); err != nil {
			return err
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
	case controller.RequestConfirmWater:
		return s.readWater(value, request)
	case controller.RequestAnalysis:
		if err = s.readAnalysis(value("analysis"), request); err != nil {
			return err
		}
		if text := value("sampled"); text != "" {
			if request.Sampled, err = sampledAt(text, view.At.Wall.Location()); err != nil {
				return err
			}
		}
	case controller.RequestHandDose:
		ml, err := typed(value("ml"))
		if err != nil || !(ml > 0) {
			return fmt.Errorf("%.40q: want millilitres, more than nothing", value("ml"))
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

// readWater reads which water a person confirms; empty = not said.
func (s *Server) readWater(value func(string) string, request *controller.Request) error {
	text := value("water")
	if text == "" {
		return nil
	}
	water, ok := controller.ParseWater(text)
	if !ok {
		return fmt.Errorf("water=%.40q: want one of same, source, recipe, analysis, unknown", text)
	}
	request.Water = water
	if water.Described() {
		return s.readAnalysis(value("analysis"), request)
	}
	return nil
}

func (s *Server) readAnalysis(list string, request *controller.Request) error {
	if s.options.ReadAnalysis == nil {
		return fmt.Errorf("this page takes no analyses")
	}
	return s.options.ReadAnalysis(list, request)
}

// sampledAt reads a time with its zone, or one from a phone's calendar, which has none
// and is the station's.
func sampledAt(text string, zone *time.Location) (time.Time, error) {
	at, err := time.Parse(time.RFC3339, text)
	if err != nil {
		at, err = time.ParseInLocation("2006-01-02T15:04", text, zone)
	}
	if err != nil {
		return at, fmt.Errorf("%.40q: want a time such as 2026-01-01T09:00, or with a zone 2026-01-01T09:00:00Z", text)
	}
	return at, nil
}

// typed reads a number from a phone, whose keys may offer a comma and no point. A
// mark between thousands would make another number of it, so one mark is all.
func typed(text string) (float64, error) {
	plain := strings.TrimSpace(text)
	if strings.Count(plain, ",") == 1 && !strings.Contains(plain, ".") {
		plain = strings.Replace(plain, ",", ".", 1)
	}
	v, err := strconv.ParseFloat(plain, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("%.40q is not a number; write it as 5.9 or 5,9", text)
	}
	return v, nil
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
