package main

import (
	"bytes"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
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

func TestDoctorLetsTheDaemonRingByItsOwnWays(t *testing.T) {
	came := make(chan string, 10)
	door := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		body, _ := io.ReadAll(r.Body)
		came <- r.Header.Get("Leat-Signature") + string(body)
	}))
	defer door.Close()
	key := filepath.Join(t.TempDir(), "secret")
	if err := os.WriteFile(key, []byte("a secret of this very test"), 0o600); err != nil {
		t.Fatal(err)
	}
	port := apptest.Port(t)
	path := apptest.Config(t, "mqtt://127.0.0.1:1", `listen = "127.0.0.1:0"`, `listen = "127.0.0.1:`+port+`"`,
		"[broker]", "[notify.webhook]\nurl = \""+door.URL+"\"\nsecret_file = \""+key+"\"\n[notify.mail]\nserver = \"127.0.0.1:1\"\nfrom = \"leat@farm.invalid\"\nto = [\"grower@farm.invalid\"]\n\n[broker]")
	if _, found := examined(t, "-config", path, "-ring"); found["notification"].OK || !strings.Contains(found["notification"].Says, "no daemon runs") {
		t.Errorf("no daemon: %v", found["notification"])
	}
	daemon := leat(t, "run", "-config", path)
	page(t, daemon)
	code, found := examined(t, "-config", path, "-ring")
	if code != 1 || !found["notification by webhook"].OK || found["notification by mail"].OK || !strings.Contains(found["notification by mail"].Do, "[notify.mail]") {
		t.Errorf("exit %d: %v", code, found)
	}
	if said := <-came; !strings.HasPrefix(said, "sha256=") || !strings.Contains(said, `"event":"test"`) {
		t.Errorf("came %s", said)
	}
	stopsCleanly(t, daemon)
}
