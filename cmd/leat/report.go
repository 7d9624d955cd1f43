package main

import (
	"flag"
	"io"

	"leat/controller/desk"
)

const reportUsage = `usage: leat report -state DIR [night|week|month] [flags]
       leat report -config FILE [night|week|month] [flags]
       leat report -config FILE stocks|probes|pumps|shopping|water|drift|uptake|letter [-json] [-weeks N]
       leat report -config FILE -html FILE drift|uptake|letter
       leat report -config FILE -export FILE.sqlite [night|week|month]

What was dosed and why something was withheld, who changed what, water and nutrients. The folder may belong to a
running daemon, and nothing in it is changed.

  night     18:00 to 08:00: the one that ended last, or from 01:00 on the one under way; the default
  week      the seven days up to the end of the record
  month     the month up to the end of the record
  stocks    what the containers hold by the refills that were entered, and how many days it lasts; before the first day
            with doses by what a usual crop takes of such tanks
  shopping  kg of each salt and litres of acid and base to buy for the coming weeks, likewise from the first day on
  pumps     what each pump gave when it was measured, and how long its tube ran
  water     each day of two weeks: litres topped up, used by plants and air, dumped; what looks like a leak
  drift     why pH climbs or falls: plants, carbonate and CO2, top-up and probe, each with its uncertainty, and what
            more ammonium would do; of a week at most
  uptake    of four weeks: what the plants took of each nutrient, by plant area, and litres that need not be dumped
  letter    of two weeks in which leat only observed: what it would have given beside what was entered and what was
            seen, day by day, and how the water answered
  probes    how the pH and EC probes were calibrated, by whom, and which is due; a hand meter held beside them (leat act
            meter), the differences and their trend

-export writes doses, readings, changes and events into one SQLite file, with a table dictionary that tells each
column's unit and meaning: the whole record, or the time asked for. As CSV: leat ledger export.

-from and -to take 2031-03-04, 2031-03-04T19:00, RFC 3339, or an age such as 36h, which counts from the end of the
record. Times without a zone are the farm's.

`

func reportCommand(flags *flag.FlagSet) task {
	var f desk.Report
	flags.StringVar(&f.State, "state", "", "state `FOLDER` of the daemon")
	flags.StringVar(&f.Config, "config", "", "configuration `FILE` of the daemon, to find its state folder")
	flags.StringVar(&f.From, "from", "", "begin at this `TIME`")
	flags.StringVar(&f.To, "to", "", "end before this `TIME`")
	flags.StringVar(&f.HTML, "html", "", "write the report with pictures into this `FILE`, for a browser")
	flags.StringVar(&f.Export, "export", "", "write the data of the time into this new SQLite `FILE`, for other programs")
	flags.IntVar(&f.Weeks, "weeks", 4, "of shopping: for so many `WEEKS`")
	flags.BoolVar(&f.JSON, "json", false, "print the report as JSON")
	return task{usage: reportUsage, words: 1, verbs: desk.ReportWords(), do: func(stdout, _ io.Writer) error {
		return f.Run(flags.Arg(0), stdout)
	}}
}
