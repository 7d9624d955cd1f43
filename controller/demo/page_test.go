package demo

import (
	"context"
	"fmt"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"leat/controller"
	"leat/controller/web/webtest"
	"leat/dosing"
)

// enter signs an engineer in and shows a page.
func (s *stand) enter(t *testing.T, path string) context.Context {
	t.Helper()
	ctx := webtest.Phone(t)
	webtest.Do(t, ctx, chromedp.Navigate(s.app.SignInLink(controller.RoleEngineer)))
	s.show(t, ctx, path)
	return ctx
}

func (s *stand) show(t *testing.T, ctx context.Context, path string) {
	t.Helper()
	webtest.Do(t, ctx, chromedp.Navigate(s.app.Address()+path))
}

// passed lets time of the farm pass.
func (s *stand) passed(t *testing.T, d time.Duration) {
	t.Helper()
	if err := s.pass(d); err != nil {
		t.Fatal(err)
	}
}

// entry is what a person does on the page: one form, filled in and sent.
type entry struct {
	path, form string
	fields     map[string]string
	answer     string        // what it must hold; empty = it is accepted
	pass       time.Duration // what the farm does afterwards
}

// english are words that no German answer holds.
var english = regexp.MustCompile(`\b(the|is|are|and|of|until|with|by|from|nothing|accepted|resumed)\b`)

// words are a form's fields.
type words = map[string]string

// walk is every form of the page, each with words that would draw a dose if they were believed more
// than the reading: base that was said to be poured into north, which stands below its setpoint,
// and acid into the nursery, which stands above.
var walk = []entry{
	{path: "/tank/north/change", form: "#setpoint-ph", fields: words{"value": "5,92", "note": "north up"}},
	{path: "/tank/nursery/change", form: "#setpoint-ph", fields: words{"value": "5.7", "until": "20 h"}, pass: 20 * time.Minute},
	{path: "/tank/north/change", form: "#setpoint-ph", fields: words{"value": "58"}, answer: "meinten Sie 5,8?"},
	{path: "/tank/north/enter", form: "#hand-dose", fields: words{"pump": "base-north", "ml": "60"}},
	{path: "/tank/nursery/enter", form: "#hand-dose", fields: words{"pump": "acid-nursery", "ml": "46"}, pass: 8 * time.Minute},
	{path: "/tank/north/enter", form: "ul.hands form"},
	{path: "/tank/nursery/enter", form: "ul.hands form", pass: 2 * time.Minute},
	{path: "/refill", form: "#refill--acid-north", fields: words{"litres": "25", "batch": "7"}, answer: "mehr, als der Behälter"},
	{path: "/refill", form: "#refill--base-nursery", fields: words{"litres": "0,1"}},
	{path: "/tank/north/change", form: "#serviced", fields: words{"note": "probe brushed"}},
	{path: "/tank/nursery/change", form: "#serviced", fields: words{"note": "pump head"}, pass: 2 * time.Minute},
	{path: "/pump/acid-north", form: "#maintenance--north"},
	{path: "/pump/acid-north", form: "#pump-rate", fields: words{"seconds1": "60", "ml1": "43"}},
	{path: "/pump/acid-north", form: "#resume--north"},
	{path: "/pump/base-nursery", form: "#new-tube", fields: words{"note": "split"}, pass: time.Minute},
	{path: "/tank/north/solution", form: "#analysis", fields: words{"ion-K": "20", "ion-pH": "7.4", "ion-EC": "0.5"}, answer: "anderes Wasser"},
	{path: "/tank/nursery/solution", form: "#analysis", fields: words{"analysis": "NO3-N 20 mg/L\nK 300\npH 4.1"}, pass: 3 * time.Minute},
	{path: "/tank/north/probes", form: "#calibrate--entered-ph", fields: words{"found": "7.00=6.60, 4.01=3.62", "celsius": "21"}, answer: "kalibrieren Sie den Messumformer"},
	{path: "/tank/nursery/probes", form: "#calibrate--entered-ph", fields: words{"found": "7.00=7.02, 4.01=4.03", "celsius": "21"}},
	{path: "/tank/north/probes", form: "#calibrate--begin-ph", pass: 2 * time.Minute},
	{path: "/tank/north/probes", form: "#calibrate--read", fields: words{"standard": "label", "label": "6,1", "celsius": "21"}},
	{path: "/tank/north/probes", form: "#calibrate--accept"},
	{path: "/tank/north/probes", form: "#resume"},
	{path: "/tank/nursery/probes", form: "#calibrate--begin-ec"},
	{path: "/tank/nursery/probes", form: "#calibrate--cancel"},
	{path: "/tank/nursery/probes", form: "#resume", pass: 2 * time.Minute},
	{path: "/tank/north/change", form: "#pause", fields: words{"until": "2 h"}},
	{path: "/tank/north/change", form: "#resume", pass: time.Minute},
	{path: "/tank/north/change", form: "#maintenance"},
	{path: "/tank/north/change", form: "#resume"},
	{path: "/tank/north/change", form: "#observe"},
	{path: "/tank/north/change", form: "#arm", pass: time.Minute},
	{path: "/tank/nursery/change", form: "#stop", fields: words{"note": "a smell"}},
	{path: "/tank/nursery/change", form: "#clear", fields: words{"note": "looked at the manifold"}},
	{path: "/tank/nursery/first", form: "#arm", pass: time.Minute},
	{path: "/tank/north/change", form: "#setpoint-ec", fields: words{"value": "1.9", "note": "a little more"}},
	{path: "/tank/north/change", form: "#undo-ec", pass: 2 * time.Minute},
	{path: "/tank/north/enter", form: "#mark", fields: words{"note": "midnight"}},
	{path: "/tank/north/change", form: "#titrate", pass: 10 * time.Minute},
	{path: "/tank/north/change", form: "#pause", fields: words{"until": "1 h"}},
	{path: "/tank/north/change", form: "#resume"},
	{path: "/tank/north/probes", form: "#meter", fields: words{"ph": "6,9", "ec": "0.6"}},
	{path: "/tank/nursery/probes", form: "#meter", fields: words{"ph": "4.9", "ec": "3.1"}, pass: 2 * time.Minute},
	{path: "/tank/nursery/probes", form: "#resume"},
	{path: "/tank/north/change", form: "#cleaning"},
	{path: "/tank/north/change", form: "#confirm-water", fields: words{"note": "rinsed", "water": "source"}, answer: "kein frisches Ausgangswasser"},
	{path: "/tank/north/change", form: "#confirm-water", fields: words{"note": "rinsed", "water": "same"}, pass: 5 * time.Minute},
}

