package main

import (
	"cmp"
	"context"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"leat/controller/app/apptest"
	"leat/controller/config"
	"leat/controller/mqtt"
	"leat/controller/payload"
	"leat/dosing"
)

// acts are what happens to a yard that stands a soak.
var acts = []struct {
	name string
	do   func(*soak)
}{
	{"daemon killed", func(s *soak) { s.lives(); s.killDaemon() }},
	{"daemon stopped for seconds, as by a disk or a machine that stalls", (*soak).stall},
	{"broker killed", func(s *soak) { s.killBroker() }},
	{"node rebooted", func(s *soak) { s.farm.Reboot() }},
	{"network cut", func(s *soak) { s.proxy.Cut(true); s.lasts(15); s.proxy.Cut(false) }},
	{"network silent", func(s *soak) { s.proxy.Freeze(true); s.lasts(15); s.proxy.Freeze(false) }},
	{"every topic flooded", (*soak).flood},
	{"a sensor's clock an hour off", (*soak).wrongClock},
	{"disk full", (*soak).fullDisk},
}

// soak is a yard with what a soak needs beside it.
type soak struct {
	*yard
	proxy *apptest.Proxy
	disk  string // a small file system; empty = none could be mounted
	began map[string]float64
	most  map[string]float64
}

// allPumps makes a tub whose pumps all have work within minutes: pH begins inside its warn band, where acid and a blend
// take turns, and a stock's part of a blend is a few doses. It mixes in 15 s, so that a reading may be 3 s old: on a
// machine with fifty other programs one comes later than the second of the small tub, and a held tank proves nothing.
var allPumps = []string{
	`rate = "12 mL/min"`, `rate = "60 mL/min"`, `rate = "12 mL/min"`, `rate = "60 mL/min"`,
	`dose_cap = "0.4 mL"`, `dose_cap = "2 mL"`, `dose_cap = "0.4 mL"`, `dose_cap = "2 mL"`,
	`start_settling = "5s"`, `start_settling = "15s"`,
	`dead_time = "1s"`, `dead_time = "3s"`,
	`time_constant = "1s"`, "time_constant = \"3s\"\n[tank.ph_setpoint]\nvalue = \"6.45\"",
}

// enough is how many doses of a soak are some of every pump.
const enough = 30

const inputTime = "[tank.input.ph]\nformat = \"json\"\npointer = \"/value\"\ntime = \"/at\""

// TestSoakOfRealProcesses plays acts in a drawn order for LEAT_SOAK, such as 30m or 24h. Under LEAT_REAL=1
// it plays each of them once.
func TestSoakOfRealProcesses(t *testing.T) {
	text := os.Getenv("LEAT_SOAK")
	if text == "" && !apptest.Real() {
		t.Skip("LEAT_SOAK=30m plays half an hour, LEAT_SOAK=24h a day")
	}
	lasts, err := time.ParseDuration(cmp.Or(text, "1s"))
	if err != nil {
		t.Fatalf("LEAT_SOAK=%s is no time: %v", text, err)
	}
	t.Parallel()
	counts := map[string]int{}
	for end, part := time.Now().Add(lasts), 0; part == 0 || time.Now().Before(end); part++ {
		// Nothing drinks in the tub: before its setpoints are reached another one is begun.
		until := min(time.Until(end), 20*time.Minute)
		t.Run(strconv.Itoa(part), func(t *testing.T) { playSoak(t, time.Now().Add(until), counts) })
		if t.Failed() {
			break
		}
	}
	for _, act := range acts {
		t.Logf("%5d × %s", counts[act.name], act.name)
	}
}

func playSoak(t *testing.T, end time.Time, counts map[string]int) {
	broker := apptest.NewBroker(t)
	s := &soak{proxy: apptest.NewProxy(t, broker.Address), began: map[string]float64{}, most: map[string]float64{}}
	changes := append([]string{"[tank.input.ph]", inputTime}, allPumps...)
	if folder, err := mountSmall(t, "32m"); err == nil {
		s.disk = folder
		changes = append(changes, `folder = "`, `folder = "`+filepath.Join(folder, "state")+`" # "`)
	} else {
		t.Logf("the disk is not filled: a small file system cannot be mounted: %v", err)
	}
	s.yard = newYard(t, broker, s.proxy.URL(), uint64(end.UnixNano()), changes...)
	s.sensorClock(0)
	for left := s.random.Perm(len(acts)); len(left) > 0; {
		act := acts[left[0]]
		dosesAgain(t, s.farm)
		s.soon()
		act.do(s)
		counts[act.name]++
		if twice := s.farm.Twice(); len(twice) > 0 {
			t.Fatalf("after %s, ordered or begun twice: %q", act.name, twice)
		}
		if left = left[1:]; len(left) == 0 && time.Now().Before(end) {
			left = s.random.Perm(len(acts))
		}
	}
	dosesAgain(t, s.farm)
	s.lives()
	s.judge()
	s.judgeGrowth()
	for pump, given := range s.farm.Delivered() {
		if given == 0 && s.farm.Finished() >= enough {
			t.Errorf("%s gave nothing in %d doses", pump, s.farm.Finished())
		}
	}
}

func (s *soak) lasts(most int) {
	until := time.Now().Add(time.Duration(1+s.random.IntN(most)) * time.Second)
	apptest.Eventually(s.t, "the time is over", func() bool { return time.Now().After(until) })
}

