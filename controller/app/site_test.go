package app

import (
	"context"
	"io"
	"net/http"
	"net/http/cookiejar"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"go.uber.org/zap"

	"leat/controller"
	"leat/controller/app/apptest"
	"leat/controller/config"
)

// site is a process of several stations in this one, with a browser that is signed in.
type site struct {
	*Site
	t          *testing.T
	supervisor supervisor
	ended      chan error
	stop       context.CancelFunc
	browser    *http.Client
}

func runsSite(t *testing.T, path string) *site {
	t.Helper()
	files, err := config.Stations(path)
	if err != nil {
		t.Fatal(err)
	}
	s := &site{t: t, ended: make(chan error, 1)}
	if s.Site, err = NewSite(files, SiteOptions{Log: zap.NewNop(), Supervise: s.supervisor.take, ArmAll: true}); err != nil {
		t.Fatal(err)
	}
	var ctx context.Context
	ctx, s.stop = context.WithCancel(context.Background())
	go func() { s.ended <- s.Run(ctx) }()
	t.Cleanup(func() { _ = s.end() })
	apptest.Eventually(t, "the process is ready", func() bool { return s.supervisor.count("READY=1") == 1 })
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	s.browser = &http.Client{Jar: jar}
	s.get(strings.TrimPrefix(s.SignInLink(controller.RoleEngineer), s.Address()))
	return s
}

func (s *site) end() error {
	if s.stop == nil {
		return nil
	}
	s.stop()
	s.stop = nil
	s.browser.CloseIdleConnections()
	return <-s.ended
}

// get reads a page and says where it was found in the end.
func (s *site) get(path string) (page, at string) {
	s.t.Helper()
	answer, err := s.browser.Get(s.Address() + path)
	if err != nil {
		s.t.Fatal(err)
	}
	defer answer.Body.Close()
	body, err := io.ReadAll(answer.Body)
	if err != nil {
		s.t.Fatal(err)
	}
	return string(body), answer.Request.URL.Path
}

// Two stations of one file dose at once: neither waits for the other, each counts its own
// epochs and keeps its own ledger, and both share one client of the broker.
func TestStationsOfOneProcessDoseEachByItselfOverOneLink(t *testing.T) {
	t.Parallel()
	broker := newInner(t)
	path := apptest.Stations(t, broker.url, []string{"barn", "shed"})
	var farms []*apptest.Farm
	for _, name := range []string{"barn", "shed"} {
		farms = append(farms, apptest.NewFarm(t, apptest.Load(t, path+"#"+name)))
	}
	s := runsSite(t, path)
	for _, f := range farms {
		apptest.Eventually(t, "both farms are dosed", func() bool { return f.Finished() >= 2 })
	}
	daemons := 0
	for id := range broker.server.Clients.GetAll() {
		if strings.HasPrefix(id, "leat-") {
			daemons++
		}
	}
	if daemons != 1 {
		t.Errorf("%d clients of the daemon at the broker", daemons)
	}
	fleetIsShown(t, s)
	if err := s.end(); err != nil {
		t.Error(err)
	}
	for i, name := range []string{"barn", "shed"} {
		apptest.Eventually(t, "the pumps stand", func() bool { return !farms[i].Pumping() })
		state := apptest.Record(t, filepath.Join(apptest.State(path), name))
		apptest.Covers(t, state, farms[i])
		if state.LastEpoch != 1 {
			t.Errorf("%s ended in epoch %d", name, state.LastEpoch)
		}
		if stops := broker.on(name + "/stop"); len(stops) != 2 {
			t.Errorf("%s: %d stops; want one at the start and one at the end", name, len(stops))
		}
	}
	if n := s.supervisor.count("STOPPING=1"); n != 1 || s.supervisor.count("WATCHDOG=1") == 0 {
		t.Errorf("the supervisor was told %q", s.supervisor.told)
	}
}

