package deploy_test

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"leat/controller/desk"
)

// doctor asks leat doctor for the daemon's rights at a broker.
func doctor(t *testing.T, url string) map[string]desk.Finding {
	t.Helper()
	client, err := join(t, url, "phone", "phone") // waits until the broker listens
	if err != nil {
		t.Fatal(err)
	}
	client.Disconnect(0)
	dir := t.TempDir()
	text := strings.NewReplacer(`url = "mqtt://127.0.0.1:1883"`, `url = "`+strings.Replace(url, "tcp:", "mqtt:", 1)+`"`, "# user = \"leat\"\n# password_file = \"/etc/leat/broker.password\"", "user = \"leat\"\npassword_file = \"password\"", `listen = "127.0.0.1:8470"`, `listen = "127.0.0.1:1"`).Replace(read(t, "leat.toml"))
	for name, body := range map[string]string{"leat.toml": text, "password": "leat\n"} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(body), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	var out bytes.Buffer
	d := desk.Doctor{Path: filepath.Join(dir, "leat.toml"), Rights: true, JSON: true}
	_ = d.Do(t.Context(), &out) // no daemon runs: that is not in order
	var list []desk.Finding
	if err := json.Unmarshal(out.Bytes(), &list); err != nil {
		t.Fatalf("%v: %s", err, out.String())
	}
	found := map[string]desk.Finding{}
	for _, f := range list {
		found[f.What] = f
	}
	return found
}

// The outside judge is Debian's mosquitto 2.0.
func TestDoctorTriesWhatTheDaemonMustAndMustNotBeAbleToDo(t *testing.T) {
	conf, rights := read(t, "mosquitto/leat.conf"), read(t, "mosquitto/leat.acl")
	whole := doctor(t, brokerWith(t, conf, rights))
	for _, what := range []string{"rights", "rights beyond", "strangers"} {
		if !whole[what].OK {
			t.Errorf("the sample's broker: %s: %v", what, whole[what])
		}
	}
	const order = "topic write leat/row/order/acid-nursery\n"
	if !strings.Contains(rights, order) {
		t.Fatalf("no %q in the sample", order)
	}
	less := doctor(t, brokerWith(t, conf, strings.Replace(rights, order, "", 1)))
	if f := less["rights"]; f.OK || !strings.Contains(f.Says, "not leat/row/order/acid-nursery") || !less["rights beyond"].OK {
		t.Errorf("a broker that refuses orders to one pump: %v", less)
	}
	more := doctor(t, brokerWith(t, conf, rights+"\nuser leat\ntopic readwrite leat/row/report/#\n"))
	if f := more["rights beyond"]; f.OK || !strings.Contains(f.Says, "leat/row/report/") || !more["rights"].OK {
		t.Errorf("a broker that lets the daemon write reports: %v", more)
	}
	open := doctor(t, brokerWith(t, strings.NewReplacer("allow_anonymous false", "allow_anonymous true", "\nacl_file", "\n# acl_file", "127.0.0.1\nuse_username_as_clientid true", "127.0.0.1").Replace(conf), rights))
	if open["strangers"].OK || open["rights beyond"].OK || !open["rights"].OK {
		t.Errorf("a broker that is open to all: %v", open)
	}
}
