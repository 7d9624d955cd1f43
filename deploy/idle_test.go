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

// What the packaged daemon may take of a small computer while it looks after ten tanks: of a core, and of memory.
const (
	mostOfACore = 0.01
	mostMemory  = 40 << 20
)

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

// The packaged program, a real broker, ten tanks that nobody armed, their probes speaking each second.
func TestIdleDaemonOfTenTanksTakesAHundredthOfACore(t *testing.T) {
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
	within(t, time.Minute, "the daemon has heard all probes", func() bool {
		log := read(t, filepath.Join(dir, "run.log"))
		return strings.Count(log, `"cause":"ph-missing","active":false`) >= 10
	})
	// On a busy machine every wake costs more; the quietest stretch is the daemon's own.
	took := 1.0
	for try := 0; try < 2 || try < 8 && took > mostOfACore; try++ {
		began, before := time.Now(), processor(t, daemon.Process.Pid)
		within(t, time.Minute, "fifteen seconds are over", func() bool { return time.Since(began) > 15*time.Second })
		took = min(took, (processor(t, daemon.Process.Pid)-before).Seconds()/time.Since(began).Seconds())
	}
	memory := peak(t, daemon.Process.Pid)
	t.Logf("%.2f %% of a core, at most %.1f MB", 100*took, float64(memory)/1e6)
	if took > mostOfACore || memory > mostMemory {
		t.Errorf("%.2f %% of a core, %d bytes; at most %.0f %% and %d", 100*took, memory, 100*mostOfACore, mostMemory)
	}
}

// processor is the time that a process has had of all cores.
func processor(t *testing.T, pid int) time.Duration {
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
func peak(t *testing.T, pid int) int {
	t.Helper()
	m := highest.FindStringSubmatch(read(t, fmt.Sprintf("/proc/%d/status", pid)))
	kB, err := strconv.Atoi(m[1])
	if err != nil {
		t.Fatal(err)
	}
	return kB << 10
}
