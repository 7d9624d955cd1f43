package notify

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/json"
	"errors"
	"io"
	"math/big"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"leat/controller"
	"leat/dosing"
	"leat/safety"
	"leat/safety/alarm"
)

const secret = "a secret of the test"

// hook is a real HTTP server that checks each message as a receiver should.
type hook struct {
	t      *testing.T
	mu     sync.Mutex
	refuse int // so many are refused first
	came   []map[string]any
	tries  int
	server *httptest.Server
}

func newHook(t *testing.T) *hook {
	h := &hook{t: t}
	h.server = httptest.NewTLSServer(h)
	t.Cleanup(h.server.Close)
	return h
}

func (h *hook) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.tries++
	body, _ := io.ReadAll(r.Body)
	at, err := strconv.ParseInt(r.Header.Get("Leat-Time"), 10, 64)
	if err != nil || time.Since(time.Unix(at, 0)).Abs() > 5*time.Minute || r.Header.Get("Leat-Signature") != Sign(secret, at, body) {
		h.t.Errorf("a message is not signed, or not of now: %v", r.Header)
	}
	if h.tries <= h.refuse {
		w.WriteHeader(http.StatusServiceUnavailable)
		return
	}
	var m map[string]any
	if err := json.Unmarshal(body, &m); err != nil {
		h.t.Error(err)
	}
	h.came = append(h.came, m)
}

func (h *hook) got() []map[string]any { h.mu.Lock(); defer h.mu.Unlock(); return h.came }

func (h *hook) options(t *testing.T) Options {
	roots := x509.NewCertPool()
	roots.AddCert(h.server.Certificate())
	return Options{Station: "shed", Page: "https://page.invalid", Folder: t.TempDir(), Pause: time.Millisecond,
		Webhook: &Webhook{URL: h.server.URL, Secret: secret, Roots: roots}}
}

// starts runs a desk until the test ends or the returned function is called.
func starts(t *testing.T, o Options) (*Desk, func()) {
	d := New(o)
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() { d.Run(ctx); close(done) }()
	end := func() { cancel(); <-done }
	t.Cleanup(end)
	return d, end
}

func until(t *testing.T, what string, holds func() bool) {
	t.Helper()
	for end := time.Now().Add(30 * time.Second); !holds(); time.Sleep(2 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatal("never: " + what)
		}
	}
}

// leaks is a view in which a tank leaks, and its time.
func leaks(d *Desk) {
	s := &shed{now: dosing.Instant{Wall: time.Date(2031, 5, 4, 2, 0, 0, 0, time.UTC), Up: time.Hour},
		view: controller.View{Station: "shed", Tanks: []controller.TankView{{Name: "ferns"}, {Name: "moss"}}}}
	s.raise(1, safety.CauseLeak, safety.PriorityNow)
	for range 10 {
		s.now.Up += time.Second
		d.Follow(s.now, &s.view)
	}
}

func passOf(m map[string]any) string {
	tank := m["tanks"].([]any)[0].(map[string]any)
	_, pass, _ := strings.Cut(tank["acknowledge"].(string), "/acknowledge/")
	return pass
}

func TestWebhookGetsASignedLetterAlsoWhenItRefusesAFewTimes(t *testing.T) {
	h := newHook(t)
	h.refuse = 3
	o := h.options(t)
	var mu sync.Mutex
	counts := map[string]int{}
	o.Count = func(way, outcome string) { mu.Lock(); counts[way+" "+outcome]++; mu.Unlock() }
	d, end := starts(t, o)
	leaks(d)
	until(t, "the letter comes", func() bool { return len(h.got()) == 1 })
	end()
	m, row := h.got()[0], safety.Of(safety.CauseLeak)
	if m["event"] != "raised" || m["code"] != "p1" || m["cause"] != "leak" || m["advice"] != row.Advice || m["summary"] != "moss, now: "+row.Text {
		t.Errorf("came %v", m)
	}
	if counts["webhook sent"] != 1 || counts["webhook failed"] != 3 {
		t.Errorf("counted %v", counts)
	}
}

