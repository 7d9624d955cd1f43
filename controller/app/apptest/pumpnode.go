package apptest

import (
	"bufio"
	"encoding/hex"
	"fmt"
	"io"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"
)

// StrictC are the flags under which the pump node compiles.
func StrictC() []string {
	return []string{"-std=c99", "-Wall", "-Wextra", "-Werror", "-pedantic", "-Wconversion", "-Wshadow"}
}

// BuildPumpNode compiles deploy/node with one of its shells, such as "shell_lines.c", into
// a folder and returns the program. The flags come last.
func BuildPumpNode(t testing.TB, folder, shell string, flags ...string) string {
	t.Helper()
	gcc := Program(t, "gcc", "gcc")
	_, here, _, _ := runtime.Caller(0)
	source := filepath.Join(filepath.Dir(here), "..", "..", "..", "deploy", "node")
	program := filepath.Join(folder, strings.TrimSuffix(shell, ".c"))
	args := append(StrictC(), "-O1", "-o", program)
	for _, name := range []string{shell, "leat_node.c", "leat_words.c"} {
		args = append(args, filepath.Join(source, name))
	}
	if out, err := exec.Command(gcc, append(args, flags...)...).CombinedOutput(); err != nil {
		t.Fatalf("gcc: %v\n%s", err, out)
	}
	return program
}

// PumpNode is the C node in a time that is told to it.
type PumpNode struct {
	t   testing.TB
	in  io.Writer
	out *bufio.Scanner
}

// Said is one thing that the node did: a report or a heartbeat with its body, a pump
// that was switched, or the supply that was cut.
type Said struct {
	What string // report, beat, pump, cut
	Pump int
	On   bool
	Body []byte
}

// StartPumpNode starts the program of shell_lines.c, with its outlet and pumps.
func StartPumpNode(t testing.TB, program, outlet string, pumps ...string) *PumpNode {
	t.Helper()
	command := exec.Command(program, append([]string{outlet}, pumps...)...)
	dieWithParent(command)
	in, err := command.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	out, err := command.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := command.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = in.Close()
		_ = command.Wait()
	})
	return &PumpNode{t: t, in: in, out: bufio.NewScanner(out)}
}

// Tell gives the node a command of shell_lines.c and returns what it did, and the time.
func (n *PumpNode) Tell(format string, args ...any) (said []Said, now int) {
	n.t.Helper()
	command := fmt.Sprintf(format, args...)
	if _, err := fmt.Fprintln(n.in, command); err != nil {
		n.t.Fatalf("%s: %v", command, err)
	}
	for n.out.Scan() {
		words := strings.Fields(n.out.Text() + " .")
		s := Said{What: words[0]}
		switch s.What {
		case "ok":
			now, _ = strconv.Atoi(words[1])
			return said, now
		case "pump":
			s.Pump, _ = strconv.Atoi(words[1])
			s.On = words[2] == "1"
		case "report":
			s.Pump, _ = strconv.Atoi(words[1])
			s.Body, _ = hex.DecodeString(words[2])
		case "beat":
			s.Body, _ = hex.DecodeString(words[1])
		}
		said = append(said, s)
	}
	n.t.Fatalf("the node ended at %q: %v", command, n.out.Err())
	return nil, 0
}