// No entry by hand makes a pump dose against the reading. Every form of the page is sent as a person
// sends it, each on another screen, by day or by night, with script and without, in German, and every
// order that goes out meanwhile is held against the reading.
func TestNoEntryOnThePageMakesAPumpDoseAgainstTheReading(t *testing.T) {
	s := farm(t)
	ctx := s.enter(t, "/")
	webtest.Ask[bool](t, ctx, "window.before = true")
	webtest.Do(t, ctx, chromedp.Click(`form.language button[value="de"]`))
	webtest.WaitFor(t, ctx, "German", `window.before === undefined && document.documentElement?.lang === "de"`)
	seen, sent := map[string]bool{}, map[string]bool{}
	began := s.orders
	for i := range walk {
		e, screen := &walk[i], webtest.Screens[i%len(webtest.Screens)]
		where := fmt.Sprintf("%d: %s %s at %d × %d", i, e.path, e.form, screen.Wide, screen.High)
		webtest.Do(t, ctx, chromedp.EmulateViewport(screen.Wide, screen.High, chromedp.EmulateMobile, chromedp.EmulateTouch))
		webtest.Scheme(t, ctx, []string{"light", "dark"}[i/2%2])
		webtest.Scripts(t, ctx, i%3 > 0)
		s.show(t, ctx, e.path)
		for _, do := range webtest.Ask[[]string](t, ctx, `[...document.querySelectorAll('form[action="/ask"] input[name=do]')].map(e => e.value)`) {
			seen[do] = true
		}
		sent[webtest.Ask[string](t, ctx, fmt.Sprintf(`(f => f ? f.elements.do.value : "")(document.querySelector(%q))`, e.form))] = true
		webtest.Type(t, ctx, e.form, e.fields)
		webtest.Press(t, ctx, e.form)
		if webtest.Ask[bool](t, ctx, `document.querySelector("#answer form") !== null`) {
			webtest.Press(t, ctx, "#answer form")
		}
		answer := said(t, ctx)
		if want := e.answer; !strings.Contains(answer, want) || want == "" && !strings.HasPrefix(answer, "Angenommen") {
			t.Errorf("%s was answered %q, want %q", where, answer, want)
		}
		if word := english.FindString(answer); word != "" {
			t.Errorf("%s was answered in English, %q: %s", where, word, answer)
		}
		s.passed(t, e.pass)
	}
	for _, wrong := range s.wrongs {
		t.Error(wrong)
	}
	sent[controller.RequestFill.String()] = true // no entry, but a plan of doses that a person approves: not walked here
	for do := range seen {
		if !sent[do] {
			t.Errorf("the form %s of the page was never sent", do)
		}
	}
	for kind := controller.RequestNone + 1; kind < controller.RequestCount; kind++ {
		switch kind {
		case controller.RequestRaiseEpoch, controller.RequestEndHoliday, controller.RequestAcknowledge, controller.RequestShelve: // none of the page's, none without a schedule or an alarm
		default:
			if !sent[kind.String()] {
				t.Errorf("no form of the page asks for %s", kind)
			}
		}
	}
	t.Logf("%d orders in the %d entries: %v", s.orders-began, len(walk), s.given)
}

// What judges the orders finds those that are wrong.
func TestADoseAgainstTheReadingIsFound(t *testing.T) {
	tank := controller.TankView{PH: controller.SetpointView{Working: 5.8}, EC: controller.SetpointView{Working: 1.8},
		Inputs: []controller.InputView{{Quantity: dosing.QuantityPH, Present: true, Value: 5.76, Quality: dosing.QualityGood}, {Quantity: dosing.QuantityEC, Present: true, Value: 1.89, Quality: dosing.QualityGood}}}
	blind, above := tank, tank
	blind.Inputs = []controller.InputView{{Quantity: dosing.QuantityPH, Present: true, Value: 6.5, Quality: dosing.QualityFailure}}
	above.Inputs = []controller.InputView{{Quantity: dosing.QuantityPH, Present: true, Value: 5.84, Quality: dosing.QualityGood}}
	for _, c := range []struct {
		role  dosing.Role
		tank  *controller.TankView
		wrong bool
	}{{dosing.RoleAcid, &tank, true}, {dosing.RoleBase, &tank, false}, {dosing.RoleStock, &tank, true}, {dosing.RoleAcid, &above, false}, {dosing.RoleBase, &above, true}, {dosing.RoleAcid, &blind, true}} {
		if why := against(c.role, c.tank); (why != "") != c.wrong {
			t.Errorf("%s is judged %q", c.role, why)
		}
	}
}
