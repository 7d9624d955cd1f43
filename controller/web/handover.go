package web

import (
	"fmt"
	"net/http"
	"strings"
	"time"

	"leat/controller"
)

// Handover lends a person a role until a time, with a note of what to look after. The
// zero one lends none.
type Handover struct {
	Role     controller.Role
	By, Note string
	Until    time.Time
}

// Holds says that the time is not up.
func (h Handover) Holds(now time.Time) bool {
	return h.Role > controller.RoleNobody && now.Before(h.Until)
}

// May is the role of a person now. What is lent ends by the clock alone: nobody need think
// of taking it back.
func (p Person) May(now time.Time) controller.Role {
	if p.Given.Holds(now) {
		return max(p.Role, p.Given.Role)
	}
	return p.Role
}

// longestHandover bounds what is lent: who stays for longer is given the role itself.
const longestHandover = 31 * 24 * time.Hour

// HandoverUntil reads when what is lent ends: a time such as "2 h" or "72h", or a date and
// time of the farm's zone, ahead by at most a month.
func HandoverUntil(text string, now time.Time) (time.Time, error) {
	text = strings.TrimSpace(text)
	at, err := sampledAt(text, now.Location())
	if err != nil {
		ahead, bad := time.ParseDuration(strings.ReplaceAll(text, " ", ""))
		if at = now.Add(ahead); bad != nil {
			return at, fmt.Errorf("until %.40q: want a time ahead such as 72h, or when it ends, such as %s", text, now.AddDate(0, 0, 3).Format("2006-01-02T15:04"))
		}
	}
	switch ahead := at.Sub(now); {
	case ahead <= 0:
		return at, fmt.Errorf("until %s: that is past", at.Format("2 Jan 2006 15:04"))
	case ahead > longestHandover:
		return at, fmt.Errorf("until %s: want at most %.0f days from now; who stays for longer is given the role itself", at.Format("2 Jan 2006 15:04"), longestHandover.Hours()/24)
	}
	return at, nil
}

// handover takes the forms by which a helper is lent a role.
type handover struct{ server *Server }

// engineer is who hands over: an engineer of their own right, and proven. What is lent is
// not lent on.
func (h *handover) engineer(w http.ResponseWriter, r *http.Request) (who session, ok bool) {
	s := h.server
	who, ok = s.who(r)
	_ = r.FormValue("name") // parses the form
	if !ok || s.options.Hand == nil || who.base < controller.RoleEngineer {
		http.Error(w, "an engineer who is signed in hands over", http.StatusForbidden)
		return who, false
	}
	return who, !s.trust.proof(w, r, who, "/people")
}

func (h *handover) give(w http.ResponseWriter, r *http.Request) {
	s := h.server
	who, ok := h.engineer(w, r)
	if !ok {
		return
	}
	status, shown := http.StatusOK, &answerData{sent: r.PostForm}
	if text, err := h.lend(who.name, r.FormValue); err != nil {
		status, shown.Text = http.StatusUnprocessableEntity, err.Error()
	} else {
		shown.Accepted, shown.Text = true, text
	}
	s.showPage(w, r, "/people", status, shown)
}

// lend lends a role as a form asks for it.
func (h *handover) lend(by string, value func(string) string) (string, error) {
	s, now := h.server, time.Now()
	if view := s.options.View(); view != nil {
		now = now.In(view.At.Wall.Location())
	}
	person, found, err := s.options.Find(value("name"))
	role, _ := controller.ParseRole(value("role"))
	switch {
	case err != nil:
		return "", err
	case !found:
		return "", fmt.Errorf("there is nobody of the name %.40q; add them with leat user add, to view", value("name"))
	case role <= person.Role:
		return "", fmt.Errorf("%s may %s already", person.Name, person.Role)
	}
	until, err := HandoverUntil(value("until"), now)
	if err != nil {
		return "", err
	}
	given := Handover{Role: role, By: by, Note: value("note"), Until: until}
	if err := s.options.Hand(person.Name, given); err != nil {
		return "", err
	}
	s.options.Audit(by, "page", "handed over", fmt.Sprintf("to %s, %s until %s: %s", person.Name, role, until.Format("2 Jan 2006 15:04 MST"), given.Note))
	return fmt.Sprintf("%s may %s until %s, and %s again from then on by itself", person.Name, role, until.Format("2 Jan 2006 15:04 MST"), person.Role), nil
}

// take ends what was lent before its time. It lets less happen and needs no proof.
func (h *handover) take(w http.ResponseWriter, r *http.Request) {
	s := h.server
	who, ok := s.who(r)
	if !ok || s.options.Hand == nil || who.base < controller.RoleEngineer {
		http.Error(w, "an engineer who is signed in takes back", http.StatusForbidden)
		return
	}
	name := r.FormValue("name")
	if err := s.options.Hand(name, Handover{}); err != nil {
		http.Error(w, err.Error(), http.StatusNotFound)
		return
	}
	s.options.Audit(who.name, "page", "took back what was handed over", name)
	http.Redirect(w, r, "/people", http.StatusSeeOther)
}
