package main

import (
	"fmt"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"leat/controller/app/apptest"
)

// BenchmarkIdleDaemonMemory starts leat run on a small farm with no broker in
// reach, lets it wait for ten seconds, and reports what it holds in memory. The
// program is this test binary, so it holds a little more than the shipped one.
func BenchmarkIdleDaemonMemory(b *testing.B) {
	kilobytes := 0
	for b.Loop() {
		path := apptest.Config(b, "mqtt://127.0.0.1:1")
		p := apptest.Start(b, []string{asLeat + "=1"}, "run", "-config", path)
		p.Await(`"started"`)
		time.Sleep(10 * time.Second)
		kilobytes += resident(b, p.Pid())
		p.Signal(terminate)
		if code := p.Wait(); code != 0 {
			b.Fatalf("ended with exit code %d:\n%s", code, p.Log())
		}
	}
	b.ReportMetric(float64(kilobytes)/float64(b.N)/1024, "MiB-RSS")
}

// resident is what a process holds in memory, in kB.
func resident(b *testing.B, pid int) int {
	b.Helper()
	status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		b.Fatal(err)
	}
	for line := range strings.Lines(string(status)) {
		if rest, ok := strings.CutPrefix(line, "VmRSS:"); ok {
			kB, err := strconv.Atoi(strings.Fields(rest)[0])
			if err != nil {
				b.Fatal(err)
			}
			return kB
		}
	}
	b.Fatal("no VmRSS in /proc")
	return 0
}
