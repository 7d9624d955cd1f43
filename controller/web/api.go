package web

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"slices"
	"strings"
	"time"

	"leat/controller"
)

// api is the page's twin for programs: the same figures, and the same requests with the
// same checks, as JSON and with a token.
type api struct{ server *Server }

// apiRoute is one path of it. What it answers is of the type of Answer.
type apiRoute struct {
	Method, Path string
	Role         controller.Role // that a token needs
	Words        string
	Body, Answer any
	do           func(a *api, r *http.Request, who Token) (any, error)
}

// apiRoutes are all paths but that of the description, which is made of them.
var apiRoutes = []apiRoute{
	{http.MethodGet, "/api/v1/state", controller.RoleView, "All tanks: verdict, readings, setpoints, alarms, interlocks", nil, apiState{}, (*api).state},
	{http.MethodGet, "/api/v1/stocks", controller.RoleView, "All containers: what is left and for how many days", nil, []apiStock{}, (*api).stocks},
	{http.MethodGet, "/api/v1/stations", controller.RoleView, "All stations of the process, those that need somebody first: owner, verdict, what is held, what is due within a day", nil, []stationRow{}, (*api).stations},
	{http.MethodGet, "/api/v1/once", controller.RoleView, "An id for one request, which is carried out once however often it is sent", nil, apiOnce{}, (*api).once},
	{http.MethodPost, "/api/v1/requests", controller.RoleOperate, "One request, with the names of the page's forms and an id of /api/v1/once", apiRequest{}, apiAnswer{}, (*api).request},
}

type apiOnce struct {
	Once string `json:"once"`
}

type apiState struct {
	At      time.Time  `json:"at"`
	Station string     `json:"station"`
	LoopAge float64    `json:"loop_age_s"`
	Link    bool       `json:"broker_connected"`
	Verdict apiVerdict `json:"verdict"`
	Tanks   []apiTank  `json:"tanks"`
}

type apiVerdict struct {
	Standing string `json:"standing"`
	Text     string `json:"text"`
	Step     string `json:"step"`
}

type apiTank struct {
	Name       string         `json:"tank"`
	Mode       string         `json:"mode"`
	Fit        bool           `json:"fit"`
	Verdict    apiVerdict     `json:"verdict"`
	Readings   []apiReading   `json:"readings"`
	PH         apiSetpoint    `json:"ph_setpoint"`
	EC         apiSetpoint    `json:"ec_setpoint"`
	Alarms     []apiAlarm     `json:"alarms"`
	Interlocks []apiInterlock `json:"interlocks"`
}

type apiReading struct {
	Input   string  `json:"input"`
	Known   bool    `json:"known"`
	Value   float64 `json:"value"`
	Unit    string  `json:"unit"`
	Age     float64 `json:"age_s"`
	Quality string  `json:"quality"`
}

type apiSetpoint struct {
	Working float64 `json:"working"`
	Final   float64 `json:"final"`
	Min     float64 `json:"min"`
	Max     float64 `json:"max"`
	Source  string  `json:"source"`
}

type apiAlarm struct {
	Cause    string    `json:"cause"`
	State    string    `json:"state"`
	Priority string    `json:"priority"`
	Text     string    `json:"text"`
	Advice   string    `json:"advice"`
	Since    time.Time `json:"since"`
}

type apiInterlock struct {
	Cause  string    `json:"cause"`
	Action string    `json:"action"`
	Scope  string    `json:"scope"`
	Pump   string    `json:"pump"`
	Clears string    `json:"clears"`
	Since  time.Time `json:"since"`
}

type apiStock struct {
	Pump   string  `json:"pump"`
	Liquid string  `json:"liquid"`
	Known  bool    `json:"left_known"`
	Left   float64 `json:"left_ml"`
	Lasts  bool    `json:"days_known"`
	Days   float64 `json:"days"`
}

// apiRequest names what a request may say; each is text, as it would be typed into a form.
type apiRequest struct {
	Once     string `json:"once"`
	Do       string `json:"do"`
	Tank     string `json:"tank"`
	Quantity string `json:"quantity"`
	Value    string `json:"value"`
	Until    string `json:"until"`
	Note     string `json:"note"`
	Confirm  string `json:"confirm"`
	Cause    string `json:"cause"`
	For      string `json:"for"`
	Pump     string `json:"pump"`
	ML       string `json:"ml"`
	Entry    string `json:"entry"`
	Litres   string `json:"litres"`
	Batch    string `json:"batch"`
	Probe    string `json:"probe"`
	Step     string `json:"step"`
	Standard string `json:"standard"`
	Celsius  string `json:"celsius"`
	Found    string `json:"found"`
	Runs     string `json:"runs"`
	PH       string `json:"ph"`
	EC       string `json:"ec"`
}

