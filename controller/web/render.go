package web

import (
	"bytes"
	"compress/gzip"
	"fmt"
	"html/template"
	"net/http"
	"strings"

	"leat/controller"
	"leat/dosing"
)

func parsePages(scale dosing.ECScale, us bool) (*template.Template, error) {
	return template.New("pages").Funcs(words(scale, us)).Funcs(pageWords()).ParseFS(files, "page/*.html")
}

// Page is every page of a view that a person of this role gets, one after the other, for
// whoever has no browser.
func Page(view *controller.View, who string, role controller.Role) ([]byte, error) {
	t, err := parsePages(dosing.ECScale{}, false)
	if err != nil {
		return nil, fmt.Errorf("page template: %w", err)
	}
	var all bytes.Buffer
	once := newOnce()
	write := func(name string, tank *controller.TankView, alarm *controller.AlarmView) {
		data := pageData{View: view, name: name, Tank: tank, Who: who, Role: role, once: once.id}
		if tank != nil {
			data.Ions = tank.Ions
		}
		if alarm != nil {
			data.showAlarm(alarm.Cause)
		}
		if err == nil {
			err = t.ExecuteTemplate(&all, name, &data)
		}
	}
	write("home", nil, nil)
	for i := range view.Tanks {
		tank := &view.Tanks[i]
		write("tank", tank, nil)
		for _, place := range tankPlaces {
			write(place, tank, nil)
		}
		for k := range tank.Alarms {
			write("alarm", tank, &tank.Alarms[k])
		}
	}
	write("stocks", nil, nil)
	write("refill", nil, nil)
	write("record", nil, nil)
	return all.Bytes(), err
}

// render writes a page whole or an error, never half a page.
func (s *Server) render(w http.ResponseWriter, r *http.Request, name string, status int, data any) {
	var page bytes.Buffer
	if err := s.pages.ExecuteTemplate(&page, name, data); err != nil {
		http.Error(w, "page: "+err.Error(), http.StatusInternalServerError)
		return
	}
	if l := languageOf(r); l != nil {
		names := properNames(nil)
		switch shown := data.(type) {
		case *pageData:
			names = properNames(shown.View)
		case *fleetData:
			names = shown.properNames()
		}
		page = *bytes.NewBuffer(l.page(page.Bytes(), names))
	}
	page = *bytes.NewBuffer(lower(page.Bytes(), s.options.Under))
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Vary", "Accept-Encoding, Accept-Language, Cookie")
	if !strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") {
		w.WriteHeader(status)
		_, _ = page.WriteTo(w) // a reader that went away is no fault of ours
		return
	}
	w.Header().Set("Content-Encoding", "gzip")
	w.WriteHeader(status)
	packed := gzip.NewWriter(w)
	_, _ = page.WriteTo(packed)
	_ = packed.Close()
}

// properNames are the names of a view, which no language translates.
func properNames(view *controller.View) map[string]bool {
	names := map[string]bool{}
	if view == nil {
		return names
	}
	for i := range view.Tanks {
		names[view.Tanks[i].Name] = true
	}
	for i := range view.Pumps {
		names[view.Pumps[i].Name] = true
		names[view.Pumps[i].Liquid] = true
	}
	for i := range view.Nodes {
		names[view.Nodes[i].Name] = true
	}
	return names
}
