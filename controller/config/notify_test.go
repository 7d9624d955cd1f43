package config

import (
	"slices"
	"strings"
	"testing"
)

const told = `[notify]
page = "https://leat.farm.invalid/"

[notify.webhook]
url = "https://ring.invalid/hook?token=1"
secret_file = "broker.password"

[notify.mail]
server = "mail.farm.invalid:465"
user = "leat"
password_env = "LEAT_BROKER"
from = "leat@farm.invalid"
to = ["grower@farm.invalid", "second@farm.invalid"]

[storage]`

func TestWhoIsToldIsReadWithItsSecrets(t *testing.T) {
	text := changed(t, good(t, "plain.toml"), "[storage]", told)
	f, err := Parse("farm.toml", []byte(text), vault(0o600, "a secret long enough\n"))
	if err != nil {
		t.Fatal(err)
	}
	n := f.Notify
	if n.Page != "https://leat.farm.invalid" || n.Webhook.Secret != "a secret long enough" || n.Mail.Password != "from the air" || !slices.Equal(n.Mail.To, []string{"grower@farm.invalid", "second@farm.invalid"}) {
		t.Errorf("read %+v", n)
	}
	g, err := Parse("farm.toml", []byte(strings.Replace(text, "second@", "third@", 1)), vault(0o600, "a secret long enough\n"))
	if err != nil {
		t.Fatal(err)
	}
	if _, refusals := Compare(f, g); len(refusals) != 1 || !strings.Contains(refusals[0], "who is told of an alarm") {
		t.Errorf("a reload that changes who is told: %q", refusals)
	}
}

func TestWhoIsToldIsRefusedWhereItWouldLeakOrTellNobody(t *testing.T) {
	whole := changed(t, good(t, "plain.toml"), "[storage]", told)
	for name, c := range map[string]struct{ old, new, key, says string }{
		"a link in the clear":       {`"https://leat.farm.invalid/"`, `"http://leat.farm.invalid"`, "notify.page", "is not encrypted"},
		"a page with a query":       {`"https://leat.farm.invalid/"`, `"https://leat.farm.invalid/?a=1"`, "notify.page", "more than an address"},
		"a page without a host":     {`"https://leat.farm.invalid/"`, `"leat.farm.invalid"`, "notify.page", "is not a URL"},
		"an alarm in the clear":     {"https://ring", "http://ring", "notify.webhook.url", "is not encrypted"},
		"a password in the URL":     {"https://ring", "https://me:it@ring", "notify.webhook.url", "holds a name or password"},
		"nobody signs":              {`secret_file = "broker.password"`, "", "notify.webhook.secret_file", "nobody signed"},
		"a server without port":     {"mail.farm.invalid:465", "mail.farm.invalid", "notify.mail.server", "host and port"},
		"a port that is none":       {"mail.farm.invalid:465", "mail.farm.invalid:70000", "notify.mail.server", "host and port"},
		"a sender with a name":      {`"leat@farm.invalid"`, `"leat <leat@farm.invalid>"`, "notify.mail.from", "no address of mail"},
		"a reader with a line more": {`"second@farm.invalid"`, `"second@farm.invalid>,<x@y.invalid"`, "notify.mail.to[2]", "no address of mail"},
		"a reader twice":            {"second@", "grower@", "notify.mail.to[2]", "stands twice"},
		"nobody to read":            {`["grower@farm.invalid", "second@farm.invalid"]`, "[]", "notify.mail.to", "names 0"},
		"a user without a password": {`password_env = "LEAT_BROKER"`, "", "notify.mail.password_file", "is missing for the user"},
		"a password without a user": {`user = "leat"`, "", "notify.mail.user", "never asked for"},
		"two secrets":               {`secret_file = "broker.password"`, "secret_file = \"broker.password\"\nsecret_env = \"LEAT_BROKER\"", "notify.webhook.secret_file", "only one of secret_file, secret_env, secret_credential"},
	} {
		_, err := Parse("farm.toml", []byte(changed(t, whole, c.old, c.new)), vault(0o600, "a secret long enough"))
		if err == nil || !strings.Contains(err.Error(), c.key) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v; want %s: %s", name, err, c.key, c.says)
		}
		if err != nil && (strings.Contains(err.Error(), "me:it") || strings.Contains(err.Error(), "a secret long")) {
			t.Errorf("%s: the error repeats the secret: %v", name, err)
		}
	}
	if _, err := Parse("farm.toml", []byte(whole), vault(0o600, "short")); err == nil || !strings.Contains(err.Error(), "too short a secret") {
		t.Errorf("a short secret: %v", err)
	}
	nobody := changed(t, good(t, "plain.toml"), "[storage]", "[notify]\n[storage]")
	if _, err := Parse("farm.toml", []byte(nobody), vault(0o600, "")); err == nil || !strings.Contains(err.Error(), "tells nobody") {
		t.Errorf("nobody: %v", err)
	}
	f, err := Parse("farm.toml", []byte(changed(t, whole, "page = \"https://leat.farm.invalid/\"\n", "")), vault(0o600, "a secret long enough"))
	if err != nil || !slices.ContainsFunc(f.Warnings, func(w string) bool { return strings.Contains(w, "no link to acknowledge") }) {
		t.Errorf("without a page: %v, want a warning", err)
	}
}
