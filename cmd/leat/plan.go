package main

import (
	"flag"
	"io"
	"slices"
	"strconv"
	"time"

	"leat/controller/desk"
)

const planUsage = `usage: leat plan dump -config FILE -tank NAME -litres L [-water W] [-analysis LIST] [-json]
       leat plan fill -config FILE -tank NAME [-water W]
       leat plan dilute -config FILE -tank NAME -from-ec V [-to-ec V]
       leat plan week -config FILE -tank NAME [-days N] [-begin DAY] [-from-ec V -to-ec V]
       leat plan stage -config FILE -tank NAME -name STAGE [-begin DAY] [-ph V] [-ec V] [-over TIME]
       leat plan holiday -config FILE -tank NAME -name HOLIDAY -begin DAY -days N [-ph V] [-ec V]
       leat plan crops -crop RECIPE:SHARE -crop RECIPE:SHARE [-json]

What dumping so many litres and filling up again does, and fill the same of the whole tank: which ions remain, pH and EC
after the refill, mL of each stock and acid that bring it to its recipe, in which order, how it is entered, the cautions.
It is a plan: a person carries it out, and nothing is dosed by it.

-water is source, the source water of the configuration, or a list such as "Ca=61 mg/L, HCO3=180 mg/L". What the tank
holds is taken from the daemon's account in the ledger, or from -analysis.

dilute says how much source water lowers EC from -from-ec to -to-ec (default the setpoint of the file), added or in place of
what is dumped. Where leat commands the valve it dilutes by itself as far as the working level leaves room.

week shows the setpoints that the file's stages, nights and holidays give on the coming days, and what limits how fast
they may move. With -from-ec and -to-ec it plans an even ramp over the days instead, and writes the stages for the file.

stage writes the next stage of the crop for the file, and holiday a time with setpoints of its own, which a person ends with
leat act end-holiday; both show the setpoints of the days from then on. Without -ph and -ec a holiday keeps those of its stage.

crops makes one recipe of those of several crops on a tank, by their share of the plants, and says what each of them misses.

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
	var name string
	var over time.Duration
	flags.StringVar(&name, "name", "", "of stage and holiday: what it is called, as `NAME`")
	flags.DurationVar(&over, "over", 0, "of stage: the `TIME` in which its setpoints are come to, such as 72h; default at once")
	var crops desk.Crops
	flags.Func("crop", "of crops: a `RECIPE` by its name, a file or a list, and its share of the plants: lettuce:60; repeatable", crops.Add)
	flags.BoolVar(&d.JSON, "json", false, "print the plan as JSON")
	for name, usage := range map[string]string{"ec": "`mS/cm` to come to; default the setpoint of the file, of a stage or holiday that before it", "ph": "`pH` to come to; default the setpoint of the file, of a stage or holiday that before it", "temp": "water temperature in `°C`; default 25"} {
		d.Numbers[name] = flags.String(name, "", usage)
	}
	return task{usage: planUsage, words: 1, verbs: []string{"dump", "fill", "dilute", "week", "stage", "holiday", "crops"}, do: func(stdout, _ io.Writer) error {
		switch verb := flags.Arg(0); {
		case verb == "crops":
			crops.JSON = d.JSON
			return crops.Run(stdout)
		case !slices.Contains([]string{"dump", "fill", "dilute", "week", "stage", "holiday"}, verb):
			return desk.Misuse("%q: want dump, fill, dilute, week, stage, holiday or crops", verb)
		case d.Config == "":
			return desk.Misuse("name the configuration with -config FILE")
		case verb == "dilute":
			return (&desk.Dilution{Config: d.Config, Tank: d.Tank, From: w.FromEC, To: w.ToEC, JSON: d.JSON}).Run(stdout)
		case verb == "week":
			w.Config, w.Tank, w.JSON, w.Now = d.Config, d.Tank, d.JSON, time.Now()
			return w.Run(stdout)
		case verb == "stage" || verb == "holiday":
			w.Config, w.Tank, w.JSON, w.Now = d.Config, d.Tank, d.JSON, time.Now()
			s := desk.Scheduling{Week: w, Holiday: verb == "holiday", Name: name, Over: over}
			for _, n := range []struct {
				flag string
				to   *float64
			}{{"ph", &s.PH}, {"ec", &s.EC}} {
				if text := *d.Numbers[n.flag]; text != "" {
					v, err := strconv.ParseFloat(text, 64)
					if err != nil || !(v > 0 && v < 100) {
						return desk.Misuse("-%s %.40q: want a number", n.flag, text)
					}
					*n.to = v
				}
			}
			return s.Run(stdout)
		case verb == "dump" && !(d.Litres > 0):
			return desk.Misuse("say with -litres how much is dumped; the whole tank is leat plan fill")
		case verb == "fill" && d.Litres != 0:
			return desk.Misuse("fill is of the whole tank; a part of it is leat plan dump -litres L")
		}
		return d.Run(stdout)
	}}
}
