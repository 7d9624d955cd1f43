package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"leat/controller/app/apptest"
)

// A supervisor starts a daemon that dies at once, again and again, and the file arms after each restart. The outside judge of the
// alert is Prometheus 2.42, Debian, with the shipped files at their own pace.
func TestDaemonThatIsKilledOverAndOverCallsAtTheThirdStartAndThenOnlyObserves(t *testing.T) {
	t.Parallel()
	broker, port := apptest.NewBroker(t), apptest.Port(t)
	path := apptest.Config(t, broker.URL(), `control_period = "1s"`, "control_period = \"1s\"\nrearm_after_restart = true", `listen = "127.0.0.1:0"`, `listen = "127.0.0.1:`+port+`"`)
	apptest.NewFarm(t, apptest.Load(t, path))
	fires := crashLoopAlert(t, port)
	daemon := running(t, path)
	arm(t, path)
	mode := func(mode string) bool {
		_, body := get(t, page(t, daemon)+"/metrics")
		return strings.Contains(body, fmt.Sprintf("leat_mode{mode=%q,station=\"bench\",tank=\"tub\"} 1", mode))
	}
	scraped(t, fires) // the first of the three
	for start := 2; start <= 4; start++ {
		daemon.Kill()
		daemon = running(t, path)
		apptest.Eventually(t, "the tank has its mode", func() bool { return mode("armed") != mode("observing") })
		if said := strings.Contains(daemon.Log(), "crash loop: "); said != (start >= 3) {
			t.Errorf("start %d: does it speak of a crash loop? %v", start, said)
		}
		if observes := mode("observing"); observes != (start == 4) {
			t.Errorf("start %d: does the tank observe? %v", start, observes)
		}
		if start == 2 {
			scraped(t, fires)
			if fires != nil && fires("firing") {
				t.Error("two starts are no loop, and Prometheus calls")
			}
		}
		if start == 3 && fires != nil {
			apptest.Eventually(t, "Prometheus calls at the third start", func() bool { return fires("firing") })
		}
	}
	daemon.Await("crash loop: every tank only observes")
	apptest.Eventually(t, "the alarm says why", func() bool {
		_, body := get(t, page(t, daemon)+"/metrics")
		return strings.Contains(body, `leat_alarm_state{cause="disarmed",station="bench",tank="tub"} 1`)
	})
	stopsCleanly(t, daemon)
	if text := broker.Retained("leat/bench/tub/alarm/disarmed"); !strings.Contains(text, "started 4 times in ten minutes") {
		t.Errorf("the alarm's topic says %q", text)
	}
}

// scraped waits until Prometheus has seen this run of the daemon.
func scraped(t *testing.T, fires func(string) bool) {
	t.Helper()
	if fires != nil {
		apptest.Eventually(t, "Prometheus has seen this start", func() bool { return fires("seen") })
	}
}

// crashLoopAlert starts Prometheus beside the daemon and returns what asks it: "seen" is whether it has scraped the newest start, "firing"
// whether the alert calls. Without LEAT_REAL it is nil.
func crashLoopAlert(t *testing.T, daemon string) func(string) bool {
	t.Helper()
	if !apptest.Real() {
		return nil
	}
	promtool, dir, port := apptest.Program(t, "promtool", "prometheus"), t.TempDir(), apptest.Port(t)
	for _, name := range []string{"prometheus.yml", "rules.yml"} {
		text, err := os.ReadFile(filepath.Join("..", "..", "deploy", "prometheus", name))
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, name), []byte(strings.Replace(string(text), "127.0.0.1:8470", "127.0.0.1:"+daemon, 1)), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	server := exec.Command(apptest.Program(t, "prometheus", "prometheus"), "--config.file="+filepath.Join(dir, "prometheus.yml"), "--storage.tsdb.path="+filepath.Join(dir, "data"), "--web.listen-address=127.0.0.1:"+port)
	if err := server.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = server.Process.Kill(); _ = server.Wait() })
	seen := ""
	return func(what string) bool {
		query := `ALERTS{alertname="LeatCrashLoop", alertstate="firing"}`
		if what == "seen" {
			query = "leat_epoch"
		}
		out, err := exec.Command(promtool, "query", "instant", "http://127.0.0.1:"+port, query).Output()
		said, _, _ := strings.Cut(string(out), " @")
		if err != nil || !strings.Contains(said, "=>") {
			return false
		}
		if what == "seen" {
			fresh := said != seen
			seen = said
			return fresh
		}
		return true
	}
}
