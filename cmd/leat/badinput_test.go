package main

import (
	"fmt"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"leat/controller/app/apptest"
)

func TestRunRefusesABadFileInOneMessageAndWritesNothing(t *testing.T) {
	for _, name := range []string{"unknown_key", "missing_unit", "nan", "negative_cap", "duplicate_pump", "two_pumps_on_one_order_topic",
		"two_pumps_on_one_channel", "cap_above_the_safe_size", "many_at_once"} {
		text, err := os.ReadFile("../../testdata/config/bad/" + name + ".toml")
		if err != nil {
			t.Fatal(err)
		}
		// What each file is refused with stands beside it, fault by fault.
		golden, err := os.ReadFile("../../testdata/config/bad/" + name + ".txt")
		if err != nil {
			t.Fatal(err)
		}
		folder := t.TempDir()
		path := filepath.Join(folder, name+".toml")
		if err := os.WriteFile(path, text, 0o600); err != nil {
			t.Fatal(err)
		}
		var out, errs strings.Builder
		code := dispatch([]string{"run", "-config", path}, &out, &errs)
		want := "leat run: " + strings.ReplaceAll(strings.TrimSpace(string(golden)), name+".toml:", path+":")
		if code != 1 || out.Len() > 0 || strings.TrimSpace(errs.String()) != want {
			t.Errorf("%s: exit code %d, stdout %q, stderr\n%s\nwant\n%s", name, code, out.String(), errs.String(), want)
		}
		if left, err := os.ReadDir(folder); err != nil || len(left) != 1 {
			t.Errorf("%s: the refused start left %v in its folder, %v", name, left, err)
		}
	}
}

func TestPagePortInUseIsSaidInOneLine(t *testing.T) {
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	path := apptest.Config(t, "mqtt://127.0.0.1:1", `listen = "127.0.0.1:0"`, `listen = "`+taken.Addr().String()+`"`)
	refusedInOneLine(t, leat(t, "run", "-config", path), taken.Addr().String(), "in use")
}

func TestSecondDaemonOnTheSameStateFolderIsRefused(t *testing.T) {
	path := apptest.Config(t, "mqtt://127.0.0.1:1")
	first := running(t, path)
	refusedInOneLine(t, leat(t, "run", "-config", path), "another leat runs on this state folder", fmt.Sprintf("pid %d", first.Pid()))
	stopsCleanly(t, first)
	// The folder is free again.
	stopsCleanly(t, running(t, path))
}

// refusedInOneLine checks that a start ended with exit code 1 and one line that
// holds these words, beside the warnings of the configuration.
func refusedInOneLine(t *testing.T, p *apptest.Process, words ...string) {
	t.Helper()
	if code := p.Wait(); code != 1 {
		t.Errorf("exit code %d, want 1", code)
	}
	var lines []string
	for line := range strings.SplitSeq(strings.TrimSpace(p.Log()), "\n") {
		if !strings.HasPrefix(line, "{") {
			lines = append(lines, line)
		}
	}
	if len(lines) != 1 || !strings.HasPrefix(lines[0], "leat run: ") {
		t.Fatalf("want one line of leat run, got %q", lines)
	}
	for _, word := range words {
		if !strings.Contains(lines[0], word) {
			t.Errorf("%q does not say %q", lines[0], word)
		}
	}
}

// refusals is how many messages the daemon counts as refused.
func refusals(t *testing.T, address string) int {
	t.Helper()
	code, body := get(t, address+"/metrics")
	if code != http.StatusOK {
		t.Fatalf("/metrics: %d", code)
	}
	for line := range strings.SplitSeq(body, "\n") {
		if rest, ok := strings.CutPrefix(line, `leat_messages_total{kind="refused",station="bench"} `); ok {
			n, err := strconv.ParseFloat(rest, 64)
			if err != nil {
				t.Fatal(err)
			}
			return int(n)
		}
	}
	t.Fatal("/metrics has no count of refused messages")
	return 0
}

