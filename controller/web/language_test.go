package web

import (
	"bytes"
	"html"
	"net/http"
	"net/url"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"leat/controller"
	"leat/safety"
)

// lacking are the texts of all pages, of all alarms and of all verdicts that a catalog lacks.
func lacking(t *testing.T, l *language) (texts []string) {
	t.Helper()
	heard := *l
	heard.holes = func(text string) {
		if !slices.Contains(texts, text) {
			texts = append(texts, text)
		}
	}
	h, _ := trusting(t)
	h.show(fourTanks())
	b := h.browser(t)
	_, page := b.get("/signin")
	heard.page([]byte(page), nil)
	heard.page([]byte(linkPages(h)), map[string]bool{"north": true})
	b.signIn("mara", password)
	all := properNames(h.view.Load())
	for _, name := range []string{"mara", "visitor", "calcium", "loft", "disk I/O error", "cellar", "north-row", "attic"} {
		all[name] = true
	}
	for _, path := range allPages {
		_, page := b.get(path)
		heard.page([]byte(page), all)
	}
	for _, s := range allStates {
		h.show(s.judged())
		for _, path := range s.paths {
			_, page := b.get(path)
			heard.page([]byte(page), all)
		}
	}
	for cause := safety.Cause(1); cause < safety.CauseCount; cause++ {
		row := safety.Of(cause)
		for _, text := range append(stepsOf(row.Advice), row.Text, row.Clears) {
			heard.run(text, nil)
		}
	}
	for _, text := range []string{"In band pH 15 %, EC 38 %; readings cover only 9 % of the time; 50.7 mL acid, 10.1 L stock in 127 doses; 2 holds: 1 flood, 1 starting.",
		"PH in band 97 %; nothing was dosed; nothing was withheld; 1 alarm: ph-stale.", "would dose acid: pH 5.99, wanted 5.80", "north needs you now: cannot lower pH; harm from about 20:29. The other tank is well."} {
		heard.run(text, nil)
	}
	for standing := range controller.StandingCount {
		heard.run(standing.String(), nil)
	}
	return texts
}

func TestEachTextOfThePagesAndAlarmsStandsInEveryCatalog(t *testing.T) {
	for name, l := range languages {
		texts := lacking(t, l)
		if path := os.Getenv("LEAT_TEXTS"); path != "" {
			if err := os.WriteFile(path, []byte(strings.Join(texts, "\n")), 0o600); err != nil {
				t.Fatal(err)
			}
		}
		if len(texts) > 0 {
			t.Errorf("%s lacks %d texts:\n%s", name, len(texts), strings.Join(texts, "\n"))
		}
	}
}

func TestAPageComesInTheLanguageOfTheBrowserOrTheOneThatWasChosen(t *testing.T) {
	h, _ := trusting(t)
	b := h.browser(t)
	ask := func(path, accepts string) string {
		request, err := http.NewRequest(http.MethodGet, b.base+path, nil)
		if err != nil {
			t.Fatal(err)
		}
		request.Header.Set("Accept-Language", accepts)
		_, page := b.read(b.Do(request))
		return page
	}
	b.signIn("mara", password)
	for accepts, lang := range map[string]string{"": "en", "de-CH,de;q=0.9,en;q=0.5": "de", "fr,en;q=0.9,de;q=0.8": "en", "fr, de": "de", "xx": "en"} {
		if page := ask("/", accepts); !strings.Contains(page, `lang="`+lang+`"`) {
			t.Errorf("%q is not answered in %s:\n%.200s", accepts, lang, page)
		}
	}
	want(t, ask("/tank/north", "de"), "Dosiert nichts: Die Umwälzung steht", "pH ", "5,93", "Ändern, Pause, Stopp", "nitric acid 38 %", `data-say-live="aktuell"`)
	b.post("/language", url.Values{"language": {"de"}, "to": {"/tank/north"}})
	want(t, ask("/stocks", "en"), "Vorräte", "acid-north")
	b.post("/language", url.Values{"language": {"../xx"}, "to": {"//elsewhere"}})
	want(t, ask("/stocks", "de"), "Stocks")
}

// What a form sends is not translated: what the core reads has one language.
func TestAFormOfATranslatedPageSendsWhatTheEnglishOneDoes(t *testing.T) {
	h, _ := trusting(t)
	b := h.browser(t)
	b.signIn("mara", password)
	h.show(fourTanks())
	sent := regexp.MustCompile(`(?:value|name|action|href|id)="[^"]*"`)
	forms := regexp.MustCompile(`<option>`)
	for _, path := range allPages {
		_, page := b.get(path)
		told := string(languages["de"].page([]byte(page), nil))
		if a, b := strings.Join(sent.FindAllString(page, -1), " "), strings.Join(sent.FindAllString(told, -1), " "); a != b {
			t.Errorf("%s sends other things in German", path)
		}
		if forms.MatchString(page) {
			t.Errorf("%s has an option without a value: its text would be sent", path)
		}
	}
}

func TestWhatPeopleWroteIsNotTranslated(t *testing.T) {
	de := languages["de"]
	for _, raw := range []string{"bench 7 and the lettuce", "<3"} {
		if said := de.run(html.EscapeString(raw), nil); said != html.EscapeString(raw) {
			t.Errorf("%q became %q", raw, said)
		}
	}
	if said := de.run("well", map[string]bool{"well": true}); said != "well" {
		t.Errorf("a tank called well became %q", said)
	}
	if said := string(de.page([]byte(`<p>on its way</p><textarea>on its way</textarea><code>on its way</code>`), nil)); said != `<p>auf dem Weg</p><textarea>on its way</textarea><code>on its way</code>` {
		t.Errorf("%s", said)
	}
}

func FuzzAPageOfAnyTextIsSaidWithoutHarm(f *testing.F) {
	f.Add(`<p aria-label="well">pH is too high (6.6, setpoint 5.80); acid is added.</p>`)
	f.Add("<")
	f.Add("a: b: c; d. e: f")
	f.Fuzz(func(t *testing.T, text string) {
		said := languages["de"].page([]byte("<p>"+html.EscapeString(text)+"</p>"), nil)
		if bytes.Count(said, []byte("<")) != 2 || bytes.Count(said, []byte(">")) != 2 {
			t.Errorf("%q became %q", text, said)
		}
	})
}

func BenchmarkAPageInAnotherLanguage(b *testing.B) {
	page, err := Page(fourTanks(), "mara", controller.RoleEngineer)
	if err != nil {
		b.Fatal(err)
	}
	b.SetBytes(int64(len(page)))
	for b.Loop() {
		languages["de"].page(page, nil)
	}
}
