package main

import (
	"flag"
	"io"
	"time"

	"leat/controller/desk"
)

const planUsage = `usage: leat plan dump -config FILE -tank NAME -litres L [-water W] [-analysis LIST] [-json]
       leat plan fill -config FILE -tank NAME [-water W]
       leat plan week -config FILE -tank NAME [-days N] [-begin DAY] [-from-ec V -to-ec V]

What dumping so many litres and filling up again does, and fill the same of the whole tank: which ions remain, pH and EC
after the refill, mL of each stock and acid that bring it to its recipe, in which order, how it is entered, the cautions.
It is a plan: a person carries it out, and nothing is dosed by it.

-water is source, the source water of the configuration, or a list such as "Ca=61 mg/L, HCO3=180 mg/L". What the tank
holds is taken from the daemon's account in the ledger, or from -analysis.

week shows the setpoints that the file's stages, nights and holidays give on the coming days, and what limits how fast
they may move. With -from-ec and -to-ec it plans an even ramp over the days instead, and writes the stages for the file.

`

func planCommand(flags *flag.FlagSet) task {
	d := desk.Dump{Numbers: map[string]*string{}}
	flags.StringVar(&d.Config, "config", "", "configuration `FILE`, whose tank has a recipe")
	flags.StringVar(&d.Tank, "tank", "", "`NAME` of the tank")
	flags.Float64Var(&d.Litres, "litres", 0, "so many `LITRES` are dumped")
	flags.StringVar(&d.Water, "water", "source", "the `WATER` that is filled in: source, or its analysis as a list or file")
	flags.StringVar(&d.Analysis, "analysis", "", "what the tank holds, as a `LIST` or file, with pH and EC")
	w := desk.Week{}
	flags.IntVar(&w.Days, "days", 7, "of week: so many `DAYS`")
	flags.StringVar(&w.Begin, "begin", "", "of week: the first `DAY`, such as 2031-03-04; default today")
	flags.Float64Var(&w.FromEC, "from-ec", 0, "of week: `EC` in mS/cm from which a ramp is planned")
	flags.Float64Var(&w.ToEC, "to-ec", 0, "of week: `EC` in mS/cm to which it leads")
	flags.BoolVar(&d.JSON, "json", false, "print the plan as JSON")
	for name, usage := range map[string]string{"ec": "`mS/cm` to come to; default the setpoint of the file", "ph": "`pH` to come to; default the setpoint of the file", "temp": "water temperature in `°C`; default 25"} {
		d.Numbers[name] = flags.String(name, "", usage)
	}
	return task{usage: planUsage, words: 1, verbs: []string{"dump", "fill", "week"}, do: func(stdout, _ io.Writer) error {
		switch verb := flags.Arg(0); {
		case verb != "dump" && verb != "fill" && verb != "week":
			return desk.Misuse("%q: want dump, fill or week", verb)
		case d.Config == "":
			return desk.Misuse("name the configuration with -config FILE")
		case verb == "week":
			w.Config, w.Tank, w.JSON, w.Now = d.Config, d.Tank, d.JSON, time.Now()
			return w.Run(stdout)
		case verb == "dump" && !(d.Litres > 0):
			return desk.Misuse("say with -litres how much is dumped; the whole tank is leat plan fill")
		case verb == "fill" && d.Litres != 0:
			return desk.Misuse("fill is of the whole tank; a part of it is leat plan dump -litres L")
		}
		return d.Run(stdout)
	}}
}
