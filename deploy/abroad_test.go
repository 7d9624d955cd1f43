package deploy_test

import (
	"crypto/tls"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"leat/controller/app/apptest"
)

// started runs a server until the test ends.
func started(t *testing.T, name string, args ...string) {
	t.Helper()
	command, said := exec.Command(name, args...), &strings.Builder{}
	command.Stderr = said
	if err := command.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = command.Process.Kill()
		_ = command.Wait()
		if t.Failed() {
			t.Log(said.String())
		}
	})
}

// The outside judge is nginx 1.22, Debian.
func TestProxyPassesThePageByTLSAndNoMetrics(t *testing.T) {
	nginx := program(t, "nginx", "nginx-light")
	var forwarded http.Header
	page := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		forwarded = r.Header.Clone()
		_, _ = io.WriteString(w, "the page "+r.Host+r.URL.Path)
	}))
	defer page.Close()
	dir, port := t.TempDir(), apptest.Port(t)
	certificate, key := apptest.NewAuthority(t).Issue(t, "127.0.0.1")
	site := strings.NewReplacer("/etc/ssl/leat/page.pem", certificate, "/etc/ssl/leat/page.key", key, "listen 443 ssl", "listen 127.0.0.1:"+port+" ssl",
		"http://127.0.0.1:8470", page.URL).Replace(read(t, "abroad/nginx.conf"))
	main := "daemon off; pid " + dir + "/pid; error_log stderr; events {}\nhttp { access_log off; client_body_temp_path " + dir + "/a; proxy_temp_path " + dir +
		"/b; fastcgi_temp_path " + dir + "/c; uwsgi_temp_path " + dir + "/d; scgi_temp_path " + dir + "/e;\n" + site + "}\n"
	if os.Getuid() == 0 {
		main = "user root; " + main
	}
	conf := filepath.Join(dir, "nginx.conf")
	if err := os.WriteFile(conf, []byte(main), 0o600); err != nil {
		t.Fatal(err)
	}
	started(t, nginx, "-c", conf, "-g", "master_process off;")
	client := http.Client{Timeout: 5 * time.Second, Transport: &http.Transport{TLSClientConfig: &tls.Config{InsecureSkipVerify: true}}}
	get := func(path string) (code int, body string) {
		request, err := http.NewRequest(http.MethodGet, "https://127.0.0.1:"+port+path, nil)
		if err != nil {
			t.Fatal(err)
		}
		request.Host = "leat.farm.invalid"
		answer, err := client.Do(request)
		if err != nil {
			return 0, err.Error()
		}
		defer func() { _ = answer.Body.Close() }()
		text, _ := io.ReadAll(answer.Body)
		return answer.StatusCode, string(text)
	}
	apptest.Eventually(t, "the proxy passes the page on", func() bool {
		code, body := get("/tank/north")
		return code == http.StatusOK && body == "the page leat.farm.invalid/tank/north"
	})
	if forwarded.Get("X-Forwarded-Proto") != "https" || forwarded.Get("X-Forwarded-For") == "" {
		t.Errorf("the page is not told who asks: %v", forwarded)
	}
	if code, _ := get("/metrics"); code != http.StatusNotFound {
		t.Errorf("/metrics answers %d", code)
	}
	codes := map[int]int{}
	for range 20 {
		code, _ := get("/signin")
		codes[code]++
	}
	if codes[http.StatusServiceUnavailable] == 0 || codes[http.StatusOK] == 0 {
		t.Errorf("sign-in is not slowed: %v", codes)
	}
}

// The outside judge is Debian's mosquitto 2.0, twice.
func TestBridgeTellsAbroadWhatAPhoneSeesAndLetsNoOrderOut(t *testing.T) {
	mosquitto := program(t, "mosquitto", "mosquitto")
	dir, farm, abroad := t.TempDir(), apptest.Port(t), apptest.Port(t)
	bridge := strings.NewReplacer("address broker.abroad.invalid:8883", "address 127.0.0.1:"+abroad, "bridge_cafile /etc/ssl/certs/ca-certificates.crt\n", "",
		"restart_timeout 5 60", "restart_timeout 1").Replace(read(t, "abroad/bridge.conf"))
	for name, text := range map[string]string{
		"farm":   "listener " + farm + " 127.0.0.1\nallow_anonymous true\n" + bridge,
		"abroad": "listener " + abroad + " 127.0.0.1\nallow_anonymous true\n"} {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if os.Getuid() == 0 {
			if err := os.WriteFile(path, []byte("user root\n"+text), 0o600); err != nil {
				t.Fatal(err)
			}
		}
		started(t, mosquitto, "-c", path)
	}
	here, err := join(t, "tcp://127.0.0.1:"+farm, "here", "")
	if err != nil {
		t.Fatal(err)
	}
	there, err := join(t, "tcp://127.0.0.1:"+abroad, "there", "")
	if err != nil {
		t.Fatal(err)
	}
	// Until the bridge is up each side hears its own word again and again; a full channel must not hold up
	// the client that is to say the next.
	came, asked := make(chan string, 10_000), make(chan string, 10_000)
	for client, to := range map[mqtt.Client]chan string{there: came, here: asked} {
		if token := client.Subscribe("leat/#", 1, func(_ mqtt.Client, m mqtt.Message) {
			select {
			case to <- m.Topic():
			default:
			}
		}); token.Wait() && token.Error() != nil {
			t.Fatal(token.Error())
		}
	}
	for _, topic := range []string{"leat/row/order/acid", "leat/row/lease", "leat/row/stop", "leat/row/report/acid"} {
		here.Publish(topic, 1, false, "x").Wait()
		there.Publish(topic, 1, false, "x").Wait()
	}
	seen := map[chan string][]string{}
	passed := func(say mqtt.Client, topic string, heard chan string) {
		t.Helper()
		apptest.Eventually(t, topic+" passes", func() bool {
			say.Publish(topic, 1, false, "x").Wait()
			for {
				select {
				case got := <-heard:
					if got == topic {
						return true
					}
					seen[heard] = append(seen[heard], got)
				case <-time.After(50 * time.Millisecond):
					return false
				}
			}
		})
	}
	passed(here, "leat/row/north/alarm/leak", came)
	passed(there, "leat/row/north/setpoint/ph/ask", asked)
	// With the bridge up: an order of either side stays on its side.
	here.Publish("leat/row/order/base", 1, false, "x").Wait()
	there.Publish("leat/row/order/iron", 1, false, "x").Wait()
	passed(here, "leat/row/north/fit", came)
	passed(there, "leat/row/north/setpoint/ec/ask", asked)
	if slices.Contains(seen[came], "leat/row/order/base") || slices.Contains(seen[asked], "leat/row/order/iron") {
		t.Errorf("an order crossed the bridge: abroad heard %v, the farm %v", seen[came], seen[asked])
	}
	if !slices.Contains(seen[came], "leat/row/order/iron") || !slices.Contains(seen[asked], "leat/row/order/base") {
		t.Errorf("the test does not hear orders at all: %v, %v", seen[came], seen[asked])
	}
}
