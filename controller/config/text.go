package config

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"time"
)

// Write prints the report for a grower: faults first, then what would happen.
func (r *Report) Write(w io.Writer) error {
	p := &printer{w: w}
	if len(r.Faults) > 0 {
		p.line("%s: refused, %s. Nothing is dosed with this file.", r.File, count(len(r.Faults), "fault"))
		p.line("")
		for _, f := range r.Faults {
			p.line("  %s", f)
		}
		p.line("")
	}
	if len(r.Tanks) == 0 {
		return p.err
	}
	p.line("Station %q, configuration %s, %s, %s on topics", r.Station, r.Version, count(len(r.Pumps), "pump"), count(r.Inputs, "input"))
	p.line("  broker %s   page %s   ledger and history in %s", r.BrokerURL, orElse(r.Page, "off"), r.State)
	for i := range r.Tanks {
		p.tank(&r.Tanks[i])
	}
	p.pumps(r.Pumps)
	p.limits(r.Pumps)
	p.largest(r.Pumps)
	p.effects(r.Pumps)
	p.list("Not fitted (never trips; leak and stop halve the hourly and daily caps)", waivedLines(r.Waived))
	p.list("Warnings", r.Warnings)
	p.list("Before the first drop", r.Cautions)
	if r.OK {
		p.line("")
		p.line("No fault found. A fresh start only observes; a person arms each tank once pumps, probes and nodes are proved (deploy/node.md).")
	}
	return p.err
}

type printer struct {
	w   io.Writer
	err error
}

func (p *printer) line(format string, args ...any) {
	if p.err == nil {
		_, p.err = fmt.Fprintf(p.w, format+"\n", args...)
	}
}

func (p *printer) table(rows [][]string) {
	t := tabwriter.NewWriter(p.w, 0, 0, 2, ' ', 0)
	for _, row := range rows {
		// No cell after the last, so that no line ends in spaces.
		if _, err := fmt.Fprintln(t, "  "+strings.Join(row, "\t")); err != nil && p.err == nil {
			p.err = err
		}
	}
	if err := t.Flush(); err != nil && p.err == nil {
		p.err = err
	}
}

func (p *printer) list(title string, lines []string) {
	if len(lines) == 0 {
		return
	}
	p.line("")
	p.line("%s:", title)
	for _, l := range lines {
		p.line("  - %s", l)
	}
}

func (p *printer) tank(t *TankReport) {
	p.line("")
	p.line("Tank %q: %s L, doses down to %s L, mixing time %v", t.Name, figure(t.Volume), figure(t.MinVolume), duration(t.Mixing))
	p.line("  setpoints pH %s and EC %s mS/cm; buffer capacity %s meq/L per pH (P %s, carbonate %s, ammonium %s mmol/L)",
		figure(t.PH), figure(t.EC), figure(t.Buffer), figure(t.Phosphate), figure(t.Carbonate), figure(t.Ammonium))
	if t.BlendGain > 0 {
		p.line("  1 mL of the blend in 1 L adds %s mS/cm; the tank needs %s mL of it for 0.10 mS/cm", figure(t.BlendGain), figure(0.1*t.Volume/t.BlendGain))
	}
	p.waters(t.Waters)
	p.gas(t.Gas)
	for _, z := range t.Zones {
		p.line("  leat runs %s%s: %s; its node takes that from %s", z.Name, z.From, z.Words, z.Topic)
	}
	p.uv(t.UV)
	rows := [][]string{{"largest rate under the caps", "for hours", "worst demand", "ratio", "limited by"}}
	for _, s := range t.Sustainable {
		verdict := ""
		if !(s.Ratio >= enoughRatio) {
			verdict = "  TOO LITTLE"
		}
		rows = append(rows, []string{s.Reagent, figure(s.PerHour) + " " + s.Unit, figure(s.Worst), figure(s.Ratio) + verdict, s.LimitedBy})
	}
	if len(rows) > 1 {
		p.table(rows)
	}
	if t.Recipe != nil {
		p.recipe(t.Recipe)
	}
}

