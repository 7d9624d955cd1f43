package web

import (
	"context"
	"net/url"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"leat/controller"
	"leat/safety"
)

// fillPlan is what the core answered to a fill of a tank whose water was half dumped.
const fillPlan = "First 70 L of source water by fill, nothing else meanwhile; 1330 L of what is in the tank remain. Then, before anything is added: EC 1.72 mS/cm and 0.04 meq/L of alkalinity from the source water. Added in all: 5.55 mL acid · nitric acid 38 %; 661 mL calcium · calcium nitrate tetrahydrate; 441 mL phosphate · monopotassium phosphate. Acid goes first, until pH is in its band; then the stocks in portions, calcium before sulfate and phosphate in each. After it: pH 5.8, EC 1.80 mS/cm. It ends at 90 % of the EC setpoint, or after 12 h; the loop goes on from there. Every dose passes the gate: its caps stand, only what was usual lately does not count"

// filler is a house whose core offers a fill by a code, as the real one does.
func filler(t *testing.T) (*house, *[]controller.Request) {
	t.Helper()
	var asked []controller.Request
	h := newHouse(t, func(o *Options) {
		o.Ask = func(_ context.Context, r controller.Request) (controller.Answer, error) {
			asked = append(asked, r)
			if r.Confirm != "f1110001" {
				return controller.Answer{Kind: r.Kind, Text: fillPlan + ". Approve it within 10 minutes", Confirm: "f1110001"}, nil
			}
			return controller.Answer{Kind: r.Kind, Accepted: true, Text: "approved. " + fillPlan}, nil
		}
	})
	v := sampleView()
	v.Tanks[0].Mode, v.Tanks[0].Holds, v.Tanks[0].Alarms = safety.ModeArmed, nil, nil
	v.Judge()
	h.show(v)
	return h, &asked
}

func TestAFillIsShownAsAPlanAndApprovedByItsCodeAlone(t *testing.T) {
	h, asked := filler(t)
	b := h.browser(t)
	b.signIn("mara", password)
	_, page := b.get("/tank/north/change")
	want(t, page, `id="fill"`, "Show the plan", "nothing happens before you approve it")
	form := url.Values{"do": {"fill"}, "tank": {"north"}, "note": {"half was dumped"}}
	for _, confirm := range []string{"", "0ld00000"} {
		form.Set("confirm", confirm)
		_, page = b.post("/ask", form)
		want(t, page, "Please confirm", "First 70 L of source water", "5.55 mL acid", "Approve it within 10 minutes", `name="confirm" value="f1110001"`, `<button>Approve this fill</button>`, `name="note" value="half was dumped"`)
		if last := (*asked)[len(*asked)-1]; last.Kind != controller.RequestFill || last.Confirm != confirm {
			t.Errorf("the core was asked %+v", last)
		}
		if strings.Contains(page, "<h2>Accepted") {
			t.Errorf("code %q: a plan counts as approved", confirm)
		}
	}
	b.get("/tank/north/change") // and a look at a page approves nothing
	if len(*asked) != 2 {
		t.Errorf("the core was asked %d times, want twice", len(*asked))
	}
}

// As a person does it on a phone: the plan is all on the screen's width, its two ways out too.
func TestAFillIsApprovedOnAPhone(t *testing.T) {
	h, asked := filler(t)
	ctx := phone(t)
	do(t, ctx, chromedp.Navigate(h.SignInLink(controller.RoleEngineer)))
	do(t, ctx, chromedp.Navigate(h.Address()+"/tank/north/change"))
	typeIn(t, ctx, "#fill", "note", "half was dumped")
	if wide := ask[bool](t, ctx, `document.documentElement.scrollWidth > innerWidth`); wide {
		t.Error("the plan is wider than the phone")
	}
	if rows := ask[int](t, ctx, `document.querySelectorAll("#answer > p").length`); rows < 7 {
		t.Errorf("the plan is told in %d paragraphs", rows)
	}
	if len(*asked) != 1 || (*asked)[0].Confirm != "" {
		t.Fatalf("the core was asked %+v", *asked)
	}
	do(t, ctx, chromedp.Click("#answer form button:not([hidden])"))
	waitFor(t, ctx, "the approval", `document.querySelector("#answer h2")?.textContent === "Accepted"`)
	if last := (*asked)[len(*asked)-1]; len(*asked) != 2 || last.Confirm != "f1110001" || last.Note != "half was dumped" || last.By == "" {
		t.Errorf("the core was asked %+v", *asked)
	}
}
