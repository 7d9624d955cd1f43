package deploy_test

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"leat/controller/app/apptest"
)

// release builds the packages once for all tests: LEAT_RELEASE names a folder that has them already.
var release = sync.OnceValues(func() (string, error) {
	if made := os.Getenv("LEAT_RELEASE"); made != "" {
		return made, nil
	}
	folder, err := os.MkdirTemp("", "leat-release-")
	if err != nil {
		return "", err
	}
	built = folder
	command := exec.Command("go", "run", "./deploy/package", released, folder)
	command.Dir = ".."
	command.Stderr = os.Stderr
	return folder, command.Run()
})

const released = "1.2.0"

var built string // by this run; removed after it

// releaseOf is the folder of the packages; they take minutes to make.
func releaseOf(t testing.TB) string {
	t.Helper()
	if !apptest.Real() {
		t.Skip("LEAT_REAL=1 makes the packages of a release and tries them")
	}
	folder, err := release()
	if err != nil {
		t.Fatal(err)
	}
	return folder
}

func TestMain(m *testing.M) {
	code := m.Run()
	if built != "" {
		_ = os.RemoveAll(built)
	}
	os.Exit(code)
}

type step struct {
	hands  bool // it needs a person at the pumps
	script string
}

var block = regexp.MustCompile("(?ms)^```sh( hands)?\n(.*?)^```$")

// steps are the commands of a guide.
func steps(t *testing.T, guide string) (all []step) {
	t.Helper()
	for _, m := range block.FindAllStringSubmatch(read(t, guide), -1) {
		all = append(all, step{m[1] != "", m[2]})
	}
	return all
}

// A grower follows the guide of the first day, word by word, on a machine that has only Debian.
func TestNewcomerComesFromThePackageToAnArmedTank(t *testing.T) {
	folder := releaseOf(t)
	program(t, "prometheus", "prometheus")
	program(t, "mosquitto", "mosquitto")
	began := time.Now()
	m := newMachine(t)
	m.bring(filepath.Join(folder, "leat_"+released+"_amd64.deb"), "/srv/leat_"+released+"_amd64.deb")
	for i, s := range steps(t, "first-day.md") {
		if strings.Contains(s.script, "leat check") && i < 3 {
			m.edited()
		}
		m.follow(s)
		if strings.Contains(s.script, "systemctl restart mosquitto") {
			m.farm()
		}
	}
	if state := m.do("mosquitto_sub -C 1 -W 5 -u watcher -P watcher -t leat/station/tank/state"); !strings.Contains(state, `"mode":`) {
		t.Errorf("the tank tells %s", state)
	}
	m.watched()
	t.Logf("from a bare machine to an armed tank that is watched: %s", time.Since(began).Round(100*time.Millisecond))
	for _, guide := range []string{"choosing.md", "sizing.md", "backup.md"} {
		for _, s := range steps(t, guide) {
			m.follow(s)
		}
	}
	m.do("systemctl is-active leat && leat ledger -state /var/lib/leat print | grep -q 'was put back'")
	m.removed()
}

// edited is the farm of whoever reads the guide: other sizes than the sample's.
func (m *machine) edited() {
	m.t.Helper()
	m.do(`sed -i 's/"300 L"/"180 L"/; s/"10 %"/"5 %"/; s/rate = "60 mL/rate = "40 mL/' /etc/leat/leat.toml && grep -q '"180 L"' /etc/leat/leat.toml`)
}

// follow runs a step in root's home; what needs hands is begun, and given up at its first question.
func (m *machine) follow(s step) {
	m.t.Helper()
	if !s.hands {
		command := m.in("cd /srv\n" + s.script)
		command.Stdin = strings.NewReader("a password that is long enough\n")
		if out, err := command.CombinedOutput(); err != nil {
			journal, _ := m.try("journalctl --no-pager -o cat -n 30 | grep -v compat; tail -n 5 /var/log/mosquitto/mosquitto.log")
			m.t.Fatalf("the guide's\n%s\n%v\n%s\njournal:\n%s", s.script, err, out, journal)
		}
		return
	}
	for line := range strings.Lines(s.script) {
		out, err := m.try(line)
		if strings.Contains(line, " leat ") || strings.HasPrefix(line, "leat ") {
			if !strings.Contains(out, ": ") || strings.Contains(out, "usage:") || !regexp.MustCompile(`(?i)type "water"|standard it stands in|run 1`).MatchString(out) {
				m.t.Errorf("the guide's %s asks nothing: %s", line, out)
			}
		} else if err != nil {
			m.t.Fatalf("%s: %v\n%s", line, err, out)
		}
	}
	_, _ = m.try("leat mode -config /etc/leat/leat.toml -tank tank resume") // the probe is back in the tank
}

// farm adds the devices, which the test has not: one user that may be all of them.
func (m *machine) farm() {
	m.t.Helper()
	m.do(`printf 'user devices\ntopic readwrite #\nuser watcher\ntopic read #\n' >>/etc/mosquitto/leat.acl
mosquitto_passwd -b /etc/mosquitto/leat.passwd devices devices
mosquitto_passwd -b /etc/mosquitto/leat.passwd watcher watcher
systemctl restart mosquitto
printf devices >/run/devices-password && chmod 600 /run/devices-password
systemd-run -q --unit=farm leat demo -farm-only -config /etc/leat/leat.toml -broker tcp://127.0.0.1:1883 -user devices -password-file /run/devices-password`)
}

// watched: the real Prometheus scrapes the daemon and has its rules.
func (m *machine) watched() {
	m.t.Helper()
	within(m.t, time.Minute, "Prometheus has scraped the daemon", func() bool {
		out, err := m.try(`promtool query instant http://127.0.0.1:9090 'up{job="leat"} == 1'`)
		return err == nil && strings.Contains(out, "=> 1")
	})
	if out := m.do(`promtool query instant http://127.0.0.1:9090 'count(ALERTS or vector(0))'; promtool check rules /etc/prometheus/rules.yml`); !strings.Contains(out, "rules found") {
		m.t.Errorf("rules: %s", out)
	}
	m.do(`systemctl show -p ActiveState,NRestarts,StatusText leat | grep -q NRestarts=0 && systemctl is-active leat mosquitto prometheus`)
}

// removed: the package goes, and the farm's record stays.
func (m *machine) removed() {
	m.t.Helper()
	m.do("apt-get purge -y leat >/dev/null && test ! -e /usr/bin/leat && test ! -e /etc/leat/leat.toml && test -s /var/lib/leat/leat.db")
	if out, err := m.try("systemctl is-active leat"); err == nil {
		m.t.Errorf("the daemon outlives its package: %s", out)
	}
}
