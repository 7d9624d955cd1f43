package desk

import (
	"context"
	"slices"
	"strings"

	"leat/controller/app"
	"leat/controller/config"
	"leat/controller/mqtt"
	"leat/safety"
)

// daemonsRights are the topics to which the daemon's user must be able to write, and those to
// which it must not. The supply is never tried: a node may take any word on it for an order
// to cut.
func daemonsRights(file *config.File) (must, mustNot []string) {
	users := brokerUsers(file)
	for _, r := range users[0].rights {
		if r.may != reader && r.topic != file.Topics.Supply() {
			must = append(must, concrete(r.topic))
		}
	}
	for _, u := range users[1:] {
		for _, r := range u.rights {
			if topic := concrete(r.topic); r.may != reader && !slices.Contains(must, topic) && topic != file.Topics.Supply() {
				mustNot = append(mustNot, topic)
			}
		}
	}
	prefix := strings.TrimSuffix(file.Topics.Lease(), file.Settings.Safety.Station+"/lease")
	return must, append(mustNot, prefix+"leat-doctor-tries/order/acid")
}

// concrete is a topic that a pattern of the rights matches.
func concrete(pattern string) string {
	return strings.ReplaceAll(pattern, "/"+anyCause, "/"+safety.CauseLeak.String())
}

// rights tries at the broker what the daemon must be able to do and what it must not, by
// messages of no bytes that every contract refuses.
func (p *patient) rights(ctx context.Context, path string) {
	const what = "rights"
	if p.series != nil {
		p.note(what, false, "stop the daemon, try again, start it: a broker that goes by user names would throw it out meanwhile", "not tried: the daemon runs")
		return
	}
	file, err := config.Load(path) // with the password
	if err != nil {
		p.note(what, false, "ask as a user who may read the password, with the variables of the service", "%v", err)
		return
	}
	b := file.Broker
	options := mqtt.Options{URL: b.URL, ClientID: b.ClientID, User: b.User, Password: b.Password}
	if options.TLS, err = app.BrokerTLS(b); err != nil {
		p.note(what, false, "correct [broker]", "%v", err)
		return
	}
	ctx, done := context.WithTimeout(ctx, patientFor)
	defer done()
	must, mustNot := daemonsRights(file)
	got, err := mqtt.TryRights(ctx, options, slices.Concat(must, mustNot))
	if err != nil {
		p.note(what, false, "correct [broker] user and password, or the broker's own file of passwords", "%v", err)
		return
	}
	var lacks, exceeds []string
	for i, topic := range must {
		if got[i] != mqtt.Granted {
			lacks = append(lacks, topic)
		}
	}
	for i, topic := range mustNot {
		if got[len(must)+i] != mqtt.Denied {
			exceeds = append(exceeds, topic)
		}
	}
	const do = "write the broker's rights by leat acl -config FILE, and let it read them again"
	p.note(what, len(lacks) == 0, do, "the daemon may write %d of the %d topics that it must%s", len(must)-len(lacks), len(must), some(lacks, "; not "))
	p.note("rights beyond", len(exceeds) == 0, do, "it is refused at %d of the %d topics of others%s", len(mustNot)-len(exceeds), len(mustNot), some(exceeds, "; not at "))
	p.strangers(ctx, options)
}

// strangers tries to connect without a name and with a wrong password.
func (p *patient) strangers(ctx context.Context, options mqtt.Options) {
	const do = "allow_anonymous false, and a password_file, in the broker's configuration"
	options.ClientID, options.User, options.Password = "leat-doctor", "", ""
	_, err := mqtt.TryRights(ctx, options, nil)
	p.note("strangers", err != nil, do, "%s", map[bool]string{true: "a client without a name is refused", false: "a client without a name is let in"}[err != nil])
}

// some names a few of a list.
func some(list []string, before string) string {
	const most = 5
	switch {
	case len(list) == 0:
		return ""
	case len(list) > most:
		return before + strings.Join(list[:most], ", ") + " and others"
	}
	return before + strings.Join(list, ", ")
}
