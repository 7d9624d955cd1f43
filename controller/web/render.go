package web

import (
	"bytes"
	"fmt"
	"html/template"

	"leat/controller"
	"leat/dosing"
)

func parsePage(scale dosing.ECScale) (*template.Template, error) {
	return template.New("tank.html").Funcs(words(scale)).ParseFS(files, "page/tank.html")
}

// Page is the page of one view as a person of this role gets it, for whoever has no
// browser.
func Page(view *controller.View, who string, role controller.Role) ([]byte, error) {
	t, err := parsePage(dosing.ECScale{})
	if err != nil {
		return nil, fmt.Errorf("page template: %w", err)
	}
	var page bytes.Buffer
	err = t.Execute(&page, newPage(view, who, role, newOnce().id))
	return page.Bytes(), err
}
