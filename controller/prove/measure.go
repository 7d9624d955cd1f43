package prove

import (
	"fmt"
	"math"
	"strings"
	"time"

	"leat/controller"
	"leat/dosing/calibration"
)

// What is measured once the rules were tried: it fails nothing, and stands in the sheet.

// A rate is measured by so many runs, each as long as this in one order or several.
const (
	rateRuns = 3
	rateTime = 20 * time.Second
)

func measurePumps(p *proof) (found []PumpFinding) {
	for i := range p.s.Pumps {
		if p.err == nil {
			found = append(found, measurePump(p, i))
		}
	}
	return found
}

func measurePump(p *proof, pump int) PumpFinding {
	set := &p.s.Pumps[pump]
	f := PumpFinding{Pump: set.Name, File: set.PerSecond.Millilitres() * 60}
	if p.answer(AskEnter, fmt.Sprintf("Rate of pump %s: empty the cylinder, then press Enter (x: do not measure it): ", set.Name)) == "x" {
		f.Words = "its rate was not measured"
		return f
	}
	var runs []string
	for len(runs) < rateRuns && p.err == nil {
		seconds, why := runFor(p, pump, rateTime)
		if why != "" {
			f.Words = "its rate was not measured here: " + why + "; use leat calibrate-pump"
			return f
		}
		ml, ok := p.millilitres(fmt.Sprintf("Run %d of %d, %.1f s: how many mL are in the cylinder? Empty it then. ", len(runs)+1, rateRuns, seconds))
		if !ok {
			f.Words = "its rate was not measured"
			return f
		}
		runs = append(runs, fmt.Sprintf("%g=%g", seconds, ml))
	}
	rate, err := calibration.ReadRuns(strings.Join(runs, ", "))
	if err != nil {
		f.Words = err.Error()
		return f
	}
	f.PerMinute, f.Spread = rate.PerSecond*60, rate.Spread
	f.Words = fmt.Sprintf("%.3g mL/min, runs within %.1f %%; the file says %.3g", f.PerMinute, 100*rate.Spread, f.File)
	if off := f.PerMinute/f.File - 1; math.Abs(off) > 0.05 {
		f.Words += fmt.Sprintf(": it is %.0f %% off; write rate = \"%.3g mL/min\" into the file and run leat check", 100*off, f.PerMinute)
	}
	return f
}

// runFor runs a pump by orders for so long in all, and says how long it truly ran.
func runFor(p *proof, pump int, all time.Duration) (seconds float64, why string) {
	for left := all; left >= 100*time.Millisecond && p.err == nil; {
		o := p.order(pump, min(left, p.s.Pumps[pump].Longest), nil)
		p.until(o.run+wordWithin, func() bool { return p.over(o) })
		done, is := p.said(o, controller.PhaseDone)
		if !is {
			p.stopAll()
			refused, _ := p.said(o, controller.PhaseRefused)
			return 0, nonEmpty(refused.Cause, "an order did not end by itself")
		}
		seconds += done.Run.Seconds()
		left -= o.run
	}
	return seconds, ""
}

// moments are readings of one probe in one while.
type moments struct {
	n            int
	sum, squares float64
}

func (m *moments) add(v float64) {
	m.n++
	m.sum += v
	m.squares += float64(v * v)
}

func (m *moments) mean() float64 { return m.sum / math.Max(float64(m.n), 1) }

func (m *moments) deviation() float64 {
	if m.n < 2 {
		return 0
	}
	return math.Sqrt(math.Max(m.squares-float64(m.sum*m.sum)/float64(m.n), 0) / float64(m.n-1))
}

// listen collects the readings of every probe while something goes on.
func listen(p *proof, while func()) []moments {
	all := make([]moments, len(p.s.Probes))
	p.sampling = func(probe int, v float64) { all[probe].add(v) }
	while()
	p.sampling = nil
	return all
}

// How long the probes are listened to: untouched, and before, while and after a load is on.
const (
	quietTime = time.Minute
	loadTime  = 20 * time.Second
)

func measureProbes(p *proof) []ProbeFinding {
	if len(p.s.Probes) == 0 || p.err != nil {
		return nil
	}
	p.w.Say(fmt.Sprintf("Probes: nobody touches anything for %s ...", quietTime))
	quiet := listen(p, func() { p.rest(quietTime) })
	found := make([]ProbeFinding, len(p.s.Probes))
	for i := range found {
		found[i] = ProbeFinding{Probe: p.s.Probes[i].Name, Unit: p.s.Probes[i].Unit, Readings: quiet[i].n, Noise: quiet[i].deviation()}
	}
	for i := range p.s.Pumps {
		load(p, found, "pump "+p.s.Pumps[i].Name, func() {}, func() { _, _ = runFor(p, i, loadTime) }, func() {})
	}
	for p.err == nil {
		name := p.answer(AskLoad, "Name a load to switch, such as a ballast or a heater (nothing: no more): ")
		if name == "" {
			break
		}
		load(p, found, name, func() {
			p.w.Do(ActSwitch, "Switch on: "+name)
			p.answer(AskEnter, "Press Enter when it is on: ")
		}, func() { p.rest(loadTime) }, func() {
			p.w.Do(ActRest, "Switch off: "+name)
			p.answer(AskEnter, "Press Enter when it is off: ")
		})
	}
	for i := range found {
		found[i].say()
	}
	return found
}

// load notes the probes that a load moves: the mean while it is on against those before
// and after, so that a drift is not taken for it.
func load(p *proof, found []ProbeFinding, name string, begin, while, end func()) {
	before := listen(p, func() { p.rest(loadTime) })
	begin()
	on := listen(p, while)
	end()
	after := listen(p, func() { p.rest(loadTime) })
	for i := range found {
		if before[i].n == 0 || on[i].n == 0 || after[i].n == 0 {
			continue
		}
		shift := on[i].mean() - (before[i].mean()+after[i].mean())/2
		noise := found[i].Noise * math.Sqrt(1/float64(on[i].n)+1/float64(before[i].n+after[i].n))
		if math.Abs(shift) > math.Max(4*noise, p.s.Probes[i].Fine) {
			found[i].Moved = append(found[i].Moved, fmt.Sprintf("%s by %+.3g %s", name, shift, found[i].Unit))
		}
	}
}

func (f *ProbeFinding) say() {
	switch {
	case f.Readings == 0:
		f.Words = "no reading came"
	case len(f.Moved) > 0:
		f.Words = fmt.Sprintf("noise %.2g %s; it is not isolated: moved by %s. Isolate its input, part its cable from that one's, and prove again", f.Noise, f.Unit, strings.Join(f.Moved, ", "))
	default:
		f.Words = fmt.Sprintf("noise %.2g %s in %d readings; no load moves it", f.Noise, f.Unit, f.Readings)
	}
}
