package apptest

import (
	"fmt"
	"net"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// Real says that the Debian packages must be there, and that long tests run whole.
func Real() bool { return os.Getenv("LEAT_REAL") == "1" }

// Tool finds a program of the broker's Debian packages.
func Tool(t testing.TB, name string) string {
	t.Helper()
	return Program(t, name, "mosquitto mosquitto-clients")
}

// Program finds a program of a Debian package, which LEAT_REAL=1 makes mandatory.
func Program(t testing.TB, name, packages string) string {
	t.Helper()
	for _, candidate := range []string{name, "/usr/sbin/" + name} {
		if path, err := exec.LookPath(candidate); err == nil {
			return path
		}
	}
	if Real() {
		t.Fatalf("%s is not installed (Debian: apt install %s)", name, packages)
	}
	t.Skipf("%s is not installed; this test needs it (Debian: apt install %s)", name, packages)
	return ""
}

// Eventually waits for a condition and fails the test after three minutes: what a quiet
// machine does in one second takes a busy one half a minute.
func Eventually(t testing.TB, what string, holds func() bool) {
	t.Helper()
	for end := time.Now().Add(3 * time.Minute); !holds(); time.Sleep(5 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("did not happen within three minutes: %s", what)
		}
	}
}

// Broker is Debian's mosquitto as a process.
type Broker struct {
	t       testing.TB
	path    string
	config  string
	Port    string
	Address string
	process *exec.Cmd
}

// NewBroker starts mosquitto on a free port of loopback, with these lines of
// configuration; with none, anyone may do anything.
func NewBroker(t testing.TB, settings ...string) *Broker {
	t.Helper()
	b := &Broker{t: t, path: Tool(t, "mosquitto"), Port: Port(t)}
	b.Address = net.JoinHostPort("127.0.0.1", b.Port)
	me, err := user.Current()
	if err != nil {
		t.Fatal(err)
	}
	if len(settings) == 0 {
		settings = []string{"allow_anonymous true"}
	}
	lines := append([]string{"listener " + b.Port + " 127.0.0.1", "user " + me.Username, "persistence false"}, settings...)
	b.config = filepath.Join(t.TempDir(), "mosquitto.conf")
	if err := os.WriteFile(b.config, []byte(strings.Join(lines, "\n")+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	b.Start()
	t.Cleanup(b.Kill)
	return b
}

// URL is the broker's address for a client.
func (b *Broker) URL() string { return "mqtt://" + b.Address }

// Start starts it, or starts it again.
func (b *Broker) Start() {
	b.t.Helper()
	b.process = exec.Command(b.path, "-c", b.config)
	dieWithParent(b.process)
	if err := b.process.Start(); err != nil {
		b.t.Fatal(err)
	}
	Eventually(b.t, "mosquitto listens", func() bool {
		conn, err := net.Dial("tcp", b.Address)
		if err == nil {
			_ = conn.Close()
		}
		return err == nil
	})
}

// Kill ends it as a power cut does.
func (b *Broker) Kill() {
	if b.process != nil {
		_ = b.process.Process.Kill()
		_ = b.process.Wait() // says that it was killed
		b.process = nil
	}
}

// Pub publishes with mosquitto_pub.
func (b *Broker) Pub(args ...string) {
	b.t.Helper()
	args = append([]string{"-h", "127.0.0.1", "-p", b.Port, "-q", "1"}, args...)
	if out, err := exec.Command(Tool(b.t, "mosquitto_pub"), args...).CombinedOutput(); err != nil {
		b.t.Fatalf("mosquitto_pub: %v: %s", err, out)
	}
}

// PubBody publishes a body of any size and content with mosquitto_pub.
func (b *Broker) PubBody(topic string, body []byte) {
	b.t.Helper()
	path := filepath.Join(b.t.TempDir(), "body")
	if err := os.WriteFile(path, body, 0o600); err != nil {
		b.t.Fatal(err)
	}
	b.Pub("-t", topic, "-f", path)
}

// Ask publishes a wish and returns the answer that mosquitto_sub prints.
func (b *Broker) Ask(topic, body string) string {
	b.t.Helper()
	sub := exec.Command(Tool(b.t, "mosquitto_sub"), "-h", "127.0.0.1", "-p", b.Port, "-q", "1", "-t", topic+"/answer", "-t", "ready", "-W", "30")
	dieWithParent(sub)
	var out safeBuffer
	sub.Stdout, sub.Stderr = &out, &out
	if err := sub.Start(); err != nil {
		b.t.Fatal(err)
	}
	defer func() {
		_ = sub.Process.Kill()
		_ = sub.Wait()
	}()
	// Until the subscription stands an answer would be lost.
	Eventually(b.t, "mosquitto_sub listens", func() bool {
		b.Pub("-t", "ready", "-m", "ready")
		return strings.Contains(out.String(), "ready")
	})
	b.Pub("-t", topic+"/ask", "-m", body)
	answer := ""
	Eventually(b.t, fmt.Sprintf("an answer to %q on %s", body, topic), func() bool {
		for line := range strings.SplitSeq(out.String(), "\n") {
			if strings.HasPrefix(line, "{") {
				answer = line
			}
		}
		return answer != ""
	})
	return answer
}

// Retained returns the stored body of a topic, or nothing.
func (b *Broker) Retained(topic string) string {
	b.t.Helper()
	out, _ := exec.Command(Tool(b.t, "mosquitto_sub"), "-h", "127.0.0.1", "-p", b.Port, "-t", topic, "-C", "1", "-W", "1", "--retained-only").Output()
	return strings.TrimSpace(string(out))
}
