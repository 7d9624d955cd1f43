package main

import (
	"bytes"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"leat/controller/app/apptest"
	"leat/controller/desk"
)

func examined(t *testing.T, args ...string) (code int, found map[string]desk.Finding) {
	t.Helper()
	var out, errs bytes.Buffer
	code = dispatch(append([]string{"doctor", "-json"}, args...), &out, &errs)
	var list []desk.Finding
	if err := json.Unmarshal(out.Bytes(), &list); err != nil {
		t.Fatalf("%v: %s %s", err, out.String(), errs.String())
	}
	found = map[string]desk.Finding{}
	for _, f := range list {
		found[f.What] = f
		if !f.OK && f.Do == "" {
			t.Errorf("%s is not in order, and nothing says what to do", f.What)
		}
	}
	return code, found
}

func TestDoctorSeesWhatTheDaemonSeesAndRingsThroughTheSameDoor(t *testing.T) {
	port := apptest.Port(t)
	path := apptest.Config(t, "mqtt://127.0.0.1:1", `listen = "127.0.0.1:0"`, `listen = "127.0.0.1:`+port+`"`)
	var came []struct{ Labels, Annotations map[string]string }
	door := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, _ := io.ReadAll(r.Body)
		if r.URL.Path != "/api/v2/alerts" || json.Unmarshal(body, &came) != nil {
			w.WriteHeader(http.StatusBadRequest)
		}
	}))
	defer door.Close()
	if code, found := examined(t, "-config", path); code != 1 || found["daemon"].OK || found["broker"].OK {
		t.Errorf("nothing runs: exit %d, %v", code, found)
	}
	daemon := leat(t, "run", "-config", path)
	page(t, daemon)
	apptest.Eventually(t, "the daemon is seen and its broker is not", func() bool {
		code, found := examined(t, "-config", path, "-notify", door.URL+"/")
		return code == 1 && found["daemon"].OK && !found["broker"].OK && found["ledger"].OK && found["disk"].OK && found["notification"].OK
	})
	if len(came) != 1 || came[0].Labels["severity"] != "p1" || came[0].Labels["station"] == "" || !strings.Contains(came[0].Annotations["summary"], "test") {
		t.Errorf("sent %v", came)
	}
	if _, found := examined(t, "-config", path, "-notify", "http://127.0.0.1:1"); found["notification"].OK {
		t.Error("a test that reached nobody is in order")
	}
	stopsCleanly(t, daemon)
}
