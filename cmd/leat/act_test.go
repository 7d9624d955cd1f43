package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"leat/controller"
	"leat/controller/app"
	"leat/controller/web"
	"leat/dosing"
	"leat/safety"
)

// socket is that of a daemon of which nothing but the desk is there.
type socket struct {
	dir     string
	asked   []controller.Request
	audited []string
}

func newDesk(t *testing.T) *socket {
	t.Helper()
	d := &socket{dir: t.TempDir()}
	view := &controller.View{At: dosing.Instant{Wall: time.Date(2031, 3, 4, 19, 0, 0, 0, time.UTC)}, Tanks: []controller.TankView{{Name: "pond"}, {Name: "film"}},
		Pumps: []controller.PumpView{{Name: "acid"}, {Name: "grow"}}}
	server, err := web.New(web.Options{Socket: filepath.Join(d.dir, app.SocketName), View: func() *controller.View { return view },
		Ask: func(_ context.Context, r controller.Request) (controller.Answer, error) {
			d.asked = append(d.asked, r)
			switch {
			case r.Kind == controller.RequestSetpoint && r.Value > 7:
				return controller.Answer{Text: "ph 58 is outside 5 to 7"}, nil
			case r.Kind == controller.RequestSetpoint && r.Value > 6 && r.Confirm == "":
				return controller.Answer{Text: "a large step", Confirm: "cafe"}, nil
			case r.Kind == controller.RequestFill && r.Confirm != "f111":
				return controller.Answer{Text: "First 70 L of source water. Approve it within 10 minutes", Confirm: "f111"}, nil
			}
			return controller.Answer{Accepted: true, Text: "accepted"}, nil
		},
		ReadAnalysis: func(list string, into *controller.Request) error {
			if into.Note = list; list == "K: 275" {
				return errors.New("K: 275 has no unit")
			}
			return nil
		},
		Audit: func(who, from, what, detail string) { d.audited = append(d.audited, what) }})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- server.Serve(ctx) }()
	t.Cleanup(func() {
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
	return d
}

func (d *socket) run(words ...string) (code int, out, errs string) {
	var stdout, stderr bytes.Buffer
	code = dispatch(append(words, "-state", d.dir), &stdout, &stderr)
	return code, stdout.String(), stderr.String()
}

func TestEachActReachesTheDaemonAsThePageWouldSayIt(t *testing.T) {
	d := newDesk(t)
	for _, c := range []struct {
		words string
		want  func(r *controller.Request) bool
	}{
		{"act setpoint -tank pond -ph 5.9 -until 06:00 -note seedlings", func(r *controller.Request) bool {
			return r.Kind == controller.RequestSetpoint && r.Quantity == dosing.QuantityPH && r.Value == 5.9 && r.Until == "06:00" && r.Note == "seedlings"
		}},
		{"act setpoint -tank film -ec 1,6", func(r *controller.Request) bool {
			return r.Tank == 1 && r.Quantity == dosing.QuantityEC && r.Value == 1.6
		}},
		{"act cleaning -tank pond", func(r *controller.Request) bool { return r.Kind == controller.RequestCleaning }},
		{"act maintenance -tank pond", func(r *controller.Request) bool { return r.Kind == controller.RequestMaintenance }},
		{"act serviced -tank pond", func(r *controller.Request) bool { return r.Kind == controller.RequestServiced }},
		{"act hand-dose -tank pond -pump grow -ml 12.5", func(r *controller.Request) bool {
			return r.Kind == controller.RequestHandDose && r.Pump == 1 && r.Volume == dosing.FromMillilitres(12.5)
		}},
		{"act void -tank pond -entry H7-1", func(r *controller.Request) bool { return r.Kind == controller.RequestVoid && r.Entry == "H7-1" }},
		{"act refill -pump acid -litres 9.5 -batch B7 -note 38%", func(r *controller.Request) bool {
			return r.Kind == controller.RequestRefill && r.Pump == 0 && r.Volume == dosing.FromMillilitres(9500) && r.Batch == "B7" && r.Note == "38%"
		}},
		{"act analysis -tank pond -analysis K=275 -sampled 2031-03-03T09:00", func(r *controller.Request) bool {
			return r.Kind == controller.RequestAnalysis && r.Note == "K=275" && r.Sampled.Day() == 3
		}},
		{"act acknowledge -tank pond -cause leak", func(r *controller.Request) bool {
			return r.Kind == controller.RequestAcknowledge && r.Cause == safety.CauseLeak
		}},
		{"act shelve -tank pond -cause leak -for 2h", func(r *controller.Request) bool { return r.Kind == controller.RequestShelve && r.For == 2*time.Hour }},
		{"act shelve -tank pond -cause leak -until 21:00", func(r *controller.Request) bool { return r.Kind == controller.RequestShelve && r.For == 2*time.Hour }},
		{"act mark -tank pond -note lamps", func(r *controller.Request) bool { return r.Kind == controller.RequestMark && r.Note == "lamps" }},
		{"mode pause -tank pond -until 06:00", func(r *controller.Request) bool { return r.Kind == controller.RequestPause && r.Until == "06:00" }},
	} {
		code, out, errs := d.run(strings.Fields(c.words)...)
		if code != 0 || !strings.Contains(out, "accepted") {
			t.Errorf("leat %s: exit %d, %s%s", c.words, code, out, errs)
			continue
		}
		r := &d.asked[len(d.asked)-1]
		if !c.want(r) || !strings.HasPrefix(r.From, "socket") || r.By == "" {
			t.Errorf("leat %s: the daemon is asked %+v", c.words, r)
		}
	}
}

func TestALargeStepIsAskedAboutAndMeantWithYes(t *testing.T) {
	d := newDesk(t)
	if code, out, errs := d.run("act", "setpoint", "-tank", "pond", "-ph", "6.4"); code != 1 || out != "" || !strings.Contains(errs, "a large step; with -yes it is entered so") {
		t.Errorf("exit %d, %s%s", code, out, errs)
	}
	if code, out, errs := d.run("act", "setpoint", "-tank", "pond", "-ph", "6.4", "-yes"); code != 0 || d.asked[len(d.asked)-1].Confirm != "cafe" {
		t.Errorf("with -yes: exit %d, %s%s", code, out, errs)
	}
	// No yes makes a value right that is out of bounds.
	if code, _, errs := d.run("act", "setpoint", "-tank", "pond", "-ph", "58", "-yes"); code != 1 || !strings.Contains(errs, "outside 5 to 7") || !slices.Contains(d.audited, "setpoint refused") {
		t.Errorf("58: exit %d, %s; audited %v", code, errs, d.audited)
	}
}

// Nobody approves what was not shown: -yes alone answers with the plan, and its code approves it.
func TestAFillIsApprovedByTheCodeOfThePlanThatWasShown(t *testing.T) {
	d := newDesk(t)
	for _, words := range [][]string{nil, {"-yes"}, {"-confirm", "0ld0"}, {"-yes", "-confirm", "0ld0"}} {
		asked := len(d.asked)
		code, out, errs := d.run(append([]string{"act", "fill", "-tank", "pond"}, words...)...)
		if code != 1 || out != "" || !strings.Contains(errs, "First 70 L of source water. Approve it within 10 minutes: -confirm f111") || len(d.asked) != asked+1 {
			t.Errorf("%q: asked %d times, exit %d, %s%s", words, len(d.asked)-asked, code, out, errs)
		}
	}
	if code, out, errs := d.run("act", "fill", "-tank", "pond", "-confirm", "f111"); code != 0 || d.asked[len(d.asked)-1].Confirm != "f111" {
		t.Errorf("with the code: exit %d, %s%s", code, out, errs)
	}
	if code, _, errs := d.run("act", "setpoint", "-tank", "pond", "-ph", "6.4", "-confirm", "cafe"); code == 0 || !strings.Contains(errs, "-confirm does not go with setpoint") {
		t.Errorf("-confirm of a setpoint: exit %d, %s", code, errs)
	}
}

func TestAnActThatCannotBeMeantIsNotSent(t *testing.T) {
	d := newDesk(t)
	for words, want := range map[string]string{
		"act": "want one of", "act arm -tank pond": "want one of", "act cleaning": "-tank NAME", "act setpoint -tank pond": "-ph or -ec",
		"act setpoint -tank pond -ph 6 -ec 2": "-ph or -ec", "act refill -pump acid": "wants -litres", "act mark -tank pond": "wants -note",
		"act shelve -tank pond -cause leak": "-for or -until", "act shelve -tank pond -cause leak -for 2h -until 21:00": "-for or -until",
		"act cleaning -tank pond -ml 3": "-ml does not go with cleaning", "mode arm -tank pond -until 06:00": "-until goes with pause",
	} {
		if code, out, errs := d.run(strings.Fields(words)...); code != 2 || out != "" || !strings.Contains(errs, want) {
			t.Errorf("leat %s: exit %d, %s%s", words, code, out, errs)
		}
	}
	if len(d.asked) > 0 {
		t.Errorf("the daemon was asked %+v", d.asked)
	}
	for words, want := range map[string]string{
		"act cleaning -tank attic": "there are: pond, film", "act refill -pump cellar -litres 2": "acid, grow", "act acknowledge -tank pond -cause boredom": "no such cause",
		"act analysis -tank pond -analysis K:275": "accepted",
	} {
		if code, out, errs := d.run(strings.Fields(words)...); !strings.Contains(out+errs, want) || code == 2 {
			t.Errorf("leat %s: exit %d, %s%s", words, code, out, errs)
		}
	}
}

func TestTheHelpTellsEveryActWithWhatItTakes(t *testing.T) {
	var help bytes.Buffer
	dispatch([]string{"act", "-h"}, &help, &help)
	for kind, takes := range actTakes {
		for _, word := range append(strings.Fields(takes), kind.String()) {
			if !strings.Contains(help.String(), word) {
				t.Errorf("the help does not tell of %s", word)
			}
		}
	}
	if offered := fmt.Sprint(completed(t, "act", "-cause", "circ")); offered != "[circulation-off]" {
		t.Errorf("offered %s", offered)
	}
}
