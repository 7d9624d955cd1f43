// Command leat keeps pH and EC of recirculated nutrient solution at setpoint. Each
// subcommand has a file here that reads flags and calls the room that does the work.
package main

import (
	"fmt"
	"io"
	"os"
)

// command is one subcommand. Its exit codes: 0 done, 1 failed with one line on
// stderr, 2 the flags or arguments were wrong.
type command struct {
	name, does string
	run        func(args []string, stdout, stderr io.Writer) int
}

func commands() []command {
	return []command{
		{"demo", "run broker, simulated farm and daemon on this machine", demoCommand},
		{"run", "run the daemon against a broker", runCommand},
		{"check", "read a configuration and say what the daemon would do", checkCommand},
		{"rehearse", "play seeded nights of a simulated farm and judge them", rehearseCommand},
		{"solution", "pH, EC and species of a solution", solutionCommand},
		{"blend", "recipe and water to mL of each stock; laboratory corrections; making stocks", blendCommand},
		{"ledger", "print, verify or export the record of doses, readings and changes", ledgerCommand},
		{"mode", "arm, observe, stop or clear a tank of the running daemon", modeCommand},
		{"user", "add, list or remove people of the page", userCommand},
		{"version", "print version, commit and Go version", versionCommand},
	}
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
	}
	for _, c := range commands() {
		if c.name == args[0] {
			return c.run(args[1:], stdout, stderr)
		}
	}
	names := ""
	for _, c := range commands() {
		names += " " + c.name
	}
	fmt.Fprintf(stderr, "leat: there is no command %q, but:%s; leat -h tells what they do\n", args[0], names)
	return 2
}

func usage(w io.Writer) {
	fmt.Fprint(w, `leat keeps pH and EC of recirculated nutrient solution at setpoint, and stops when it cannot know.

usage: leat COMMAND [flags]

`)
	for _, c := range commands() {
		fmt.Fprintf(w, "  %-9s %s\n", c.name, c.does)
	}
	fmt.Fprint(w, `
Start with: leat demo
leat COMMAND -h tells the flags of a command.
Acid, base and concentrates hurt people: a software stop is no emergency stop.
`)
}
