//go:build unix

package app

import (
	"bufio"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"fmt"
	"io"
	"math/big"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"leat/controller"
	"leat/controller/store"
	"leat/controller/web"
	"leat/dosing"
	"leat/safety"
)

// station is a page by TLS over a record on disk, with ten tanks whose readings move.
type station struct {
	server *web.Server
	client *http.Client
	clock  atomic.Int64 // seconds by which the farm's time is ahead
	to     time.Time
}

func (s *station) view() *controller.View {
	ahead := time.Duration(s.clock.Load()) * time.Second
	v := &controller.View{At: dosing.Instant{Wall: s.to.Add(ahead), Up: time.Hour + ahead}, Station: "row", LinkUp: true, Ledger: safety.LedgerReady}
	for i := range recordedTanks {
		reading := func(name string, q dosing.Quantity, value float64) controller.InputView {
			return controller.InputView{Name: name, Quantity: q, Present: true, Value: value + float64(v.At.Wall.Second()%10)/100, Age: time.Second, Quality: dosing.QualityGood}
		}
		v.Tanks = append(v.Tanks, controller.TankView{Name: fmt.Sprintf("t%d", i), Mode: safety.ModeArmed, Fit: true, PH: controller.SetpointView{Working: 5.8, Final: 5.8}, EC: controller.SetpointView{Working: 1.8, Final: 1.8},
			Inputs: []controller.InputView{reading("ph", dosing.QuantityPH, 5.75), reading("ec", dosing.QuantityEC, 1.78)}})
	}
	v.Judge()
	return v
}

// certificate writes one for this machine.
func certificate(b *testing.B, folder string) (file, key string) {
	b.Helper()
	private, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		b.Fatal(err)
	}
	form := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "farm"}, NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour)}
	body, err := x509.CreateCertificate(rand.Reader, form, form, &private.PublicKey, private)
	if err != nil {
		b.Fatal(err)
	}
	secret, err := x509.MarshalPKCS8PrivateKey(private)
	if err != nil {
		b.Fatal(err)
	}
	file, key = filepath.Join(folder, "cert.pem"), filepath.Join(folder, "key.pem")
	for path, block := range map[string]*pem.Block{file: {Type: "CERTIFICATE", Bytes: body}, key: {Type: "PRIVATE KEY", Bytes: secret}} {
		if err := os.WriteFile(path, pem.EncodeToMemory(block), 0o600); err != nil {
			b.Fatal(err)
		}
	}
	return file, key
}

// newStation serves the page as the daemon does and signs one person in.
func newStation(b *testing.B) *station {
	b.Helper()
	db, to := aYear(b)
	const password = "three quiet grey herons"
	hash, err := web.Hash(password)
	if err != nil {
		b.Fatal(err)
	}
	if err := db.People().Add(store.Person{Name: "mara", Role: controller.RoleEngineer.String(), Hash: hash, Added: time.Now()}); err != nil {
		b.Fatal(err)
	}
	a := &App{gear: &gear{db: db}}
	s := &station{to: to}
	file, key := certificate(b, b.TempDir())
	var shown atomic.Pointer[controller.View]
	var at atomic.Int64
	at.Store(-1)
	s.server, err = web.New(web.Options{Listen: "127.0.0.1:0", Certificate: file, Key: key, ECScale: dosing.ECScales[0], Night: nights{db}.of, Record: nights{db}.told, People: nights{db}.people, Find: a.findPerson,
		View: func() *controller.View { // one view a moment, as the loop makes it
			if now := s.clock.Load(); at.Swap(now) != now {
				shown.Store(s.view())
			}
			return shown.Load()
		},
		Audit: func(string, string, string, string) {}, Ready: func() error { return nil }, Alive: func() error { return nil }, Loop: func() time.Duration { return 0 }})
	if err != nil {
		b.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- s.server.Serve(b.Context()) }()
	jar, _ := cookiejar.New(nil)
	s.client = &http.Client{Jar: jar, Transport: &http.Transport{TLSClientConfig: &tls.Config{InsecureSkipVerify: true, MinVersion: tls.VersionTLS12}, MaxConnsPerHost: 0}} // the name is nobody's
	response, err := s.client.PostForm(s.server.Address()+"/signin", url.Values{"name": {"mara"}, "password": {password}})
	if err != nil {
		b.Fatal(err)
	}
	_ = response.Body.Close()
	return s
}

func (s *station) get(b *testing.B, path string) string {
	b.Helper()
	response, err := s.client.Get(s.server.Address() + path)
	if err != nil {
		b.Fatal(err)
	}
	defer response.Body.Close()
	text, err := io.ReadAll(response.Body)
	if err != nil || response.StatusCode != http.StatusOK {
		b.Fatalf("%s: %d, %v", path, response.StatusCode, err)
	}
	return string(text)
}

// What it takes from asking for 30 days of a tank until the page is there, drawn and sent by
// TLS, of ten tanks with a year on record: "ms/plot". Each is drawn anew.
func BenchmarkThirtyDaysAsAPageByTLS(b *testing.B) {
	s := newStation(b)
	s.get(b, "/tank/t0/past/month") // the days before today are told once
	began, plots := time.Now(), 0
	for b.Loop() {
		s.clock.Add(16 * 60) // what is kept of the last drawing is too old
		if page := s.get(b, "/tank/t0/past/month"); !strings.Contains(page, `<path class="line" d="M`) {
			b.Fatal("nothing is drawn")
		}
		plots++
	}
	b.ReportMetric(time.Since(began).Seconds()*1000/float64(plots), "ms/plot")
}

// What 200 phones cost that each follow a page by a connection of their own, by TLS, each event
// asking the record whether its person may still look: "%core" of one core, the phones' own work
// in this process counted too. One iteration is 20 seconds.
func BenchmarkTwoHundredPhonesFollowByTLS(b *testing.B) {
	s := newStation(b)
	const phones = 200
	pages := []string{"/", "/tank/t1", "/tank/t2", "/stocks"}
	var events atomic.Int64
	var all sync.WaitGroup
	for i := range phones {
		response, err := s.client.Get(s.server.Address() + "/live?page=" + pages[i%len(pages)]) //nolint:bodyclose // the reader below closes it
		if err != nil {
			b.Fatal(err)
		}
		all.Add(1)
		go func() {
			defer all.Done()
			defer response.Body.Close()
			lines := bufio.NewScanner(response.Body)
			for lines.Scan() {
				if strings.HasPrefix(lines.Text(), "data: {") {
					events.Add(1)
				}
			}
		}()
	}
	for events.Load() < phones {
		time.Sleep(10 * time.Millisecond)
	}
	seen, used, began := events.Load(), processorTime(b), time.Now()
	for b.Loop() {
		for range 20 {
			time.Sleep(time.Second)
			s.clock.Add(1)
		}
	}
	wall := time.Since(began).Seconds()
	b.ReportMetric(100*(processorTime(b)-used).Seconds()/wall, "%core")
	b.ReportMetric(float64(events.Load()-seen)/wall, "events/s")
}
