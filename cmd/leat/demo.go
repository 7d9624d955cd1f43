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

	"leat/controller/demo"
	"leat/controller/desk"
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
		if problem := desk.DemoProblem(&o, *farmOnly, setFlags(flags)); problem != "" {
			return desk.WrongUse(problem)
		}
		o.Log = zap.NewNop()
		if *log {
			o.Log, _ = newLog("info", stderr)
		}
		ctx, stop := interrupted()
		defer stop()
		if *farmOnly {
			farm.Config, farm.Seed, farm.Out, farm.For, farm.Fault, farm.Log = o.Config, o.Seed, stdout, o.For, o.Fault, o.Log
			return demo.RunFarm(ctx, farm)
		}
		return desk.PlayDemo(ctx, o, stdout)
	}}
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