// The loop hands letters over and goes on, whatever the door does.
func TestDoorThatNeverAnswersHoldsNobodyUp(t *testing.T) {
	hang := make(chan struct{})
	server := httptest.NewTLSServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { <-hang }))
	t.Cleanup(server.Close)
	t.Cleanup(func() { close(hang) })
	roots := x509.NewCertPool()
	roots.AddCert(server.Certificate())
	d, end := starts(t, Options{Station: "shed", Folder: t.TempDir(), Webhook: &Webhook{URL: server.URL, Secret: secret, Roots: roots}})
	s := newShed(t)
	causes := []safety.Cause{safety.CauseLeak, safety.CauseLevelHigh, safety.CausePHStale, safety.CauseNodeOffline}
	began := time.Now()
	for range 5 * mostWaiting { // rings, goes, rings: far more letters than have room
		for _, c := range causes {
			s.raise(0, c, safety.PriorityNow)
		}
		for _, up := range []time.Duration{0, together, 0, sameWithin} {
			s.now.Up += up
			d.Follow(s.now, &s.view)
			if up == together {
				s.clear(0)
			}
		}
	}
	if took := time.Since(began); took > 10*time.Second {
		t.Errorf("%d looks took %s beside a door that hangs", 20*mostWaiting, took)
	}
	d.couriers[0].mu.Lock()
	if n := len(d.couriers[0].waiting); n > mostWaiting || n < mostWaiting-1 {
		t.Errorf("%d letters wait; want at most %d", n, mostWaiting)
	}
	d.couriers[0].mu.Unlock()
	end() // and the end is not held up either
}

func TestLetterThatIsRefusedDoesNotHoldTheNextOneBack(t *testing.T) {
	var mu sync.Mutex
	took := map[string]int{}
	server := httptest.NewTLSServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, _ := io.ReadAll(r.Body)
		if strings.Contains(string(body), `"level-high"`) {
			w.WriteHeader(http.StatusRequestEntityTooLarge)
			return
		}
		mu.Lock()
		took[string(body[:10])]++
		mu.Unlock()
	}))
	t.Cleanup(server.Close)
	roots := x509.NewCertPool()
	roots.AddCert(server.Certificate())
	d, _ := starts(t, Options{Station: "shed", Folder: t.TempDir(), Webhook: &Webhook{URL: server.URL, Secret: secret, Roots: roots}})
	s := newShed(t)
	s.raise(0, safety.CauseLevelHigh, safety.PriorityNow)
	s.raise(0, safety.CauseLeak, safety.PriorityTonight)
	for range 10 {
		s.now.Up += time.Second
		d.Follow(s.now, &s.view)
	}
	until(t, "the other letter comes", func() bool { mu.Lock(); defer mu.Unlock(); return len(took) == 1 })
}

func TestRedirectIsNotFollowed(t *testing.T) {
	other := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { t.Error("a signed letter went elsewhere") }))
	t.Cleanup(other.Close)
	server := httptest.NewServer(http.RedirectHandler(other.URL, http.StatusTemporaryRedirect))
	t.Cleanup(server.Close)
	err := newWebhook(Webhook{URL: server.URL, Secret: secret}).deliver(t.Context(), &Letter{})
	if err == nil || !strings.Contains(err.Error(), "307") {
		t.Errorf("a redirect is taken for success: %v", err)
	}
}

