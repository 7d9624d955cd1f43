package main

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"leat/controller"
)

// withoutForm are requests that a command sends and no form of the page does.
var withoutForm = map[controller.RequestKind]string{
	controller.RequestRaiseEpoch: "whoever raises the epoch must have seen the machine whose ledger is behind: it is taken on that machine alone",
}

// saidAs are fields of a form under the flag that says the same to a command; empty = the
// page's own.
var saidAs = map[string]string{
	"did":     "note",     // steps that were ticked are joined to the note
	"value":   "ph",       // or ec: a form names its quantity beside it
	"label":   "standard", // label:7.02
	"seconds": "runs",     // one list for a cylinder's runs
	"ion-":    "analysis", // one list, each figure with its unit
	"unit":    "analysis",
	"back":    "", // the page that the form stands on
}

// oneForm is a form of the page: what it asks for, and the fields that a person fills in or
// the form states.
type oneForm struct {
	where, kind string
	fields      []string
}

var (
	formCall   = regexp.MustCompile(`\b(?:ask|part|partOf) \$ (?:\.Name )?("?)([\w-]*)`)
	fieldNamed = regexp.MustCompile(`\bname="([a-zA-Z-]+)`)
)

// formsOfThePage are all forms that lead to /ask, of every page there is.
func formsOfThePage(t *testing.T) (all []oneForm) {
	t.Helper()
	pages, err := filepath.Glob("../../controller/web/page/*.html")
	if err != nil || len(pages) < 15 {
		t.Fatalf("%d pages, %v", len(pages), err)
	}
	for _, page := range pages {
		text, err := os.ReadFile(page)
		if err != nil {
			t.Fatal(err)
		}
		for _, at := range formCall.FindAllSubmatchIndex(text, -1) {
			if at[2] == at[3] {
				t.Fatalf("%s: %.60q names what it asks for by a variable, which this test cannot follow", page, text[at[0]:])
			}
			form := oneForm{where: filepath.Base(page), kind: string(text[at[4]:at[5]])}
			body, _, ended := strings.Cut(string(text[at[0]:]), "</form>")
			if !ended {
				t.Fatalf("%s: the form of %s has no end", page, form.kind)
			}
			for _, m := range fieldNamed.FindAllStringSubmatch(body, -1) {
				if strings.HasPrefix(m[1], "ion-") {
					m[1] = "ion-"
				}
				form.fields = append(form.fields, m[1])
			}
			all = append(all, form)
		}
	}
	return all
}

func TestWhateverThePageAsksForACommandAsksForAndTheOtherWayRound(t *testing.T) {
	asked := map[controller.RequestKind]bool{}
	for _, form := range formsOfThePage(t) {
		kind, known := controller.ParseRequestKind(form.kind)
		if !known {
			t.Errorf("%s: a form asks for %q, which the daemon does not know", form.where, form.kind)
		}
		asked[kind] = true
	}
	for kind := controller.RequestNone + 1; kind < controller.RequestCount; kind++ {
		_, acts := actTakes[kind]
		mode := slices.Contains(modes, kind)
		switch reason, excepted := withoutForm[kind]; {
		case acts == mode:
			t.Errorf("/ask takes %s; want one command for it: leat act %t, leat mode %t", kind, acts, mode)
		case asked[kind] == excepted:
			t.Errorf("%s is asked for by a form of the page: %t; and it is said that none does, since %q", kind, asked[kind], reason)
		}
	}
}

func TestEveryRequestLeavesItsCommandAsItself(t *testing.T) {
	// As a person would type what each flag wants.
	typed := map[string]string{"note": "seen", "pump": "grow", "ml": "12.5", "entry": "H7-1", "litres": "9.5", "analysis": "K=275", "cause": "leak", "for": "2h",
		"probe": "ph", "step": "begin", "runs": "60=98.5", "ph": "5.9", "confirm": "f111"}
	more := map[controller.RequestKind]string{controller.RequestSetpoint: "ph", controller.RequestMeter: "ph", controller.RequestShelve: "for", controller.RequestFill: "confirm"}
	d := newDesk(t)
	for kind := controller.RequestNone + 1; kind < controller.RequestCount; kind++ {
		words := []string{"act", kind.String(), "-tank", "pond"}
		needs := actNeeds[kind]
		if slices.Contains(modes, kind) {
			words[0], needs = "mode", "note"
		}
		for _, name := range strings.Fields(needs + " " + more[kind]) {
			if typed[name] == "" {
				t.Fatalf("%s needs -%s, for which this test has no value", kind, name)
			}
			words = append(words, "-"+name, typed[name])
		}
		before := len(d.asked)
		code, out, errs := d.run(words...)
		if code != 0 || len(d.asked) != before+1 || d.asked[before].Kind != kind {
			t.Errorf("leat %s: exit %d, %s%s; the daemon is asked %+v", strings.Join(words, " "), code, out, errs, d.asked[before:])
		}
	}
}

func TestAFormOfThePageHasNoFieldThatItsCommandLacks(t *testing.T) {
	sent := map[controller.RequestKind][]string{}
	for _, form := range formsOfThePage(t) {
		kind, _ := controller.ParseRequestKind(form.kind)
		takes := append(strings.Fields(actTakes[kind]), "note")
		if slices.Contains(modes, kind) {
			takes = modeTakes(kind)
		}
		for _, field := range form.fields {
			flag, other := saidAs[field]
			if !other {
				flag = field
			}
			if field == "ml" && kind == controller.RequestPumpRate {
				flag = "runs"
			}
			sent[kind] = append(sent[kind], flag)
			if flag != "" && !slices.Contains(takes, flag) {
				t.Errorf("%s: the form of %s has a field %q; its command takes %v", form.where, kind, field, takes)
			}
		}
	}
	// What a command takes can be typed into a form, of those that have one.
	told := map[string]bool{"ec": true, // a setpoint's form names its quantity
		"for":     true, // a form asks until when
		"confirm": true} // the answer's own form sends it, which no template names a kind of
	for kind, takes := range actTakes {
		if kind == controller.RequestAcknowledge || kind == controller.RequestShelve {
			sent[kind] = append(sent[kind], "cause") // the alarm that the form stands beside
		}
		for _, flag := range strings.Fields(takes) {
			if !slices.Contains(sent[kind], flag) && !told[flag] {
				t.Errorf("leat act %s takes -%s; no form of the page has it: %v", kind, flag, sent[kind])
			}
		}
	}
}

// modeTakes are the flags of leat mode that go with a kind.
func modeTakes(kind controller.RequestKind) []string {
	switch kind {
	case controller.RequestPause:
		return []string{"note", "until"}
	case controller.RequestConfirmWater:
		return []string{"note", "water", "replaced", "analysis"}
	}
	return []string{"note"}
}
