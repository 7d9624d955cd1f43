package app

import (
	"errors"
	"path/filepath"

	"leat/controller"
	"leat/controller/config"
	"leat/controller/payload"
	"leat/controller/store"
	"leat/controller/web"
	"leat/safety"
)

// webOptions joins the page to the daemon.
func (a *App) webOptions() web.Options {
	w := a.file.Web
	if w.Off {
		w = config.Web{}
	}
	o := web.Options{Listen: w.Listen, Certificate: w.Certificate, Key: w.Key, Proxied: w.BehindProxy, Monitoring: a.file.Metrics.Listen, Socket: filepath.Join(a.file.State, SocketName),
		ECScale: w.ECScale, US: w.US, View: a.display.View, Ask: a.Ask, ReadAnalysis: readAnalysis, Night: nights{a.db}.of, Record: nights{a.db}.told, Export: nights{a.db}.export, People: nights{a.db}.people, Tokens: tokens{store.TokensOf(a.db)},
		Phones: phones{store.PhonesOf(a.db)}, Passkeys: passkeys{store.PasskeysOf(a.db)}, Hand: handing(a.db), Passes: passesOf(a), Ring: a.desk.Try,
		Find: a.findPerson, Audit: a.audit, Metrics: a.metrics.Handler(), Ready: a.ready,
		Alive: func() error { return a.driver.pulse.within(aliveWithin) }, Loop: a.driver.pulse.age, Stations: func() []web.Station { return onlyStation(a) }}
	if a.site != nil { // whose door and people these are
		front := a.site.webOptions()
		o.Listen, o.Certificate, o.Key, o.Monitoring, o.Metrics = "", "", "", "", nil
		o.People, o.Tokens, o.Phones, o.Passkeys, o.Hand, o.Find, o.Stations = front.People, front.Tokens, front.Phones, front.Passkeys, front.Hand, front.Find, front.Stations
		o.Under, o.Front = a.under(), a.site.front
	}
	return o
}

// onlyStation lists this station where the process has no other.
func onlyStation(a *App) []web.Station {
	return []web.Station{{Name: a.file.Settings.Safety.Station, View: a.display.View(), Server: a.web}}
}

// readAnalysis reads the list that the page's form or the local socket holds.
func readAnalysis(list string, into *controller.Request) (err error) {
	into.Analysis, err = payload.ReadAnalysis(list)
	return err
}

// SocketName is the local socket for leat mode, in the state folder.
const SocketName = "leat.sock"

func (a *App) findPerson(name string) (web.Person, bool, error) { return findIn(a.db)(name) }

// findIn finds a person of the page.
func findIn(db *store.DB) func(name string) (web.Person, bool, error) {
	return func(name string) (web.Person, bool, error) {
		p, err := db.People().Find(name)
		if errors.Is(err, store.ErrNobody) {
			return web.Person{}, false, nil
		}
		return personOf(p), err == nil, err
	}
}

// audit notes what the chain does not keep: sign-ins and refused wishes.
func (a *App) audit(who, from, what, detail string) {
	if err := a.db.Audit(a.now().Wall, who, from, what, detail); err != nil {
		a.log.Sugar().Errorf("audit: %v", err)
	}
}

// ready says why the daemon cannot do its work now.
func (a *App) ready() error {
	if err := a.driver.pulse.within(readyWithin); err != nil {
		return err
	}
	view := a.display.View()
	switch {
	case view == nil:
		return errors.New("no decision yet")
	case !view.LinkUp:
		return errors.New("the broker is not connected")
	case view.Ledger != safety.LedgerReady:
		return errors.New("the ledger is " + view.Ledger.String())
	}
	return nil
}
