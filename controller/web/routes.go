package web

import (
	"net/http"

	"leat/controller"
)

// route is one path of the page: who may use it, and what it is for.
type route struct {
	Pattern string
	Role    controller.Role // RoleNobody = no sign-in
	Words   string
	do      http.HandlerFunc
}

// table is every path that a browser reaches. What changes anything is a POST from the
// page's own origin; of a request the core says which role it needs.
func (s *Server) table() []route {
	var all []route
	for _, path := range pagePaths() {
		all = append(all, route{"GET " + path, controller.RoleView, "a page", s.shown})
	}
	return append(all,
		route{"GET /fleet", controller.RoleView, "all stations of the process, those that need somebody first", (&fleet{s}).show},
		route{"GET /state", controller.RoleView, "the whole view as JSON, as the program holds it", s.showState},
		route{"GET /live", controller.RoleView, "what changes on an open page, as server-sent events", s.follow},
		route{"GET /export/{kind}", controller.RoleView, "a part of the record as CSV", s.export},
		route{"POST /ask", controller.RoleView, "a request, which the core refuses to who may not ask for it", s.ask},
		route{"POST /people/end", controller.RoleView, "ends a session: one's own, or as an engineer anybody's", signIn{s}.end},
		route{"POST /people/token", controller.RoleEngineer, "makes a token for a program", s.api.makeToken},
		route{"POST /people/token/end", controller.RoleEngineer, "takes a program's token away", s.api.endToken},
		route{"POST /people/phone/end", controller.RoleView, "trusts a phone no longer: one's own, or as an engineer anybody's", s.trust.end},
		route{"POST /people/passkey", controller.RoleView, "adds a passkey of one's own", s.passkeys.add},
		route{"POST /people/passkey/end", controller.RoleView, "takes a passkey away: one's own, or as an engineer anybody's", s.passkeys.end},
		route{"POST /people/hand", controller.RoleEngineer, "lends a helper a role until a time", s.handover.give},
		route{"POST /people/hand/end", controller.RoleEngineer, "takes back what was lent before its time", s.handover.take},
		route{"POST /passkey/challenge", controller.RoleNobody, "what a device is to sign", s.passkeys.challenge},
		route{"POST /passkey", controller.RoleNobody, "signs in by a passkey; attempts are limited", s.passkeys.signIn},
		route{"GET /acknowledge/{pass}", controller.RoleNobody, "what the link of a notification is of", links{s}.show},
		route{"POST /acknowledge/{pass}", controller.RoleNobody, "acknowledges that alarm, once", links{s}.take},
		route{"GET /signin", controller.RoleNobody, "the sign-in", func(w http.ResponseWriter, r *http.Request) { signIn{s}.show(w, r, http.StatusOK, "", "") }},
		route{"POST /signin", controller.RoleNobody, "signs in; attempts are limited", signIn{s}.take},
		route{"POST /language", controller.RoleNobody, "keeps the language that a browser's user wants", choose},
		route{"GET /enter", controller.RoleNobody, "redeems a one-time link", signIn{s}.enter},
		route{"POST /signout", controller.RoleNobody, "signs out", signIn{s}.out},
	)
}

// routes serves the table, the shell, the paths of programs, and health.
func (s *Server) routes() http.Handler {
	mux := http.NewServeMux()
	for _, r := range s.table() {
		mux.HandleFunc(r.Pattern, r.do)
	}
	s.shellRoutes(mux)
	s.api.routes(mux)
	(&fleet{s}).routes(mux)
	return guarded(http.NewCrossOriginProtection().Handler(s.monitoring(mux, !s.options.Proxied)))
}
