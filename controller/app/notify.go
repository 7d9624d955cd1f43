package app

import (
	"context"
	"crypto/x509"
	"errors"
	"fmt"
	"os"

	"leat/controller"
	"leat/controller/notify"
	"leat/controller/web"
)

// newDesk makes the desk that tells people of alarms; nil where the file names nobody.
func newDesk(g *gear) (*notify.Desk, error) {
	n := g.file.Notify
	options := notify.Options{Station: g.file.Settings.Safety.Station, Page: pageOf(n.Page, g.under()), Folder: g.file.State, Log: g.log, Count: g.metrics.Notified}
	if n.Webhook.URL != "" {
		roots, err := rootsOf("notify.webhook ca_file", n.Webhook.CA)
		if err != nil {
			return nil, err
		}
		options.Webhook = &notify.Webhook{URL: n.Webhook.URL, Secret: n.Webhook.Secret, Roots: roots}
	}
	if n.Mail.Server != "" {
		roots, err := rootsOf("notify.mail ca_file", n.Mail.CA)
		if err != nil {
			return nil, err
		}
		options.Mail = &notify.Mail{Server: n.Mail.Server, User: n.Mail.User, Password: n.Mail.Password, From: n.Mail.From, To: n.Mail.To, Roots: roots}
	}
	desk := notify.New(options)
	g.metrics.Notify(desk.Ways(), notify.Outcomes)
	return desk, nil
}

// pageOf is where the phone finds a station's page; empty = links lead nowhere.
func pageOf(page, under string) string {
	if page == "" {
		return ""
	}
	return page + under
}

// rootsOf reads the certificates that vouch for a server; nil = the system's.
func rootsOf(what, file string) (*x509.CertPool, error) {
	if file == "" {
		return nil, nil
	}
	text, err := os.ReadFile(file)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", what, err)
	}
	roots := x509.NewCertPool()
	if !roots.AppendCertsFromPEM(text) {
		return nil, fmt.Errorf("%s %s holds no certificate in PEM", what, file)
	}
	return roots, nil
}

// passes joins the links of what was told to the page.
type passes struct{ app *App }

// passesOf is nil where nobody is told, so that there are no links either.
func passesOf(a *App) web.Passes {
	if a.desk == nil {
		return nil
	}
	return passes{a}
}

// Look is what a link is of.
func (p passes) Look(pass string) (shown web.Pass, ok bool) {
	c, ok := p.app.desk.Look(pass)
	return web.Pass{Words: c.Words, Why: c.Why}, ok
}

// Take acknowledges what a link is of, and nothing else.
func (p passes) Take(ctx context.Context, pass string) (web.Pass, error) {
	c, err := p.app.desk.Take(pass, func(c notify.Claim) error {
		answer, err := p.app.Ask(ctx, controller.Request{Kind: controller.RequestAcknowledge, Tank: c.Tank, Cause: c.Cause, By: "link", From: "notification", Role: controller.RoleOperate})
		if err == nil && !answer.Accepted {
			err = errors.New(answer.Text)
		}
		return err
	})
	return web.Pass{Words: c.Words, Why: c.Why}, err
}
