package apptest

import (
	"encoding/json"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"
)

// safeBuffer is text that one goroutine writes and another reads.
type safeBuffer struct {
	mu   sync.Mutex
	text strings.Builder
}

func (b *safeBuffer) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.text.Write(p)
}

func (b *safeBuffer) String() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.text.String()
}

// Process is this test binary run once more, as whatever its TestMain makes of the
// environment.
type Process struct {
	t       testing.TB
	command *exec.Cmd
	out     safeBuffer
	err     safeBuffer
	Started time.Time
	ended   chan struct{}
}

// Start runs this test binary again with these arguments and additions to the
// environment. It is killed when the test ends.
func Start(t testing.TB, environment []string, args ...string) *Process {
	t.Helper()
	return StartWith(t, environment, nil, args...)
}

// StartWith is Start with a last change to the command.
func StartWith(t testing.TB, environment []string, change func(*exec.Cmd), args ...string) *Process {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	p := &Process{t: t, command: exec.Command(self, args...), Started: time.Now(), ended: make(chan struct{})}
	p.command.Env = append(os.Environ(), environment...)
	p.command.Stdout, p.command.Stderr = &p.out, &p.err
	dieWithParent(p.command)
	if change != nil {
		change(p.command)
	}
	if err := p.command.Start(); err != nil {
		t.Fatal(err)
	}
	go func() {
		_ = p.command.Wait() // the exit code is read from the state
		close(p.ended)
	}()
	t.Cleanup(func() {
		p.Kill()
		if t.Failed() {
			t.Logf("%v said:\n%s%s", p.command.Args[1:], p.out.String(), p.Log())
		}
	})
	return p
}

// Log is what it wrote to stderr so far.
func (p *Process) Log() string { return p.err.String() }

// Stdout is what it wrote to stdout so far.
func (p *Process) Stdout() string { return p.out.String() }

// Pid is its process number.
func (p *Process) Pid() int { return p.command.Process.Pid }

// Ended says whether it has ended.
func (p *Process) Ended() bool {
	select {
	case <-p.ended:
		return true
	default:
		return false
	}
}

// Await waits until its log holds all of these words in one line, and returns the
// line.
func (p *Process) Await(words ...string) string {
	p.t.Helper()
	return p.AwaitAfter(0, words...)
}

// AwaitAfter is Await for what is written after the first so many bytes.
func (p *Process) AwaitAfter(skip int, words ...string) string {
	p.t.Helper()
	found := ""
	Eventually(p.t, "a line of the daemon's log with "+strings.Join(words, ", "), func() bool {
		found = p.line(skip, words)
		return found != "" || p.Ended()
	})
	if found == "" {
		if found = p.line(skip, words); found == "" {
			p.t.Fatalf("the process ended without a line with %q", words)
		}
	}
	return found
}

func (p *Process) line(skip int, words []string) string {
	for line := range strings.SplitSeq(p.Log()[skip:], "\n") {
		all := true
		for _, word := range words {
			all = all && strings.Contains(line, word)
		}
		if all {
			return line
		}
	}
	return ""
}

// Field is a text field of a line of the log.
func Field(t testing.TB, line, name string) string {
	t.Helper()
	var fields map[string]any
	if err := json.Unmarshal([]byte(line), &fields); err != nil {
		t.Fatalf("line %q: %v", line, err)
	}
	value, _ := fields[name].(string)
	return value
}

// Signal sends a signal.
func (p *Process) Signal(s os.Signal) {
	p.t.Helper()
	if err := p.command.Process.Signal(s); err != nil {
		p.t.Fatal(err)
	}
}

// Kill ends it without a word.
func (p *Process) Kill() {
	_ = p.command.Process.Kill() // it may have ended
	<-p.ended
}

// Wait waits for its end and returns the exit code; -1 = killed by a signal.
func (p *Process) Wait() int {
	p.t.Helper()
	Eventually(p.t, "the process ends", p.Ended)
	return p.command.ProcessState.ExitCode()
}