func (p *printer) pumps(pumps []PumpReport) {
	p.line("")
	p.line("Pumps: what they draw and what 1 mL does in 1 L of tank water")
	rows := [][]string{{"pump", "liquid", "compatibility", "share", "acid meq/L", "EC mS/cm", "mL/min"}}
	for i := range pumps {
		x := &pumps[i]
		share := "-"
		if x.Share > 0 {
			share = figure(x.Share*100) + " %"
		}
		rows = append(rows, []string{x.Name, shorten(x.Reagent, 40), x.Compatibility, share, figure(x.AcidPerML), figure(x.ECPerML), figure(x.PerMinute)})
	}
	p.table(rows)
	for i := range pumps {
		if pumps[i].Diluted != "" {
			p.line("  %s, %s diluted %s", pumps[i].Name, pumps[i].Reagent, pumps[i].Diluted)
		}
	}
}

func (p *printer) limits(pumps []PumpReport) {
	p.line("")
	p.line("Limits of each pump; set the node's own on-time limit to the same")
	rows := [][]string{{"pump", "node", "on-time limit", "smallest mL", "per dose mL", "per hour mL", "per day mL"}}
	for i := range pumps {
		x := &pumps[i]
		rows = append(rows, []string{x.Name, orElse(x.Node+channel(x.Channel), "-"), duration(x.OnTime).String(), figure(x.MinDose), figure(x.DoseCap), figure(x.HourlyCap), figure(x.DailyCap)})
	}
	p.table(rows)
}

func (p *printer) largest(pumps []PumpReport) {
	p.line("")
	p.line("The largest dose as commissioned, before any dose has answered and with nothing on its way (the page says what it is now)")
	rows := [][]string{{"pump", "tank", "at most mL", "limited by"}}
	for i := range pumps {
		for _, e := range pumps[i].Effects {
			rows = append(rows, []string{pumps[i].Name, e.Tank, figure(e.LargestML), e.LargestBy})
		}
	}
	p.table(rows)
	p.line("Acid and base begin smaller: after arming, service, a refill and a pause of two hours the first dose is worth at most 0.033 pH as commissioned, and within 0.2 pH of the setpoint a dose does half of the way")
}

func channel(name string) string {
	if name == "" {
		return ""
	}
	return " " + name
}

func (p *printer) effects(pumps []PumpReport) {
	p.line("")
	p.line("If a node hangs (at most %s pH, %s mS/cm), one smallest dose (at most %s, %s), a whole container", figure(hangPH), figure(hangEC), figure(smallestPH), figure(smallestEC))
	rows := [][]string{{"pump", "tank", "hang", "moves pH", "and EC", "smallest pH", "and EC", "container gives"}}
	for i := range pumps {
		x := &pumps[i]
		for _, e := range x.Effects {
			whole := "-"
			if e.WholePH != nil {
				whole = fmt.Sprintf("pH %s, EC %s", phText(*e.WholePH), figure(*e.WholeEC))
			}
			rows = append(rows, []string{x.Name, e.Tank, duration(x.Hang).String(), figure(e.HangPH), figure(e.HangEC), figure(e.SmallestPH), figure(e.SmallestEC), whole})
		}
	}
	p.table(rows)
}

func waivedLines(waived []Waived) (lines []string) {
	for _, w := range waived {
		lines = append(lines, fmt.Sprintf("%s, %s: %s", w.Tank, w.Input, w.Reason))
	}
	return lines
}

func duration(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

func orElse(text, other string) string {
	if text == "" {
		return other
	}
	return text
}

// shorten keeps a table narrow.
func shorten(text string, most int) string {
	r := []rune(text)
	if len(r) <= most {
		return text
	}
	return string(r[:most-1]) + "…"
}