func TestBadPayloadsAreRefusedCountedAndNeverDosedOn(t *testing.T) {
	t.Parallel()
	broker := apptest.NewBroker(t)
	const topic = "leat/bench/tub/reading/ph"
	path := apptest.Config(t, broker.URL(), "[tank.input.ph]", "[tank.input.ph]\nformat = \"json\"\npointer = \"/value\"\ntime = \"/at\"",
		"[tank.input.ec]", "[tank.input.ec]\nformat = \"senml\"")
	farm := apptest.NewFarm(t, apptest.Load(t, path))
	farm.Wrap(topic, func(body []byte) []byte {
		return fmt.Appendf(nil, `{"value":%s,"at":%d}`, body, time.Now().Unix())
	})
	farm.Wrap("leat/bench/tub/reading/ec", func(body []byte) []byte {
		return fmt.Appendf(nil, `[{"n":"ec","u":"S/m","v":%se-1}]`, body)
	})
	daemon := running(t, path)
	arm(t, path)
	doses(t, farm, 1)
	address := page(t, daemon)

	farm.Mute(topic, true)
	farm.Mute("leat/bench/tub/reading/ec", true)
	held := func() bool {
		state := broker.Retained("leat/bench/tub/state")
		return strings.Contains(state, `"ph-`) && strings.Contains(state, `"ec-`)
	}
	apptest.Eventually(t, "without readings pH and EC are held", held)
	starts := farm.Starts()
	future := time.Now().Add(time.Hour).Unix()
	for _, bad := range []struct {
		what, topic string
		body        []byte
	}{
		{"null", topic, []byte("null")},
		{"NaN", topic, []byte(`{"value":NaN,"at":0}`)},
		{"a word in place of the number", topic, []byte(`{"value":"NaN","at":1}`)},
		{"null in place of the number", topic, []byte(`{"value":null}`)},
		{"deep JSON", topic, []byte(strings.Repeat(`{"value":`, 5000) + "5.8" + strings.Repeat("}", 5000))},
		{"deep JSON without an end", topic, []byte(strings.Repeat("[", 60000))},
		{"a time one hour ahead", topic, fmt.Appendf(nil, `{"value":6.1,"at":%d}`, future)},
		{"pH 61", topic, fmt.Appendf(nil, `{"value":61,"at":%d}`, time.Now().Unix())},
		{"degrees in place of mS/cm", "leat/bench/tub/reading/ec", []byte(`[{"n":"ec","u":"Cel","v":1.2}]`)},
		{"two records, of which one must be named", "leat/bench/tub/reading/ec", []byte(`[{"n":"ec","u":"S/m","v":0.12},{"n":"other","u":"S/m","v":0.2}]`)},
		{"10 MB", topic, []byte(`{"value":` + strings.Repeat("1", 10<<20) + `}`)},
		{"10 MB to a report", "leat/bench/report/acid", make([]byte, 10<<20)},
		{"a broken report", "leat/bench/report/acid", []byte(`{"order":"1-000001","phase":"finished"}`)},
		{"a broken heartbeat", "leat/bench/node/pumps", []byte(`{"boot":7}`)},
		{"a broken lease", "leat/bench/lease", []byte(`{"epoch":-1,"beat":1}`)},
	} {
		before := refusals(t, address)
		broker.PubBody(bad.topic, bad.body)
		apptest.Eventually(t, bad.what+" is refused and counted", func() bool { return refusals(t, address) > before })
	}
	// An empty payload of mosquitto_pub is -n.
	before := refusals(t, address)
	broker.Pub("-t", topic, "-n")
	apptest.Eventually(t, "an empty payload is refused and counted", func() bool { return refusals(t, address) > before })
	if !held() {
		t.Error("a bad payload made pH or EC fit again")
	}
	if n := farm.Starts() - starts; n != 0 {
		t.Errorf("%d doses began on bad payloads", n)
	}
	daemon.Await(`"payload refused"`, `"tub/ph"`)
	daemon.Await(`"payload refused"`, `"tub/ec"`)
	daemon.Await(`"payload refused"`, "larger than")

	farm.Mute(topic, false)
	farm.Mute("leat/bench/tub/reading/ec", false)
	doses(t, farm, 1)
	stopsCleanly(t, daemon)
	apptest.Covers(t, apptest.Record(t, apptest.State(path)), farm)
}

func TestMetricsTellTheVersionThatTheBuildWasGiven(t *testing.T) {
	path := apptest.Config(t, "mqtt://127.0.0.1:1")
	daemon := leatWith(t, []string{asVersion + "=9.8.7"}, nil, "run", "-config", path)
	if _, body := get(t, page(t, daemon)+"/metrics"); !strings.Contains(body, `version="9.8.7"`) {
		t.Error("leat_build_info does not hold 9.8.7")
	}
	stopsCleanly(t, daemon)
}
