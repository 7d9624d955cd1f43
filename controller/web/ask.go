package web

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"leat/controller"
)

// answerData is the daemon's answer to the last form, with what was typed into it.
type answerData struct {
	controller.Answer
	TankName string
	Again    []field // the form, where it needs confirmation
	Yes      string
	sent     url.Values
	Shares   []controller.ShareView // of the blend, before an analysis
}

// Sentences are the answer as it is read on a phone, one below the other: a plan has many.
func (a *answerData) Sentences() []string {
	if a.TankName != "" {
		return stepsOf(a.TankName + ": " + a.Text)
	}
	return stepsOf(a.Text)
}

type field struct{ Name, Value string }

// ask takes a form of a page, sends it to the core once and leads to the answer: a page
// that is loaded again asks for nothing.
func (s *Server) ask(w http.ResponseWriter, r *http.Request) {
	who, ok := s.who(r)
	if !ok {
		path := pageOf(r.FormValue) // which parses the form
		s.kept.keep(w, r.PostForm, s.secure)
		http.Redirect(w, r, signInFor(path), http.StatusSeeOther)
		return
	}
	page := pageOf(r.FormValue)
	if s.trust.needsProof(r.FormValue) && s.trust.proof(w, r, who, page) {
		return
	}
	s.kept.done(w, r)
	id := r.FormValue("once")
	sent, first, err := s.once.begin(id, who.name)
	if err != nil {
		s.showPage(w, r, pageOf(r.FormValue), http.StatusBadRequest, &answerData{Answer: controller.Answer{Text: err.Error() + "; nothing was changed"}, sent: r.PostForm})
		return
	}
	if first {
		sent.end(s.answerTo(r, who))
	}
	select {
	case <-sent.done:
		http.Redirect(w, r, pageOf(r.FormValue)+"?answer="+url.QueryEscape(id)+sent.answer.place(), http.StatusSeeOther)
	case <-r.Context().Done():
	}
}

// pageOf is the page that a form stands on.
func pageOf(value func(string) string) string {
	tank := "/tank/" + url.PathEscape(value("tank"))
	switch do := value("do"); {
	case value("back") != "":
		return inside(value("back"))
	case do == controller.RequestPumpRate.String() || do == controller.RequestNewTube.String():
		return "/pump/" + url.PathEscape(value("pump"))
	case do == controller.RequestCalibrate.String() || do == controller.RequestMeter.String():
		return tank + "/probes"
	case do == controller.RequestEndHoliday.String():
		return tank + "/schedule"
	case do == controller.RequestAnalysis.String():
		return tank + "/solution"
	case do == controller.RequestRefill.String():
		return "/refill"
	case value("cause") != "":
		return "/alarm/" + url.PathEscape(value("tank")) + "/" + url.PathEscape(value("cause"))
	case value("tank") == "":
		return "/"
	case slices.Contains([]string{"hand-dose", "void", "mark"}, do):
		return tank + "/enter"
	}
	return tank + "/change"
}

// place is where on its page an answer is read: a refusal in the form that was refused.
func (a *answerData) place() string {
	if a.Accepted || a.Confirm != "" {
		return "#answer"
	}
	return "#" + formKey(a.sent.Get("do"), a.sent.Get("quantity")+a.sent.Get("part"))
}

// answerTo is the core's answer to a form.
func (s *Server) answerTo(r *http.Request, who session) (int, *answerData) {
	_ = r.FormValue("do") // parses the form
	shown := &answerData{TankName: r.FormValue("tank"), sent: r.PostForm}
	request, err := s.reader.read(r.FormValue)
	if err != nil {
		shown.Text = err.Error() + "; nothing was changed"
		return http.StatusBadRequest, shown
	}
	request.Note = noted(r.PostForm["did"], request.Note)
	request.By, request.From, request.Role = who.name, "page", who.role
	if view := s.options.View(); request.Kind == controller.RequestAnalysis && view != nil && view.Tanks[request.Tank].Ions != nil {
		shown.Shares = view.Tanks[request.Tank].Ions.Shares
	}
	answer, err := s.options.Ask(r.Context(), request)
	if err != nil {
		shown.Text = "the daemon did not answer in time; look below whether it was done before asking again"
		return http.StatusServiceUnavailable, shown
	}
	shown.Answer = answer
	shown.Text = labelled(answer.Text)
	if answer.Accepted {
		return http.StatusOK, shown
	}
	s.options.Audit(who.name, "page", request.Kind.String()+" refused", answer.Text)
	if answer.Confirm != "" {
		shown.repeat(r.FormValue, &request)
	}
	return http.StatusUnprocessableEntity, shown
}

