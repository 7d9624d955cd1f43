package deploy_test

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"leat/controller/app/apptest"
)

// mostMemory is what the packaged daemon may hold while it looks after ten tanks.
const mostMemory = 40 << 20

// tenTanks is an invented hall: ten small rooms, each with acid and two stocks.
func tenTanks(broker, page, state string) string {
	text := fmt.Sprintf("[station]\nname = \"hall\"\n[broker]\nurl = %q\n[page]\nlisten = \"127.0.0.1:%s\"\n[storage]\nfolder = %q\n", broker, page, state)
	for i := range 10 {
		text += fmt.Sprintf("[[tank]]\nname = \"t%d\"\nvolume = \"300 L\"\n[tank.demand]\nrise = \"0.03 meq/L/h\"\nfall = \"0.02 meq/L/h\"\nuptake = \"0.02 mS/cm/h\"\nwater = \"1 %%/h\"\n", i)
		for _, pump := range []string{"acid\"\nrole = \"acid\"\nreagent = \"nitric acid\"\nstrength = \"10 %\"\nrate = \"10 mL/min\"",
			"a\"\nrole = \"stock\"\ncompatibility = \"calcium\"\nrate = \"60 mL/min\"", "b\"\nrole = \"stock\"\ncompatibility = \"sulfate-phosphate\"\nrate = \"60 mL/min\""} {
			text += fmt.Sprintf("[[pump]]\ntanks = [\"t%d\"]\nname = \"t%d-%s\n", i, i, pump)
		}
	}
	return text
}

// idling starts the packaged program with a real broker and ten tanks that nobody armed, their probes speaking each second, and
// returns its process.
func idling(t testing.TB) int {
	t.Helper()
	leat := filepath.Join(releaseOf(t), "leat-amd64")
	broker, dir := apptest.NewBroker(t), t.TempDir()
	page := apptest.Port(t)
	path := filepath.Join(dir, "hall.toml")
	if err := os.WriteFile(path, []byte(tenTanks(broker.URL(), page, filepath.Join(dir, "state"))), 0o600); err != nil {
		t.Fatal(err)
	}
	start := func(words ...string) *exec.Cmd {
		command := exec.Command(leat, words...)
		log, err := os.Create(filepath.Join(dir, words[0]+".log"))
		if err != nil {
			t.Fatal(err)
		}
		command.Stderr = log
		if err := command.Start(); err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = command.Process.Kill(); _ = command.Wait() })
		return command
	}
	start("demo", "-farm-only", "-broker", strings.Replace(broker.URL(), "mqtt", "tcp", 1), "-config", path)
	daemon := start("run", "-config", path)
	apptest.Eventually(t, "the daemon has heard all probes", func() bool {
		log, err := os.ReadFile(filepath.Join(dir, "run.log"))
		return err == nil && strings.Count(string(log), `"cause":"ph-missing","active":false`) >= 10
	})
	return daemon.Process.Pid
}

// Memory is the same on a busy machine; what it takes of a core is not, and stands in the benchmark.
func TestDaemonOfTenTanksHoldsAtMostFortyMegabytes(t *testing.T) {
	memory := peak(t, idling(t))
	t.Logf("at most %.1f MB", float64(memory)/1e6)
	if memory > mostMemory {
		t.Errorf("%d bytes, want at most %d", memory, mostMemory)
	}
}

// At most one percent of a core, on a machine that does nothing else:
//
//	LEAT_REAL=1 go test ./deploy -run '^$' -bench Idle -benchtime 1x
func BenchmarkIdleDaemonOfTenTanks(b *testing.B) {
	pid := idling(b)
	began, before := time.Now(), processor(b, pid)
	for b.Loop() {
		time.Sleep(30 * time.Second)
	}
	b.ReportMetric(100*(processor(b, pid)-before).Seconds()/time.Since(began).Seconds(), "%core")
	b.ReportMetric(float64(peak(b, pid))/1e6, "MB")
}

// processor is the time that a process has had of all cores.
func processor(t testing.TB, pid int) time.Duration {
	t.Helper()
	_, rest, _ := strings.Cut(read(t, fmt.Sprintf("/proc/%d/stat", pid)), ") ")
	fields := strings.Fields(rest)
	user, err := strconv.Atoi(fields[11])
	if err != nil {
		t.Fatal(err)
	}
	system, err := strconv.Atoi(fields[12])
	if err != nil {
		t.Fatal(err)
	}
	return time.Duration(user+system) * 10 * time.Millisecond // Linux counts hundredths
}

var highest = regexp.MustCompile(`VmHWM:\s+(\d+) kB`)

// peak is the most memory that a process has held.
func peak(t testing.TB, pid int) int {
	t.Helper()
	m := highest.FindStringSubmatch(read(t, fmt.Sprintf("/proc/%d/status", pid)))
	kB, err := strconv.Atoi(m[1])
	if err != nil {
		t.Fatal(err)
	}
	return kB << 10
}