func TestLinkAcknowledgesItsAlarmOnceAndNothingElse(t *testing.T) {
	h := newHook(t)
	d, _ := starts(t, h.options(t))
	leaks(d)
	until(t, "the letter comes", func() bool { return len(h.got()) == 1 })
	pass := passOf(h.got()[0])
	var asked []Claim
	ask := func(c Claim) error { asked = append(asked, c); return nil }

	// A request that the core does not answer spends nothing.
	if _, err := d.Take(pass, func(Claim) error { return errors.New("no answer") }); err == nil {
		t.Error("what was not asked is taken for done")
	}
	for range 5 {
		if c, ok := d.Look(pass); !ok || c.Why != "" {
			t.Fatalf("looking spends the link: %v %v", c, ok)
		}
	}
	if c, err := d.Take(pass, ask); err != nil || c.Why != "" {
		t.Fatalf("not taken: %v %v", c, err)
	}
	if len(asked) != 1 || asked[0].Tank != 1 || asked[0].Cause != safety.CauseLeak {
		t.Errorf("asked for %v; want the leak of the second tank", asked)
	}
	if c, _ := d.Take(pass, ask); c.Why == "" || len(asked) != 1 {
		t.Errorf("a replay is taken: %v, asked %d times", c, len(asked))
	}

	// Of every pass that differs in one character, none is one.
	for i := range pass {
		for _, by := range []string{"A", "B", "7", "", ".", "=", "\x00"} {
			if forged := pass[:i] + by + pass[i+1:]; forged != pass {
				if _, ok := d.Look(forged); ok {
					t.Errorf("%q is taken for a link", forged)
				}
			}
		}
	}
	if _, ok := openPass(d.key, "barn", pass); ok {
		t.Error("the link of one station is taken by another")
	}
}

// However many press at once, the core is asked once.
func TestLinkThatManyUseAtOnceIsUsedOnce(t *testing.T) {
	h := newHook(t)
	d, _ := starts(t, h.options(t))
	leaks(d)
	until(t, "the letter comes", func() bool { return len(h.got()) == 1 })
	pass := passOf(h.got()[0])
	var mu sync.Mutex
	asked := 0
	var group sync.WaitGroup
	for range 32 {
		group.Go(func() {
			_, _ = d.Take(pass, func(Claim) error { mu.Lock(); asked++; mu.Unlock(); return nil })
		})
	}
	group.Wait()
	if asked != 1 {
		t.Errorf("the core was asked %d times", asked)
	}
}

func TestLinkStillWorksAfterARestartOnceTheAlarmIsSeenAgain(t *testing.T) {
	h := newHook(t)
	o := h.options(t)
	d, end := starts(t, o)
	leaks(d)
	until(t, "the letter is known to be delivered", func() bool { d.mu.Lock(); defer d.mu.Unlock(); return d.book.rings[0].Delivered })
	end()
	pass := passOf(h.got()[0])
	d, end = starts(t, o)
	if c, ok := d.Look(pass); !ok || c.Why == "" {
		t.Errorf("before the alarm is seen again: %v %v", c, ok)
	}
	leaks(d)
	if c, err := d.Take(pass, func(Claim) error { return nil }); err != nil || c.Why != "" {
		t.Errorf("after it: %v %v", c, err)
	}
	end()
	d, end = starts(t, o)
	leaks(d)
	if c, _ := d.Look(pass); c.Why == "" {
		t.Error("a restart lets the link be used again")
	}
	end() // what it keeps is written no more
	if n := len(h.got()); n != 1 {
		t.Errorf("%d letters over two restarts, want 1", n)
	}
	info, err := os.Stat(filepath.Join(o.Folder, keptName))
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the key of the links can be read by others: %v %v", info, err)
	}
	if err := os.WriteFile(filepath.Join(o.Folder, keptName), []byte(`{"Key":"AA==","Rings":[{"ID":`), 0o600); err != nil {
		t.Fatal(err)
	}
	if d := New(o); len(d.key) != keyBytes || len(d.book.rings) != 0 {
		t.Error("a file that was torn is believed")
	}
}

// postOffice is a mail server in the process: TLS from the first byte or by STARTTLS, one user.
type postOffice struct {
	t        *testing.T
	listener net.Listener
	config   *tls.Config
	roots    *x509.CertPool
	atOnce   bool
	offers   bool
	reject   string // a recipient who is not known

	mu    sync.Mutex
	mails []string
	plain []string // said before TLS
}

