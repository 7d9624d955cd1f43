package main

import (
	"flag"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
)

// command is one subcommand. Its exit codes: 0 done, 1 failed with one line on
// stderr, 2 the flags or arguments were wrong.
type command struct {
	name    string // as it is typed, such as "blend lab"
	does    string
	declare func(flags *flag.FlagSet) task
}

// task is what a command does, told when its flags are declared.
type task struct {
	usage  string              // of its help, above the flags
	words  int                 // how many it takes beside its flags, at most; anyNumber
	verbs  []string            // what the first of them may be
	values map[string][]string // what flags may be, of those that take one of a few names
	do     func(stdout, stderr io.Writer) error
}

const anyNumber = -1

// commands are in the order of the help. What begins like another command is told by the
// help of that one.
func commands() []command {
	return []command{
		{"demo", "run broker, simulated farm and daemon on this machine", demoCommand},
		{"run", "run the daemon against a broker", runCommand},
		{"check", "read a configuration and say what the daemon would do", checkCommand},
		{"rehearse", "play seeded nights of a simulated farm and judge them", rehearseCommand},
		{"solution", "pH, EC and species of a solution", solutionCommand},
		{"blend", "recipe and water to mL of each stock; laboratory corrections; making stocks", blendCommand},
		{"blend lab", "an analysis of the tank: what to add, what to dump, what to change", blendLabCommand},
		{"blend make", "how the stocks are made", blendMakeCommand},
		{"blend list", "recipes, salts, acids and bases that are known by name", blendListCommand},
		{"ledger", "print, verify or export the record of doses, readings and changes", ledgerCommand},
		{"report", "what was dosed and why not: the night, the week, the month", reportCommand},
		{"mode", "arm, observe, stop or clear a tank of the running daemon", modeCommand},
		{"act", "enter a setpoint, a refill, what was added by hand and what else the page takes", actCommand},
		{"plan", "what a dump, a refill or a fill does to a tank, and what to add", planCommand},
		{"calibrate", "calibrate a probe of the running daemon, step by step", calibrateCommand},
		{"prove", "try on a pump node, with water, every rule that a dose rests on", proveCommand},
		{"calibrate-pump", "measure or replace a pump of the running daemon, step by step", calibratePumpCommand},
		{"acl", "the rights of every user of the broker, from the configuration", aclCommand},
		{"doctor", "look at broker, nodes, ledger, disk, certificates and clock; send a test notification", doctorCommand},
		{"user", "add, list or remove people of the page", userCommand},
		{"completion", "a script for bash, zsh or fish, or the page for man", completionCommand},
		{"version", "print version, commit and Go version", versionCommand},
	}
}

// called finds the command that the words begin with, and what stands behind its name.
func called(words []string) (found command, rest []string, ok bool) {
	for _, c := range commands() {
		name := strings.Fields(c.name)
		if len(words) >= len(name) && slices.Equal(words[:len(name)], name) {
			found, rest, ok = c, words[len(name):], true // the longer name stands later
		}
	}
	return found, rest, ok
}

// flags are a command's, with its task.
func (c command) flags() (*flag.FlagSet, task) {
	flags := flag.NewFlagSet("leat "+c.name, flag.ContinueOnError)
	t := c.declare(flags)
	if t.usage == "" {
		t.usage = fmt.Sprintf("usage: leat %s [flags]\n", c.name)
	}
	flags.Usage = func() {
		fmt.Fprint(flags.Output(), t.usage)
		flags.PrintDefaults()
	}
	return flags, t
}

func (c command) run(args []string, stdout, stderr io.Writer) int {
	flags, t := c.flags()
	if code, done := parseFlags(flags, args, stdout, stderr, t.words); done {
		return code
	}
	return exit(flags.Name(), t.do(stdout, stderr), stderr)
}

func main() { os.Exit(dispatch(os.Args[1:], os.Stdout, os.Stderr)) }

func dispatch(args []string, stdout, stderr io.Writer) int {
	if len(args) == 0 {
		usage(stderr)
		return 2
	}
	switch args[0] {
	case "-h", "-help", "--help", "help":
		usage(stdout)
		return 0
	case completeWord:
		printCandidates(args[1:], stdout)
		return 0
	}
	if c, rest, ok := called(args); ok {
		return c.run(rest, stdout, stderr)
	}
	fmt.Fprintf(stderr, "leat: there is no command %q, but: %s; leat -h tells what they do\n", args[0], strings.Join(firstWords(), " "))
	return 2
}

// firstWords are the names of commands that are one word.
func firstWords() (names []string) {
	for _, c := range commands() {
		if !strings.Contains(c.name, " ") {
			names = append(names, c.name)
		}
	}
	return names
}

func usage(w io.Writer) {
	fmt.Fprint(w, `leat keeps pH and EC of recirculated nutrient solution at setpoint, and stops when it cannot know.

usage: leat COMMAND [flags]

`)
	for _, c := range commands() {
		if !strings.Contains(c.name, " ") {
			fmt.Fprintf(w, "  %-14s %s\n", c.name, c.does)
		}
	}
	fmt.Fprint(w, `
Start with: leat demo
leat COMMAND -h tells the flags of a command.
Acid, base and concentrates hurt people: a software stop is no emergency stop.
`)
}
