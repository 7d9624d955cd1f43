package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"syscall"

	"go.uber.org/zap"
	"golang.org/x/term"

	"leat/controller/demo"
)

func demoCommand(flags *flag.FlagSet) task {
	var o demo.Options
	flags.StringVar(&o.Config, "config", "", "configuration `FILE` of the farm to simulate; default the embedded sample")
	flags.Float64Var(&o.Speed, "speed", 60, "simulated seconds per second, a wish; the report says what was reached")
	flags.DurationVar(&o.For, "for", 0, "end after this much wall time, such as 45s, and print the night report; default until Ctrl-C")
	flags.StringVar(&o.Listen, "listen", "", "`ADDRESS` of the page; default the configuration's, or a free port of loopback")
	flags.StringVar(&o.MQTT, "mqtt", "127.0.0.1:0", "`ADDRESS` of the embedded broker; default a free port of loopback")
	flags.StringVar(&o.State, "state", "", "empty `FOLDER` for record and picture; default a temporary one")
	flags.StringVar(&o.Fault, "fault", "", "`NAME` of a fault to show: circulation-off, probe-flat, acid-empty, node-reboot, broker-restart; list prints all")
	flags.Uint64Var(&o.Seed, "seed", 1, "of the night: the same seed and farm give the same plants, noise and floods")
	flags.StringVar(&o.Picture, "picture", "", "SVG `FILE` of the night; default in the state folder")
	log := flags.Bool("log", false, "print the daemon's log to stderr")
	farmOnly := flags.Bool("farm-only", false, "only the simulated farm, against the broker of -broker, in real time: a farm to try leat run on")
	var farm demo.FarmOptions
	flags.StringVar(&farm.Broker, "broker", "", "`URL` of a broker of yours for -farm-only, such as tcp://127.0.0.1:1883")
	flags.StringVar(&farm.User, "user", "", "name at that broker")
	flags.StringVar(&farm.PasswordFile, "password-file", "", "`FILE` with the password at that broker")
	return task{usage: demoUsage, values: map[string][]string{"fault": append(demo.Faults(), "list")}, do: func(stdout, stderr io.Writer) error {
		if o.Fault == "list" {
			_, err := fmt.Fprintln(stdout, strings.Join(demo.Faults(), "\n"))
			return err
		}
		if problem := demoProblem(&o, *farmOnly, setFlags(flags)); problem != "" {
			return wrongUse(problem)
		}
		o.Log = zap.NewNop()
		if *log {
			o.Log, _ = newLog("info", stderr)
		}
		if *farmOnly {
			ctx, stop := interrupted()
			defer stop()
			farm.Config, farm.Seed, farm.Out, farm.For, farm.Fault, farm.Log = o.Config, o.Seed, stdout, o.For, o.Fault, o.Log
			return demo.RunFarm(ctx, farm)
		}
		return playDemo(o, stdout)
	}}
}

func playDemo(o demo.Options, stdout io.Writer) error {
	if err := mayWrite(o.Picture); err != nil {
		return fmt.Errorf("picture of the night: %w", err)
	}
	ctx, stop := interrupted()
	defer stop()
	o.Out, o.Wide = stdout, columnsOf(stdout)
	report, err := demo.Run(ctx, o)
	if report != nil {
		fmt.Fprint(stdout, report.Text)
	}
	return err
}

// interrupted ends when a person or the system ends the program.
func interrupted() (context.Context, context.CancelFunc) {
	return signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
}

const demoUsage = `usage: leat demo [flags]

A night on this machine that touches no real pump: an embedded broker, a simulated farm and the daemon itself with its
page. It prints a page to open, a broker to listen to and, at the end, the report of the night.

  leat demo -speed 300 -for 45s                                  a night in less than a minute
  leat demo -fault list                                          every fault that it can show
  leat demo -broker tcp://127.0.0.1:1883 -farm-only              the farm alone, to try leat run on

`

// ofTheStage are flags that have no meaning for the farm alone, ofTheFarm those that
// have none without it.
var (
	ofTheStage = []string{"speed", "listen", "mqtt", "state", "picture"}
	ofTheFarm  = []string{"broker", "user", "password-file"}
)

// demoProblem says what is wrong with the flags; empty = nothing.
func demoProblem(o *demo.Options, farmOnly bool, given map[string]bool) string {
	switch {
	case !(o.Speed > 0) || o.Speed > 1e6:
		return "-speed is above 0 and at most 1000000"
	case o.For < 0:
		return "-for is not negative"
	case farmOnly && !given["broker"]:
		return "-farm-only wants the URL of a broker: -broker tcp://127.0.0.1:1883"
	}
	for _, name := range ofTheFarm {
		if !farmOnly && given[name] {
			return "-" + name + " goes with -farm-only"
		}
	}
	for _, name := range ofTheStage {
		if farmOnly && given[name] {
			return "-" + name + " does not go with -farm-only"
		}
	}
	if err := demo.CheckFault(o.Fault); err != nil {
		return err.Error()
	}
	return ""
}

// columnsOf tells how wide a terminal is now; nil where w is none.
func columnsOf(w io.Writer) func() int {
	if !isTerminal(w) {
		return nil
	}
	return func() int {
		wide, _, err := term.GetSize(int(w.(*os.File).Fd()))
		if err != nil {
			return 80
		}
		return wide
	}
}

// isTerminal says whether w can be redrawn.
func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}