func openPost(t *testing.T, atOnce, offers bool) *postOffice {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	form := &x509.Certificate{SerialNumber: big.NewInt(1), NotAfter: time.Now().Add(time.Hour), IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true}
	made, err := x509.CreateCertificate(rand.Reader, form, form, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	leaf, err := x509.ParseCertificate(made)
	if err != nil {
		t.Fatal(err)
	}
	p := &postOffice{t: t, atOnce: atOnce, offers: offers, roots: x509.NewCertPool(), config: &tls.Config{Certificates: []tls.Certificate{{Certificate: [][]byte{made}, PrivateKey: key}}}}
	p.roots.AddCert(leaf)
	if p.listener, err = net.Listen("tcp", "127.0.0.1:0"); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = p.listener.Close() })
	go func() {
		for {
			conn, err := p.listener.Accept()
			if err != nil {
				return
			}
			go p.serve(conn)
		}
	}()
	return p
}

func (p *postOffice) serve(conn net.Conn) {
	defer conn.Close()
	secure := p.atOnce
	if secure {
		conn = tls.Server(conn, p.config)
	}
	say := func(lines string) { _, _ = io.WriteString(conn, strings.ReplaceAll(lines, "\n", "\r\n")+"\r\n") }
	read := func() (string, bool) {
		var line []byte
		for one := make([]byte, 1); ; {
			if _, err := conn.Read(one); err != nil {
				return "", false
			}
			if line = append(line, one[0]); one[0] == '\n' {
				return strings.TrimRight(string(line), "\r\n"), true
			}
		}
	}
	say("220 post.invalid")
	for {
		line, ok := read()
		if !ok {
			return
		}
		if !secure {
			p.mu.Lock()
			p.plain = append(p.plain, line)
			p.mu.Unlock()
		}
		switch verb := strings.ToUpper(strings.Fields(line + " x")[0]); {
		case verb == "EHLO" && p.offers && !secure:
			say("250-post.invalid\n250 STARTTLS")
		case verb == "EHLO" && secure:
			say("250-post.invalid\n250 AUTH PLAIN")
		case verb == "STARTTLS":
			say("220 go")
			conn, secure = tls.Server(conn, p.config), true
		case verb == "AUTH" && line != "AUTH PLAIN AGxlYXQAbGV0IG1lIGlu": // \0leat\0let me in
			say("535 no")
		case verb == "AUTH":
			say("235 in")
		case verb == "RCPT" && p.reject != "" && strings.Contains(line, p.reject):
			say("550 nobody of that name")
		case verb == "DATA":
			say("354 go on")
			var text []string
			for line, ok = read(); ok && line != "."; line, ok = read() {
				text = append(text, line)
			}
			p.mu.Lock()
			p.mails = append(p.mails, strings.Join(text, "\n"))
			p.mu.Unlock()
			say("250 taken")
		case verb == "QUIT":
			say("221 bye")
			return
		default:
			say("250 ok")
		}
	}
}

func (p *postOffice) mail() *Mail {
	return &Mail{Server: p.listener.Addr().String(), User: "leat", Password: "let me in", From: "leat@shed.invalid", To: []string{"grower@shed.invalid", "second@shed.invalid"}, Roots: p.roots, AtOnce: p.atOnce}
}

