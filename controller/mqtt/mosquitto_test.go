package mqtt_test

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"fmt"
	"math/big"
	"net"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"leat/controller/app/apptest"
	"leat/controller/mqtt"
)

// These tests run against Debian's mosquitto, the broker of most farms; sockets and
// the real clock are unavoidable here. Each step waits for its condition and fails
// after a minute.

// tool finds a program of a Debian package, which LEAT_REAL=1 makes mandatory.
func tool(t testing.TB, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		if path, err = exec.LookPath("/usr/sbin/" + name); err == nil {
			return path
		}
		if os.Getenv("LEAT_REAL") == "1" {
			t.Fatalf("%s is not installed (Debian: apt install mosquitto mosquitto-clients)", name)
		}
		t.Skipf("%s is not installed; this test needs it (Debian: apt install mosquitto mosquitto-clients)", name)
	}
	return path
}

// mosquitto is the broker as a process.
type mosquitto struct {
	t       testing.TB
	path    string
	config  string
	address string
	process *exec.Cmd
}

func newMosquitto(t testing.TB, settings ...string) *mosquitto {
	t.Helper()
	port := apptest.Port(t)
	m := &mosquitto{t: t, path: tool(t, "mosquitto"), address: net.JoinHostPort("127.0.0.1", port)}
	me, err := user.Current()
	if err != nil {
		t.Fatal(err)
	}
	m.config = filepath.Join(t.TempDir(), "mosquitto.conf")
	lines := append([]string{"listener " + port + " 127.0.0.1", "user " + me.Username, "persistence false"}, settings...)
	if err := os.WriteFile(m.config, []byte(strings.Join(lines, "\n")+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	m.start()
	t.Cleanup(m.kill)
	return m
}

func (m *mosquitto) start() {
	m.t.Helper()
	m.process = exec.Command(m.path, "-c", m.config)
	dieWithParent(m.process)
	if err := m.process.Start(); err != nil {
		m.t.Fatal(err)
	}
	eventually(m.t, "mosquitto listens", func() bool {
		conn, err := net.Dial("tcp", m.address)
		if err == nil {
			conn.Close()
		}
		return err == nil
	})
}

// kill ends it as a power cut does.
func (m *mosquitto) kill() {
	if m.process != nil {
		m.process.Process.Kill()
		m.process.Wait()
		m.process = nil
	}
}

func eventually(t testing.TB, what string, holds func() bool) {
	t.Helper()
	for end := time.Now().Add(time.Minute); !holds(); time.Sleep(5 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("never happened: %s", what)
		}
	}
}

func (m *mosquitto) options(client string) mqtt.Options {
	return mqtt.Options{URL: "tcp://" + m.address, ClientID: client, LongestPause: time.Second}
}

// start runs a Link until the test ends.
func start(t *testing.T, options mqtt.Options) *running {
	link := run(t, options)
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
		defer cancel()
		link.Close(ctx)
	})
	return link
}

func opened(t *testing.T, link *running) {
	t.Helper()
	eventually(t, "link is open", func() bool { return link.Open() })
}

