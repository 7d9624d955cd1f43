package main

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"leat/controller/app/apptest"
	"leat/controller/mqtt"
)

// tanksOfStation is how many tanks share a row of stocks in the farm that is measured.
const tanksOfStation = 5

// farmOf writes a folder of files with so many tanks, five a station, and returns it and the
// page's address.
func farmOf(b *testing.B, broker string, tanks int) (folder, page string) {
	b.Helper()
	folder = b.TempDir()
	page = "127.0.0.1:" + apptest.Port(b)
	for n := 0; n < tanks; n += tanksOfStation {
		name := fmt.Sprintf("s%d", n/tanksOfStation)
		var text strings.Builder
		fmt.Fprintf(&text, "[broker]\nurl = %q\n[storage]\nfolder = %q\n[page]\nlisten = %q\n[log]\nlevel = \"error\"\n", broker, filepath.Join(folder, "state-"+name), page)
		fmt.Fprintf(&text, "[station]\nname = %q\n[station.stop]\nnot_fitted = \"a test\"\n[station.drip_tray]\nnot_fitted = \"a test\"\n", name)
		fmt.Fprint(&text, "[[node]]\nname = \"pumps\"\n[[pump]]\nname = \"acid\"\nrole = \"acid\"\nreagent = \"nitric acid\"\nstrength = \"10 %\"\nrate = \"30 mL/min\"\n")
		for k := range min(tanksOfStation, tanks-n) {
			fmt.Fprintf(&text, "[[tank]]\nname = \"t%d\"\nvolume = \"300 L\"\ndead_time = \"20s\"\ntime_constant = \"40s\"\n", k)
			for _, in := range []string{"ph", "ec"} {
				fmt.Fprintf(&text, "[tank.input.%s]\nevery = \"1s\"\ncompensation = \"none\"\n", in)
			}
			for _, in := range []string{"temperature", "level", "circulation"} {
				fmt.Fprintf(&text, "[tank.input.%s]\n", in)
			}
			for _, in := range []string{"leak", "flood", "top_up", "sample_flow", "outlet", "redox"} {
				fmt.Fprintf(&text, "[tank.input.%s]\nnot_fitted = \"a test\"\n", in)
			}
		}
		if err := os.WriteFile(filepath.Join(folder, name+".toml"), []byte(text.String()), 0o600); err != nil {
			b.Fatal(err)
		}
	}
	return folder, page
}

// feed publishes two readings a second of each tank until ctx ends.
func feed(ctx context.Context, b *testing.B, broker *apptest.Broker, tanks int) {
	link := mqtt.New(mqtt.Options{URL: broker.URL(), ClientID: "feed", WriteTimeout: time.Minute})
	ended := make(chan error, 1)
	go func() { ended <- link.Run(ctx) }()
	<-link.Changed()
	for tick := time.NewTicker(time.Second); ctx.Err() == nil; {
		for n := range tanks {
			of := fmt.Sprintf("leat/s%d/t%d/reading/", n/tanksOfStation, n%tanksOfStation)
			_ = link.Publish(of+"ph", 0, false, []byte("5.93")) // what is lost the benchmark counts at the other end
			_ = link.Publish(of+"ec", 0, false, []byte("1.82"))
		}
		select {
		case <-tick.C:
		case <-ctx.Done():
		}
	}
	if err := <-ended; err != nil && ctx.Err() == nil {
		b.Error(err)
	}
}

// BenchmarkTanks runs leat with 1 to 5,000 tanks, five a station, with two readings a second of
// each over Debian's mosquitto, and reports what the process costs. LEAT_TANKS=1000 measures one size.
//
//	go test ./cmd/leat -run '^$' -bench Tanks -benchtime 1x -timeout 1h
func BenchmarkTanks(b *testing.B) {
	sizes := []int{1, 10, 100, 1000, 5000}
	if one, err := strconv.Atoi(os.Getenv("LEAT_TANKS")); err == nil {
		sizes = []int{one}
	}
	for _, tanks := range sizes {
		b.Run(strconv.Itoa(tanks), func(b *testing.B) {
			for b.Loop() {
				measureTanks(b, tanks)
			}
		})
	}
}

const measuredFor = 20 * time.Second

func measureTanks(b *testing.B, tanks int) {
	broker := apptest.NewBroker(b, "allow_anonymous true", "max_queued_messages 0")
	defer broker.Kill()
	path, page := farmOf(b, broker.URL(), tanks)
	p := apptest.Start(b, []string{asLeat + "=1"}, "run", "-config", path)
	began := time.Now()
	ready := func() bool {
		answer, err := http.Get("http://" + page + "/readyz")
		if err != nil {
			return false
		}
		_ = answer.Body.Close()
		return answer.StatusCode == http.StatusOK
	}
	for !ready() {
		if p.Ended() || time.Since(began) > 10*time.Minute {
			b.Fatalf("%d tanks did not become ready: %.2000s", tanks, p.Log())
		}
		time.Sleep(50 * time.Millisecond)
	}
	started := time.Since(began)
	ctx, stop := context.WithCancel(context.Background())
	fed := make(chan struct{})
	go func() { feed(ctx, b, broker, tanks); close(fed) }()
	time.Sleep(measuredFor / 4) // what a start still has to do
	before, taken := processor(b, p.Pid()), summed(b, page, "leat_messages_total", `kind="reading"`)
	time.Sleep(measuredFor)
	spent, arrived := processor(b, p.Pid())-before, summed(b, page, "leat_messages_total", `kind="reading"`)-taken
	stop()
	<-fed
	b.ReportMetric(100*spent.Seconds()/measuredFor.Seconds(), "%-of-a-core")
	b.ReportMetric(float64(resident(b, p.Pid()))/1024, "MiB-RSS")
	b.ReportMetric(arrived/measuredFor.Seconds(), "readings/s")
	b.ReportMetric(summed(b, page, "leat_messages_dropped_total", ""), "dropped")
	b.ReportMetric(1e6*spent.Seconds()/arrived, "µs/reading")
	b.ReportMetric(started.Seconds(), "s-to-ready")
	p.Signal(terminate)
	if code := p.Wait(); code != 0 {
		b.Fatalf("ended with exit code %d: %.2000s", code, p.Log())
	}
}

// processor is the processor time that a process has taken.
func processor(b *testing.B, pid int) time.Duration {
	b.Helper()
	stat, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		b.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(stat), ") ")
	fields := strings.Fields(rest)
	ticks := 0
	for _, field := range fields[11:13] { // of the program and of the system for it
		n, err := strconv.Atoi(field)
		if err != nil {
			b.Fatal(err)
		}
		ticks += n
	}
	return time.Duration(ticks) * 10 * time.Millisecond
}

// summed sums a metric over all stations.
func summed(b *testing.B, page, name, label string) (sum float64) {
	b.Helper()
	answer, err := http.Get("http://" + page + "/metrics")
	if err != nil {
		b.Fatal(err)
	}
	defer answer.Body.Close()
	text, err := io.ReadAll(answer.Body)
	if err != nil {
		b.Fatal(err)
	}
	for line := range strings.Lines(string(text)) {
		if !strings.HasPrefix(line, name+"{") || !strings.Contains(line, label) {
			continue
		}
		value, err := strconv.ParseFloat(strings.TrimSpace(line[strings.LastIndexByte(strings.TrimSpace(line), ' ')+1:]), 64)
		if err != nil {
			b.Fatal(err)
		}
		sum += value
	}
	return sum
}