// noted joins the steps that were ticked to what was typed.
func noted(did []string, note string) string {
	if note != "" {
		did = append(did, note)
	}
	return strings.Join(did, " · ")
}

// repeat keeps a form for its confirmation.
func (a *answerData) repeat(value func(string) string, request *controller.Request) {
	for _, name := range []string{"do", "tank", "quantity", "value", "until", "pump", "ml", "note", "back"} {
		if v := value(name); v != "" {
			a.Again = append(a.Again, field{name, v})
		}
	}
	a.Yes = fmt.Sprintf("Yes, %v → %v", a.Old, a.New)
	if request.Kind == controller.RequestFill {
		a.Yes = "Approve this fill"
	}
	if request.Kind == controller.RequestHandDose {
		a.Yes = fmt.Sprintf("Yes, %s mL of %s were added", value("ml"), value("pump"))
	}
}

// formData is one form: one act, one button.
type formData struct {
	Once, Do, Tank, Quantity, Cause string
	Part                            string // tells forms of one deed apart on a page
	Here                            string // the page to come back to, where the deed does not tell
	undo                            bool
	answer                          *answerData
}

func formKey(do, quantity string) string {
	if quantity != "" {
		return do + "-" + quantity
	}
	return do
}

// ID names the form on its page; of a list's many forms none has one.
func (f *formData) ID() string {
	switch {
	case f.Do == controller.RequestVoid.String():
		return ""
	case f.undo:
		return "undo-" + f.Quantity
	}
	return formKey(f.Do, f.Quantity+f.Part)
}

// refused is the answer to this very form, if it was refused.
func (f *formData) refused() *answerData {
	a := f.answer
	if a == nil || f.undo || a.Accepted || a.sent.Get("do") != f.Do || a.sent.Get("quantity") != f.Quantity || a.sent.Get("part") != f.Part || a.sent.Get("tank") != f.Tank {
		return nil
	}
	return a
}

// Refusal says why the form was refused.
func (f *formData) Refusal() string {
	if a := f.refused(); a != nil && a.Confirm == "" {
		return a.Text
	}
	return ""
}

// Open says that the form is shown unfolded: it was refused, and what was typed is in it.
func (f *formData) Open() bool { return f.refused() != nil }

// Was is what was typed into a field of a form that was refused: nobody types it anew.
func (f *formData) Was(name string) string {
	if a := f.refused(); a != nil {
		return a.sent.Get(name)
	}
	return ""
}

// form is one form of a page.
func (d *pageData) form(do, quantity string) *formData {
	f := &formData{Once: d.once(), Do: do, Quantity: quantity, answer: d.Answer}
	if d.Tank != nil {
		f.Tank = d.Tank.Name
	}
	if d.Card != nil {
		f.Cause = d.Card.Cause.String()
	}
	return f
}

// part is a form of a deed that stands several times on a page, which it comes back to.
func (d *pageData) part(do, part string) *formData {
	f := d.form(do, "")
	f.Part, f.Here = part, d.Path
	return f
}

// partOf is a part of a station's page that is a tank's.
func (d *pageData) partOf(tank, do, part string) *formData {
	f := d.part(do, part)
	f.Tank = tank
	return f
}

// Undo is the form that takes the last change back, as a change of its own.
func (f setpointForm) Undo() *formData {
	undo := *f.formData
	undo.undo, undo.Once = true, f.again
	return &undo
}

// UndoUntil is when what is brought back ends, if that is still ahead.
func (f setpointForm) UndoUntil() string {
	if f.BeforeUntil.IsZero() {
		return ""
	}
	return f.BeforeUntil.Format(time.RFC3339)
}

// Unit is that of the setpoint.
func (f setpointForm) Unit() string {
	_, unit, _ := strings.Cut(f.Label, ", ")
	return unit
}

// setpointForm is the form of one setpoint.
type setpointForm struct {
	*formData
	controller.SetpointView
	Name, Label string
	again       string // the id of the form that undoes
}