func TestMosquittoCarriesReadingsReportsAndTheWill(t *testing.T) {
	m := newMosquitto(t, "allow_anonymous true")
	sensor := start(t, m.options("sensor"))
	opened(t, sensor)
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	must(sensor.Publish("leat/r/reading/ph", 1, true, []byte("5.5")))
	eventually(t, "mosquitto has the retained value", sensor.Idle)

	options := m.options("daemon")
	options.Latest = []string{"leat/r/reading/ph"}
	options.Queued = []string{"leat/r/report/+"}
	options.Birth = mqtt.Message{Topic: "leat/daemon/x/online", Body: []byte("1")}
	options.Will = mqtt.Message{Topic: "leat/daemon/x/online", Body: []byte("0")}
	daemon := run(t, options)
	opened(t, daemon)
	var got []taken
	receive := func(n int) {
		t.Helper()
		got = nil
		eventually(t, "the values arrive", func() bool { got = append(got, daemon.takeAll()...); return len(got) >= n })
	}
	if receive(1); !reflect.DeepEqual(got, []taken{{0, "5.5", true, 0}}) {
		t.Errorf("stored copy: got %v", got)
	}
	must(sensor.Publish("leat/r/reading/ph", 1, true, []byte("6.0")))
	if receive(1); !reflect.DeepEqual(got, []taken{{0, "6.0", false, 0}}) {
		t.Errorf("live value: got %v", got)
	}
	for i := range 100 {
		must(sensor.Publish("leat/r/report/acid", 1, false, fmt.Append(nil, i)))
	}
	var reports []string
	eventually(t, "100 reports arrive", func() bool { reports = append(reports, daemon.nextAll()...); return len(reports) >= 100 })
	for i, report := range reports {
		if report != fmt.Sprintf("leat/r/report/acid %d", i) {
			t.Fatalf("report %d is %q", i, report)
		}
	}
	must(sensor.Publish("leat/r/report/acid", 1, false, make([]byte, 10<<20)))
	must(sensor.Publish("leat/r/report/base", 1, false, []byte("after")))
	eventually(t, "the one after 10 MB arrives", func() bool { return slices.Equal(daemon.nextAll(), []string{"leat/r/report/base after"}) })
	if s := daemon.Stats(); s.Oversize != 1 || s.Opened != 1 {
		t.Errorf("got %+v", s)
	}

	watch := m.options("watch")
	watch.Queued = []string{"leat/daemon/+/online"}
	watcher := start(t, watch)
	opened(t, watcher)
	var said []string
	says := func(want string) {
		t.Helper()
		eventually(t, "broker says "+want, func() bool {
			said = append(said, watcher.nextAll()...)
			return len(said) > 0 && said[len(said)-1] == want
		})
	}
	says("leat/daemon/x/online 1 retained")
	daemon.close()
	says("leat/daemon/x/online 0")
}

func TestMosquittoRestartsInTheMiddleOfTraffic(t *testing.T) {
	m := newMosquitto(t, "allow_anonymous true")
	options := m.options("daemon")
	options.Latest = []string{"leat/r/reading/ph"}
	daemon := start(t, options)
	watch := m.options("node")
	watch.Queued = []string{"leat/r/order/acid"}
	node := start(t, watch)
	opened(t, daemon)
	opened(t, node)

	// Orders go out all the time; each is counted as sent, withdrawn or doubtful.
	sent, withdrawn, doubtful := map[string]bool{}, map[string]bool{}, 0
	arrived := map[string]int{}
	number := 0
	traffic := func(until func() bool) {
		t.Helper()
		eventually(t, "traffic goes on", func() bool {
			number++
			body := fmt.Sprint(number)
			switch err := daemon.Publish("leat/r/order/acid", 1, false, []byte(body)); {
			case err == nil:
				sent[body] = true
			case errors.Is(err, mqtt.ErrClosed):
				withdrawn[body] = true
			default:
				doubtful++
			}
			for n, ok := node.Next(); ok; n, ok = node.Next() {
				arrived[string(n.Body)]++
			}
			return until()
		})
	}
	for range 3 {
		before := len(arrived)
		traffic(func() bool { return len(arrived) > before+20 })
		m.kill()
		gone := len(withdrawn)
		traffic(func() bool { return !daemon.Open() && len(withdrawn) > gone+20 })
		m.start()
		traffic(func() bool { return daemon.Open() && node.Open() })
	}
	before := len(arrived)
	traffic(func() bool { return len(arrived) > before+20 })
	for body, times := range arrived {
		if withdrawn[body] || times != 1 {
			t.Errorf("order %s: withdrawn %t, arrived %d times", body, withdrawn[body], times)
		}
	}
	if s := daemon.Stats(); s.Opened != 4 {
		t.Errorf("opened %d times, want 4", s.Opened)
	}
	t.Logf("%d orders: %d sent, %d arrived, %d withdrawn, %d in doubt", number, len(sent), len(arrived), len(withdrawn), doubtful)
}

func TestMosquittoRefusesAWrongPasswordAndTheLinkSaysSo(t *testing.T) {
	passwords := filepath.Join(t.TempDir(), "passwords")
	if out, err := exec.Command(tool(t, "mosquitto_passwd"), "-b", "-c", passwords, "leat", "right").CombinedOutput(); err != nil {
		t.Fatalf("mosquitto_passwd: %v: %s", err, out)
	}
	m := newMosquitto(t, "allow_anonymous false", "password_file "+passwords)
	options := m.options("daemon")
	options.User, options.Password = "leat", "wrong"
	link := start(t, options)
	eventually(t, "the link says why it is closed", func() bool { return link.LastError() != nil })
	want := `refuses user "leat": wrong name or password`
	if err := link.LastError(); !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), m.address) || strings.Contains(err.Error(), "wrong\"") {
		t.Errorf("got %v", err)
	}
	if link.Open() {
		t.Error("the link is open")
	}
	options.ClientID, options.Password = "daemon2", "right"
	opened(t, start(t, options))
}

