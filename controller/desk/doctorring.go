package desk

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"strings"
	"time"

	"leat/controller/app"
)

// notify sends a test through the Alertmanager, on the way that an alarm of now takes.
func (p *patient) notify(ctx context.Context, address string) {
	now := time.Now()
	body, err := json.Marshal([]any{map[string]any{
		"labels": map[string]string{"alertname": "LeatTest", "severity": "p1", "job": "leat", "station": p.file.Settings.Safety.Station, "cause": "test"},
		"annotations": map[string]string{"summary": "This is a test of " + p.file.Settings.Safety.Station + ": had it been a leak, you would read it here.",
			"advice": "Nothing to do. If this did not ring aloud, mend that before tonight."},
		"startsAt": now.Format(time.RFC3339), "endsAt": now.Add(time.Minute).Format(time.RFC3339)}})
	if err == nil {
		ctx, cancel := context.WithTimeout(ctx, patientFor)
		defer cancel()
		var request *http.Request
		if request, err = http.NewRequestWithContext(ctx, http.MethodPost, strings.TrimSuffix(address, "/")+"/api/v2/alerts", bytes.NewReader(body)); err == nil {
			request.Header.Set("Content-Type", "application/json")
			err = sent(request)
		}
	}
	const do = "-notify wants the address of your Alertmanager, such as http://127.0.0.1:9093"
	if err != nil {
		p.note("notification", false, do, "%v", err)
		return
	}
	p.note("notification", true, "", "handed over; the phone should ring within ten seconds")
}

// sent carries out a request, and takes anything but success for an error.
func sent(request *http.Request) error {
	answer, err := http.DefaultClient.Do(request)
	if err != nil {
		return err
	}
	defer func() { _ = answer.Body.Close() }()
	if answer.StatusCode/100 != 2 {
		return fmt.Errorf("%s answers %s", request.URL.Host, answer.Status)
	}
	return nil
}

// ring lets the daemon send a test on each of its own ways.
func (p *patient) ring() {
	rung, err := app.Ring(p.file.State)
	switch {
	case err != nil:
		p.note("notification", false, "start the daemon, and ask as the user it runs as or as root", "%v", err)
	case len(rung) == 0:
		p.note("notification", false, "state [notify] in the file, or try the Alertmanager with -notify", "the daemon tells nobody by itself")
	}
	for _, r := range rung {
		p.note("notification by "+r.Way, r.Problem == "", "correct [notify."+r.Way+"]; behind the service's address filter add IPAddressAllow=",
			"%s", map[bool]string{true: "taken; the phone should ring now", false: r.Problem}[r.Problem == ""])
	}
}