type apiAnswer struct {
	Accepted bool    `json:"accepted"`
	Text     string  `json:"text"`
	Confirm  string  `json:"confirm"` // to be sent with the same request where it needs confirmation
	Old      float64 `json:"old"`
	New      float64 `json:"new"`
}

type apiFault struct {
	Error string `json:"error"`
}

// refused is an error of the caller, with its status.
type refused struct {
	status int
	text   string
}

func (f refused) Error() string { return f.text }

// routes serves the table, and its description.
func (a *api) routes(mux *http.ServeMux) {
	for i := range apiRoutes {
		route := &apiRoutes[i]
		mux.HandleFunc(route.Method+" "+route.Path, func(w http.ResponseWriter, r *http.Request) { a.serve(w, r, route) })
	}
	description := describeAPI()
	mux.HandleFunc("GET /api/v1/openapi.json", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "application/json")
		_, _ = w.Write(description)
	})
}

func (a *api) serve(w http.ResponseWriter, r *http.Request, route *apiRoute) {
	w.Header().Set("Content-Type", "application/json")
	who, known := a.program(r)
	var answer any
	var err error
	switch {
	case !known:
		w.Header().Set("WWW-Authenticate", "Bearer")
		err = refused{http.StatusUnauthorized, "send Authorization: Bearer with a token that an engineer made under /people"}
	case who.Role < route.Role:
		err = refused{http.StatusForbidden, fmt.Sprintf("%s %s needs the role %s; this token has %s", route.Method, route.Path, route.Role, who.Role)}
	default:
		answer, err = route.do(a, r, who)
	}
	status := http.StatusOK
	if err != nil {
		var fault refused
		status = http.StatusServiceUnavailable
		if errors.As(err, &fault) {
			status = fault.status
		}
		answer = apiFault{err.Error()}
	} else if told, ok := answer.(apiAnswer); ok && !told.Accepted {
		status = http.StatusUnprocessableEntity
	}
	w.WriteHeader(status)
	_ = json.NewEncoder(w).Encode(answer) // a reader that went away is no fault of ours
}

func (a *api) view() (*controller.View, error) {
	if view := a.server.options.View(); view != nil {
		return view, nil
	}
	return nil, errors.New("the daemon is starting; try again in a moment")
}

func (a *api) state(*http.Request, Token) (any, error) {
	v, err := a.view()
	if err != nil {
		return nil, err
	}
	told := func(d *controller.Verdict) apiVerdict { return apiVerdict{d.Standing.String(), d.Text, d.Step} }
	state := apiState{At: v.At.Wall, Station: v.Station, LoopAge: a.server.options.Loop().Seconds(), Link: v.LinkUp, Verdict: told(&v.Verdict), Tanks: []apiTank{}}
	for i := range v.Tanks {
		t := &v.Tanks[i]
		setpoint := func(s *controller.SetpointView) apiSetpoint {
			return apiSetpoint{s.Working, s.Final, s.Min, s.Max, s.Source}
		}
		tank := apiTank{Name: t.Name, Mode: t.Mode.String(), Fit: t.Fit, Verdict: told(&t.Verdict), PH: setpoint(&t.PH), EC: setpoint(&t.EC), Readings: []apiReading{}, Alarms: []apiAlarm{}, Interlocks: []apiInterlock{}}
		for k := range t.Inputs {
			if in := &t.Inputs[k]; in.NotFitted == "" {
				tank.Readings = append(tank.Readings, apiReading{in.Name, in.Present && !in.Retained, finite(in.Value), in.Quantity.Unit(), finite(in.Age.Seconds()), in.Quality.String()})
			}
		}
		for k := range t.Alarms {
			alarm := &t.Alarms[k]
			tank.Alarms = append(tank.Alarms, apiAlarm{alarm.Cause.String(), alarm.State.String(), alarm.Priority.String(), alarm.Text, alarm.Advice, alarm.Since.Wall})
		}
		for k := range t.Holds {
			h := &t.Holds[k]
			tank.Interlocks = append(tank.Interlocks, apiInterlock{h.Cause.String(), h.Action.String(), h.Scope.String(), h.Pump, h.Clears, h.Since.Wall})
		}
		state.Tanks = append(state.Tanks, tank)
	}
	return state, nil
}