func (s *soak) stall() {
	s.daemon.Signal(syscall.SIGSTOP)
	s.lasts(15)
	s.daemon.Signal(syscall.SIGCONT)
}

func (s *soak) fullDisk() {
	if s.disk == "" {
		return
	}
	filler := fill(s.t, s.disk)
	s.lasts(15)
	if err := os.Remove(filler); err != nil {
		s.t.Fatal(err)
	}
}

// sensorClock sets the clock of the pH probe beside the true time.
func (s *soak) sensorClock(off time.Duration) {
	s.farm.Wrap("leat/bench/tub/reading/ph", func(body []byte) []byte {
		return fmt.Appendf(nil, `{"value":%s,"at":%d}`, body, time.Now().Add(off).Unix())
	})
}

func (s *soak) wrongClock() {
	s.sensorClock([]time.Duration{-time.Hour, time.Hour}[s.random.IntN(2)])
	s.lasts(15)
	s.sensorClock(0)
}

// flood sends rubbish to every topic of the daemon, and wishes to those that take some.
func (s *soak) flood() {
	s.t.Helper()
	link := mqtt.New(mqtt.Options{URL: s.broker.URL(), ClientID: "flood", WriteTimeout: time.Minute})
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan struct{})
	go func() { _ = link.Run(ctx); close(ended) }()
	defer func() { stop(); <-ended }()
	apptest.Eventually(s.t, "the flood's link is open", link.Open)
	topics := topicsOf(apptest.Load(s.t, s.path))
	bodies := []string{"", "NaN", `{"value":1,"untill":"06:00"}`, strings.Repeat("[", 5000), strings.Repeat("x", payload.LargestPayload+1), "\xff\xfe\x00"}
	until := time.Now().Add(time.Duration(1+s.random.IntN(8)) * time.Second)
	for i := 0; time.Now().Before(until); i++ {
		topic, body := topics[i%len(topics)], bodies[i/len(topics)%len(bodies)]
		if strings.HasSuffix(topic, "/setpoint/ph/ask") && i%2 == 0 {
			body = fmt.Sprintf("%.2f", 5.70+float64(i%20)/100)
		}
		if err := link.Publish(topic, 0, false, []byte(body)); err != nil {
			apptest.Eventually(s.t, "the flood goes on", link.Open)
		}
		if i%200 == 199 {
			time.Sleep(100 * time.Millisecond) // two thousand a second
		}
	}
}

// topicsOf are the topics that the daemon listens to.
func topicsOf(file *config.File) (topics []string) {
	for i := range file.InputTopics {
		topics = append(topics, file.InputTopics[i].Topic)
	}
	for _, n := range file.Settings.Safety.Nodes {
		topics = append(topics, file.Topics.Node(n.Name))
	}
	for _, p := range file.Settings.Safety.Pumps {
		topics = append(topics, file.Topics.Report(p.Name))
	}
	return append(topics, file.Topics.Lease(), file.Topics.Owner(), file.Topics.AnalysisAsk(0),
		file.Topics.Ask(0, dosing.QuantityPH), file.Topics.Ask(0, dosing.QuantityEC))
}

// lives notes what the daemon holds at the end of a life that saw some acts.
func (s *soak) lives() {
	_, body := get(s.t, page(s.t, s.daemon)+"/metrics")
	for line := range strings.SplitSeq(body, "\n") {
		name, text, found := strings.Cut(line, " ")
		if !found || !slices.Contains([]string{"process_resident_memory_bytes", "go_goroutines", "process_open_fds"}, name) {
			continue
		}
		value, err := strconv.ParseFloat(text, 64)
		if err != nil {
			s.t.Fatal(err)
		}
		if s.began[name] == 0 {
			s.began[name] = value
		}
		s.most[name] = max(s.most[name], value)
	}
}

// judgeGrowth says how much the daemon held at its ends of life, and what lies on the disk.
func (s *soak) judgeGrowth() {
	size, files := int64(0), 0
	err := filepath.WalkDir(s.state(), func(_ string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		info, err := entry.Info()
		if err == nil {
			size, files = size+info.Size(), files+1
		}
		return err
	})
	if err != nil {
		s.t.Fatal(err)
	}
	rows := apptest.Record(s.t, s.state()).Rows
	s.t.Logf("memory %.1f MiB, at first %.1f; goroutines %.0f, %.0f; open files %.0f, %.0f; %d files of %d kB for %d rows",
		s.most["process_resident_memory_bytes"]/(1<<20), s.began["process_resident_memory_bytes"]/(1<<20), s.most["go_goroutines"], s.began["go_goroutines"],
		s.most["process_open_fds"], s.began["process_open_fds"], files, size/1024, rows)
	if more := s.most["process_resident_memory_bytes"] - s.began["process_resident_memory_bytes"]; more > 60<<20 {
		s.t.Errorf("%.0f MiB more than at the end of the first life", more/(1<<20))
	}
	if s.most["go_goroutines"] > 60 || s.most["process_open_fds"] > 60 || files > 8 {
		s.t.Error("goroutines, open files or files of the state have grown")
	}
	if size > 2<<20+4096*int64(rows) {
		s.t.Errorf("%d kB for %d rows", size/1024, rows)
	}
}