func TestMosquittoIsNotThereAndTheLinkSaysSo(t *testing.T) {
	m := newMosquitto(t, "allow_anonymous true")
	m.kill()
	link := start(t, m.options("daemon"))
	eventually(t, "the link says why it is closed", func() bool { return link.LastError() != nil })
	if err := link.LastError(); !strings.Contains(err.Error(), "cannot be reached") || !strings.Contains(err.Error(), "is it running") {
		t.Errorf("got %v", err)
	}
	m.start()
	opened(t, link)
}

func TestMosquittoWithAWrongCertificateIsRefused(t *testing.T) {
	right, other := newAuthority(t), newAuthority(t)
	secure := func(certificate, key string) *mosquitto {
		return newMosquitto(t, "allow_anonymous true", "certfile "+certificate, "keyfile "+key)
	}
	good := secure(right.issue(t, "127.0.0.1", time.Hour))
	for name, c := range map[string]struct {
		broker *mosquitto
		trust  *authority
		scheme string
		want   string // "" = opens
	}{
		"right":          {good, right, "tls", ""},
		"another's":      {good, other, "tls", "signed by an authority that is not trusted here"},
		"another host's": {secure(right.issue(t, "10.1.2.3", time.Hour)), right, "tls", "certificate is for another host"},
		"expired":        {secure(right.issue(t, "127.0.0.1", -time.Hour)), right, "tls", "certificate is not valid"},
		"TLS to plain":   {newMosquitto(t, "allow_anonymous true"), right, "tls", "does this port speak TLS?"},
		"plain to TLS":   {good, right, "tcp", "is this port for TLS"},
	} {
		t.Run(name, func(t *testing.T) {
			options := mqtt.Options{URL: c.scheme + "://" + c.broker.address, ClientID: "daemon", LongestPause: time.Second,
				TLS: &tls.Config{RootCAs: c.trust.pool, MinVersion: tls.VersionTLS12}}
			link := start(t, options)
			if c.want == "" {
				opened(t, link)
				return
			}
			eventually(t, "the link says why it is closed", func() bool { return link.LastError() != nil })
			var open *mqtt.OpenError
			if err := link.LastError(); !errors.As(err, &open) || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %v, want %q", err, c.want)
			}
			if link.Open() {
				t.Error("the link is open")
			}
		})
	}
}

// authority signs certificates for one test.
type authority struct {
	certificate *x509.Certificate
	key         *ecdsa.PrivateKey
	pool        *x509.CertPool
}

func newAuthority(t *testing.T) *authority {
	t.Helper()
	a := &authority{pool: x509.NewCertPool()}
	template := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "test authority"}, IsCA: true,
		BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign, NotBefore: time.Now().Add(-24 * time.Hour), NotAfter: time.Now().Add(24 * time.Hour)}
	a.key = newKey(t)
	der, err := x509.CreateCertificate(rand.Reader, template, template, &a.key.PublicKey, a.key)
	if err != nil {
		t.Fatal(err)
	}
	if a.certificate, err = x509.ParseCertificate(der); err != nil {
		t.Fatal(err)
	}
	a.pool.AddCert(a.certificate)
	return a
}

func newKey(t *testing.T) *ecdsa.PrivateKey {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	return key
}

// issue writes a certificate for a host, ending so long from now, and its key.
func (a *authority) issue(t *testing.T, host string, ends time.Duration) (certificate, key string) {
	t.Helper()
	own := newKey(t)
	template := &x509.Certificate{SerialNumber: big.NewInt(2), Subject: pkix.Name{CommonName: host}, IPAddresses: []net.IP{net.ParseIP(host)},
		NotBefore: time.Now().Add(-12 * time.Hour), NotAfter: time.Now().Add(ends), ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}}
	der, err := x509.CreateCertificate(rand.Reader, template, a.certificate, &own.PublicKey, a.key)
	if err != nil {
		t.Fatal(err)
	}
	secret, err := x509.MarshalPKCS8PrivateKey(own)
	if err != nil {
		t.Fatal(err)
	}
	write := func(name, kind string, der []byte) string {
		path := filepath.Join(t.TempDir(), name)
		if err := os.WriteFile(path, pem.EncodeToMemory(&pem.Block{Type: kind, Bytes: der}), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	return write("certificate.pem", "CERTIFICATE", der), write("key.pem", "PRIVATE KEY", secret)
}