// finite keeps what JSON cannot say out of it.
func finite(v float64) float64 {
	if v-v != 0 {
		return 0
	}
	return v
}

func (a *api) stocks(*http.Request, Token) (any, error) {
	v, err := a.view()
	if err != nil {
		return nil, err
	}
	all := []apiStock{}
	for i := range v.Pumps {
		p := &v.Pumps[i]
		s := apiStock{Pump: p.Name, Liquid: p.Liquid, Known: p.Left >= 0, Lasts: p.Lasts.Known && p.Left >= 0}
		if s.Known {
			s.Left = p.Left.Millilitres()
		}
		if s.Lasts {
			s.Days = finite(p.Lasts.Days)
		}
		all = append(all, s)
	}
	return all, nil
}

func (a *api) once(*http.Request, Token) (any, error) { return apiOnce{a.server.once.id()}, nil }

// request asks the core, as a form does.
func (a *api) request(r *http.Request, who Token) (any, error) {
	said, err := readJSON(r.Body)
	if err != nil {
		return nil, refused{http.StatusBadRequest, err.Error() + "; nothing was changed"}
	}
	value := func(name string) string { return said[name] }
	by := "token " + who.Name
	sent, first, err := a.server.once.begin(value("once"), by)
	if err != nil {
		return nil, refused{http.StatusConflict, "once: want an id of GET /api/v1/once that was not used for another request; nothing was changed"}
	}
	if first {
		sent.end(a.answerTo(r, who, by, value))
	}
	select {
	case <-sent.done:
	case <-r.Context().Done():
		return nil, r.Context().Err()
	}
	if sent.status == http.StatusBadRequest || sent.status == http.StatusServiceUnavailable {
		return nil, refused{sent.status, sent.answer.Text}
	}
	told := &sent.answer.Answer
	return apiAnswer{told.Accepted, told.Text, told.Confirm, finite(told.Old), finite(told.New)}, nil
}

func (a *api) answerTo(r *http.Request, who Token, by string, value func(string) string) (int, *answerData) {
	s := a.server
	shown := &answerData{}
	request, err := s.reader.read(value)
	if err != nil {
		shown.Text = err.Error() + "; nothing was changed"
		return http.StatusBadRequest, shown
	}
	request.By, request.From, request.Role = by, "api", who.Role
	if shown.Answer, err = s.options.Ask(r.Context(), request); err != nil {
		shown.Text = "the daemon did not answer in time; read the state before asking again"
		return http.StatusServiceUnavailable, shown
	}
	if !shown.Accepted {
		s.options.Audit(by, "api", request.Kind.String()+" refused", shown.Text)
	}
	return http.StatusOK, shown
}

// readJSON reads one flat object of text and numbers whose names are those of apiRequest,
// each once.
func readJSON(body io.Reader) (map[string]string, error) {
	text, err := io.ReadAll(body)
	if err != nil {
		return nil, errors.New("the request is too large")
	}
	in := json.NewDecoder(bytes.NewReader(text))
	in.UseNumber()
	if open, err := in.Token(); err != nil || open != json.Delim('{') {
		return nil, errors.New("want one JSON object")
	}
	known := fieldNames(apiRequest{})
	said := map[string]string{}
	for in.More() {
		key, err := in.Token()
		if err != nil {
			return nil, errors.New("this is no JSON object")
		}
		name, _ := key.(string)
		if _, twice := said[name]; twice || !slices.Contains(known, name) {
			return nil, fmt.Errorf("%.40q is no name of a request, or stands twice; there are: %s", name, strings.Join(known, ", "))
		}
		value, err := in.Token()
		if err != nil {
			return nil, errors.New("this is no JSON object")
		}
		switch v := value.(type) {
		case string:
			said[name] = v
		case json.Number:
			said[name] = v.String()
		default:
			return nil, fmt.Errorf("%s: want text or a number", name)
		}
	}
	if _, err := in.Token(); err != nil {
		return nil, errors.New("this is no JSON object")
	}
	if _, err := in.Token(); !errors.Is(err, io.EOF) {
		return nil, errors.New("something follows the JSON object")
	}
	return said, nil
}