func TestMailGoesByTLSOfEitherKindAndNeverWithout(t *testing.T) {
	for name, p := range map[string]*postOffice{"at once": openPost(t, true, false), "by STARTTLS": openPost(t, false, true)} {
		p.reject = "second@"
		d, _ := starts(t, Options{Station: "shed", Page: "https://page.invalid", Folder: t.TempDir(), Pause: time.Millisecond, Mail: p.mail()})
		leaks(d)
		until(t, name+": the mail comes", func() bool { p.mu.Lock(); defer p.mu.Unlock(); return len(p.mails) == 1 })
		p.mu.Lock()
		for _, want := range []string{"To: grower@shed.invalid", "Subject: leat shed: moss, now: ", "Auto-Submitted: auto-generated", "Content-Transfer-Encoding: quoted-printable", "https://page.invalid/alarm/moss/leak", "/acknowledge/"} {
			if !strings.Contains(strings.ReplaceAll(p.mails[0], "=\n", ""), want) {
				t.Errorf("%s: no %q in\n%s", name, want, p.mails[0])
			}
		}
		for _, line := range p.plain {
			if !strings.HasPrefix(line, "EHLO") && line != "STARTTLS" {
				t.Errorf("%s: %q was said unencrypted", name, line)
			}
		}
		p.mu.Unlock()
	}
	without := openPost(t, false, false)
	if err := (&post{*without.mail()}).deliver(t.Context(), &Letter{}); err == nil || !strings.Contains(err.Error(), "STARTTLS") {
		t.Errorf("a server without TLS: %v", err)
	}
	stranger := openPost(t, true, false).mail()
	stranger.Roots = x509.NewCertPool()
	if err := (&post{*stranger}).deliver(t.Context(), &Letter{}); err == nil || !strings.Contains(err.Error(), "certificate") {
		t.Errorf("a server that nobody vouches for: %v", err)
	}
	wrong := openPost(t, true, false).mail()
	wrong.Password = "no"
	if err := (&post{*wrong}).deliver(t.Context(), &Letter{}); err == nil {
		t.Error("a wrong password is taken for success")
	}
}

func TestTryTellsWhatBecameOfEachWay(t *testing.T) {
	h := newHook(t)
	o := h.options(t)
	o.Mail = openPost(t, false, false).mail()
	d := New(o)
	became := d.Try(t.Context())
	if len(became) != 2 || became["webhook"] != nil || became["mail"] == nil || len(h.got()) != 1 || h.got()[0]["event"] != "test" {
		t.Errorf("became %v", became)
	}
	if New(Options{}) != nil || (*Desk)(nil).Try(t.Context()) != nil {
		t.Error("a desk of nobody")
	}
}

func FuzzPass(f *testing.F) {
	key := []byte(strings.Repeat("k", keyBytes))
	good := sealPass(key, "shed", "RING")
	f.Add(good)
	f.Add("RING.")
	f.Add(".")
	f.Fuzz(func(t *testing.T, pass string) {
		if id, ok := openPass(key, "shed", pass); ok && sealPass(key, "shed", id) != pass {
			t.Errorf("%q opens and is not what was sealed", pass)
		}
	})
}

// Whatever a name or text holds, it makes no header and no second mail.
func FuzzMailIsOneMessageWithItsHeaders(f *testing.F) {
	f.Add("ferns", "Leak.\r\nBcc: all@shed.invalid", "\r\n.\r\nMAIL FROM:<x@y>")
	f.Fuzz(func(t *testing.T, tank, text, station string) {
		l := &Letter{ID: "A", Event: Raised, Station: station, Cause: "leak", Advice: text}
		l.add(&ring{Tank: tank, view: controller.AlarmView{Text: text, State: alarm.Unacknowledged}})
		message := string((&post{Mail{From: "leat@shed.invalid", To: []string{"grower@shed.invalid"}}}).message(l))
		head, body, _ := strings.Cut(message, "\r\n\r\n")
		if n := strings.Count(head, "\r\n"); n != 9 && !strings.Contains(head, "\r\n =?") {
			t.Errorf("%d lines of header:\n%s", n, head)
		}
		for line := range strings.SplitSeq(head, "\r\n") {
			name, _, ok := strings.Cut(line, ":")
			if strings.HasPrefix(line, " ") {
				continue // a folded subject
			}
			if !ok || !strings.Contains(" Date From To Message-ID Subject Auto-Submitted Importance MIME-Version Content-Type Content-Transfer-Encoding ", " "+name+" ") {
				t.Errorf("a header of its own: %q", line)
			}
		}
		if strings.ContainsFunc(strings.NewReplacer("\r\n", "").Replace(body), func(r rune) bool { return r > 126 || r < ' ' && r != '\t' }) {
			t.Errorf("a body that is not quoted: %q", body)
		}
	})
}