// fleetIsShown looks at the pages of all stations and of one, at the API and at the metrics.
func fleetIsShown(t *testing.T, s *site) {
	t.Helper()
	page, at := s.get("/")
	if at != "/fleet" || !strings.Contains(page, `href="/station/barn/"`) || !strings.Contains(page, `href="/station/shed/"`) {
		t.Errorf("the first page is %s:\n%s", at, page)
	}
	page, _ = s.get("/station/shed/")
	if !strings.Contains(page, `href="/station/shed/tank/tub"`) || strings.Contains(page, `href="/tank/`) || !strings.Contains(page, `src="/station/shed/live.js"`) {
		t.Errorf("links of a station's page:\n%s", page)
	}
	page, at = s.get("/station/barn/tank/tub")
	if !strings.Contains(page, "tub") || at != "/station/barn/tank/tub" {
		t.Errorf("a tank's page at %s", at)
	}
	if _, at = s.get("/station/attic/"); at != "/station/attic/" {
		t.Errorf("a station that is not there leads to %s", at)
	}
	answer, err := s.browser.PostForm(s.Address()+"/station/shed/ask", map[string][]string{"do": {"stop"}, "tank": {"tub"}, "once": {"x"}, "note": {"a test"}})
	if err != nil {
		t.Fatal(err)
	}
	_ = answer.Body.Close()
	if !strings.HasPrefix(answer.Request.URL.Path, "/station/shed/") {
		t.Errorf("a form of a station led to %s", answer.Request.URL.Path)
	}
	scrape, _ := s.get("/metrics")
	for _, line := range []string{`leat_epoch{station="barn"} 1`, `leat_epoch{station="shed"} 1`, `leat_station_runs{station="shed"} 1`, `leat_station_failed{station="barn"} 0`} {
		if !strings.Contains(scrape, line) {
			t.Errorf("no %s in the metrics: %.300s", line, scrape)
		}
	}
	if n := strings.Count(scrape, "\nprocess_resident_memory_bytes "); n != 1 {
		t.Errorf("%d process_resident_memory_bytes", n)
	}
}

// A ledger that was changed keeps its station from running; the other doses on, and page,
// readiness and metrics say which does not.
func TestAStationThatFailsEndsAloneAndIsNamed(t *testing.T) {
	t.Parallel()
	broker := newInner(t)
	path := apptest.Stations(t, broker.url, []string{"barn", "shed"})
	if err := os.MkdirAll(filepath.Join(apptest.State(path), "shed"), 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(apptest.State(path), "shed", "leat.db"), slices.Repeat([]byte("no ledger "), 500), 0o600); err != nil {
		t.Fatal(err)
	}
	farm := apptest.NewFarm(t, apptest.Load(t, path+"#barn"))
	s := runsSite(t, path)
	apptest.Eventually(t, "the station whose ledger is whole doses", func() bool { return farm.Finished() >= 1 })
	page, _ := s.get("/fleet")
	if shed := strings.Index(page, ">shed<"); shed < 0 || shed > strings.Index(page, ">barn<") || !strings.Contains(page, "Not run") {
		t.Errorf("the station that does not run is not named first:\n%s", page)
	}
	if ready, _ := s.get("/readyz"); !strings.Contains(ready, "shed") {
		t.Errorf("readiness says %q", ready)
	}
	if scrape, _ := s.get("/metrics"); !strings.Contains(scrape, `leat_station_failed{station="shed"} 1`) {
		t.Error("the metrics do not say that the station failed")
	}
	if err := s.end(); err == nil || !strings.Contains(err.Error(), "shed") {
		t.Errorf("ended with %v", err)
	}
}

// A state folder that a single station filled is not passed over: its doses still count.
func TestAFileOfSeveralDoesNotForgetTheLedgerOfTheOneBefore(t *testing.T) {
	t.Parallel()
	broker := newInner(t)
	path := apptest.Config(t, broker.url)
	d := runs(t, path, Options{})
	if err := d.end(); err != nil {
		t.Fatal(err)
	}
	several := apptest.Stations(t, broker.url, []string{"barn", "shed"})
	text, err := os.ReadFile(several)
	if err != nil {
		t.Fatal(err)
	}
	moved := strings.Replace(string(text), apptest.State(several), apptest.State(path), 1)
	if err := os.WriteFile(several, []byte(moved), 0o600); err != nil {
		t.Fatal(err)
	}
	files, err := config.Stations(several)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := NewSite(files, SiteOptions{}); err == nil || !strings.Contains(err.Error(), "holds a ledger itself") {
		t.Errorf("two stations began new ledgers beside the old one: %v", err)
	}
}
