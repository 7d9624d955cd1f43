package config

import (
	"net"
	"net/mail"
	"net/url"
	"slices"
	"strconv"
	"strings"
)

// shortestSecret of a webhook, characters: a shorter one can be found by trying, and then
// anybody on the way writes alarms.
const shortestSecret = 16

// mostReaders bounds to whom one alarm is mailed.
const mostReaders = 20

// notify reads who is told of an alarm by the daemon itself.
func (b *rim) notify() {
	in, out := &b.layout.Notify, &b.file.Notify
	if !in.Stated {
		return
	}
	if in.Page != "" {
		out.Page = strings.TrimRight(in.Page, "/")
		b.reached("notify.page", in.Page, "a link that acknowledges an alarm would travel unencrypted")
		if b.layout.Page.Off {
			b.fault("notify.page", quoted(in.Page), "leads to a page that is off", "leave it out, or leave page.off out")
		}
	}
	b.webhook()
	b.mail()
	if out.Webhook.URL == "" && out.Mail.Server == "" && !in.Webhook.Stated && !in.Mail.Stated {
		b.fault("notify", "", "tells nobody", "add [notify.webhook] or [notify.mail], or leave [notify] out")
	} else if in.Page == "" {
		b.warn("notify", "what is told has no link to acknowledge it: state page, where the phone finds the page")
	}
}

// reached checks an address that is reached over the network: HTTPS, or on this machine.
func (b *rim) reached(path, text, why string) {
	u, err := url.Parse(text)
	switch {
	case err != nil || u.Host == "" || u.Hostname() == "" || u.Scheme != "https" && u.Scheme != "http":
		b.fault(path, quoted(text), "is not a URL", "write https://host/path")
	case u.User != nil:
		b.fault(path, "", "holds a name or password", "leave it out: this file gets copied")
	case u.Fragment != "" || path == "notify.page" && u.RawQuery != "":
		b.fault(path, quoted(text), "has more than an address", "leave out what follows ? or #")
	case u.Scheme == "http" && !loopback(u.Hostname()):
		b.fault(path, quoted(text), "is not encrypted: "+why, "write https://")
	}
}

func (b *rim) webhook() {
	in := &b.layout.Notify.Webhook
	if !in.Stated {
		return
	}
	out := &b.file.Notify.Webhook
	out.URL, out.CA = in.URL, b.path(in.CAFile)
	b.reached("notify.webhook.url", in.URL, "what stands in an alarm would travel readable")
	if in.SecretFile == "" && in.SecretEnv == "" && in.Credential == "" {
		b.fault("notify.webhook.secret_file", "", "is missing: a message that nobody signed may come from anybody", "state secret_file, secret_env or secret_credential")
		return
	}
	out.Secret = b.secret("notify.webhook", "secret", in.SecretFile, in.SecretEnv, in.Credential)
	if out.Secret != "" && len(out.Secret) < shortestSecret {
		b.fault("notify.webhook.secret_file", "", "holds too short a secret", "at least "+strconv.Itoa(shortestSecret)+" characters: openssl rand -hex 32")
	}
}

func (b *rim) mail() {
	in := &b.layout.Notify.Mail
	if !in.Stated {
		return
	}
	out := &b.file.Notify.Mail
	*out = Mail{Server: in.Server, User: in.User, From: in.From, To: in.To, CA: b.path(in.CAFile)}
	if host, port, err := net.SplitHostPort(in.Server); err != nil || host == "" || !goodPort(port) {
		b.fault("notify.mail.server", quoted(in.Server), "does not name host and port", `write "mail.farm.invalid:465"`)
	}
	out.Password = b.secret("notify.mail", "password", in.PasswordFile, in.PasswordEnv, in.Credential)
	if out.Password != "" && in.User == "" {
		b.fault("notify.mail.user", "", "is missing", "a password without a user is never asked for")
	}
	if in.User != "" && in.PasswordFile == "" && in.PasswordEnv == "" && in.Credential == "" {
		b.fault("notify.mail.password_file", "", "is missing for the user", "state password_file, password_env or password_credential, or leave user out")
	}
	b.mailbox("notify.mail.from", in.From)
	if len(in.To) == 0 || len(in.To) > mostReaders {
		b.fault("notify.mail.to", "", "names "+strconv.Itoa(len(in.To))+" addresses", "1 to "+strconv.Itoa(mostReaders))
	}
	for i, to := range in.To {
		b.mailbox(join("notify.mail.to", strconv.Itoa(i)), to)
		if slices.Contains(in.To[:i], to) {
			b.fault(join("notify.mail.to", strconv.Itoa(i)), quoted(to), "stands twice", "name each once")
		}
	}
}

func goodPort(text string) bool {
	n, err := strconv.ParseUint(text, 10, 16)
	return err == nil && n > 0
}

// mailbox checks a bare address: a name beside it would have to be quoted in each header.
func (b *rim) mailbox(path, text string) {
	if a, err := mail.ParseAddress(text); err != nil || a.Address != text {
		b.fault(path, quoted(text), "is no address of mail", `write "grower@farm.invalid"`)
	}
}
