package demo

import (
	"bytes"
	"cmp"
	"encoding/hex"
	"fmt"
	"os"
	"strings"
	"time"

	"leat/controller/store"
	"leat/dosing"
	"leat/safety/ledger"
)

// Report is the night in figures. Doses come from the ledger on disk, the water
// from the simulated farm, so that one checks the other.
type Report struct {
	Simulated time.Duration
	Wanted    float64 // speed
	Reached   float64
	Seed      uint64
	Tanks     []TankReport
	Reagents  []ReagentReport
	// OrderWaits is the wall time from the tick on which a dose was decided to its
	// order at the broker, the durable append and the second judgement between them;
	// shortest first.
	OrderWaits []time.Duration
	Rows       uint64 // of the ledger
	Head       string
	Picture    string
	Text       string // all of it, to be read
}

// TankReport is one tank's night. Shares are of time, 0 to 1.
type TankReport struct {
	Name                     string
	PHInBand, ECInBand       float64
	LastHourPH, LastHourEC   float64
	PHOvershoot, ECOvershoot float64 // pH, mS/cm
	PHSettled, ECSettled     time.Duration
	Holds, Alarms            []string
}

// ReagentReport is one pump's night.
type ReagentReport struct {
	Pump, Reagent string
	Doses         int
	Uncertain     int
	Ledger        dosing.Volume // as counted in the record
	Nodes         dosing.Volume // as counted by the pump nodes
	Left          dosing.Volume // as truly drawn from the container
}

// report closes the night: it reads the record back from disk, checks its chain
// and writes the picture. Where only the picture fails the report comes with the
// error: a night is not lost for it.
func (s *stage) report(reached float64) (*Report, error) {
	r := &Report{Simulated: s.clock.Now().Up, Wanted: s.options.Speed, Reached: reached, Seed: s.options.Seed,
		OrderWaits: s.broker.traffic.orderWaits()}
	if err := s.readLedger(r); err != nil {
		return nil, err
	}
	for _, n := range s.nights {
		r.Tanks = append(r.Tanks, n.report())
	}
	err := s.draw(r)
	r.Text = s.words(r)
	return r, err
}

// draw writes the picture of the night.
func (s *stage) draw(r *Report) error {
	var drawn bytes.Buffer
	if err := picture(&drawn, s.nights); err != nil {
		return fmt.Errorf("picture of the night: %w", err)
	}
	if err := os.WriteFile(s.options.picturePath(s.state), drawn.Bytes(), 0o644); err != nil {
		return fmt.Errorf("picture of the night: %w", err)
	}
	r.Picture = s.options.picturePath(s.state)
	return nil
}

// readLedger sums the record by pump and marks each dose in its night.
func (s *stage) readLedger(r *Report) error {
	db, err := store.OpenReader(s.state)
	if err != nil {
		return err
	}
	defer db.Close()
	index := map[string]int{}
	for i := range s.file.Settings.Safety.Pumps {
		p := &s.file.Settings.Safety.Pumps[i]
		index[p.Name] = i
		line := ReagentReport{Pump: p.Name, Reagent: p.Reagent, Left: s.farm.Delivered(dosing.PumpID(i))}
		for tank := range s.nights {
			line.Nodes += s.farm.Truth(dosing.TankID(tank)).Counted[i]
		}
		r.Reagents = append(r.Reagents, line)
	}
	sequence, hash, err := ledger.Verify(db, func(e ledger.Entry) error {
		if e.Kind != ledger.EntrySettlement {
			return nil
		}
		i, ok := index[e.Pump]
		if !ok {
			return nil
		}
		r.Reagents[i].Ledger += e.Volume
		if e.Outcome == ledger.OutcomeUncertain {
			r.Reagents[i].Uncertain++
		}
		if e.Outcome != ledger.OutcomeWithdrawn {
			r.Reagents[i].Doses++
		}
		s.mark(e)
		return nil
	})
	r.Rows, r.Head = sequence, hex.EncodeToString(hash[:8])
	return err
}

func (s *stage) mark(e ledger.Entry) {
	for _, n := range s.nights {
		if n.tank != e.Tank || e.Outcome == ledger.OutcomeWithdrawn {
			continue
		}
		for i := range s.file.Settings.Safety.Pumps {
			if p := &s.file.Settings.Safety.Pumps[i]; p.Name == e.Pump {
				n.doses = append(n.doses, doseMark{at: e.At.Up, role: p.Role, pump: p.Name, volume: e.Volume, outcome: e.Outcome.String()})
			}
		}
	}
}

func (n *night) report() TankReport {
	end := n.length()
	whole, last := n.score(0, end), n.score(max(end-time.Hour, 0), end)
	t := TankReport{Name: n.tank, PHInBand: whole.pHInBand, ECInBand: whole.ecInBand, LastHourPH: last.pHInBand, LastHourEC: last.ecInBand,
		PHOvershoot: whole.pHOvershoot, ECOvershoot: whole.ecOvershoot, PHSettled: whole.pHSettled, ECSettled: whole.ecSettled}
	t.Holds = n.holdLines()
	for _, a := range n.alarms {
		t.Alarms = append(t.Alarms, fmt.Sprintf("%s  %s: %s", clockWords(a.at), a.priority, a.text))
	}
	return t
}

// holdLines sums the interlocks of the night by cause, in order of appearance.
func (n *night) holdLines() []string {
	var order []string
	times, total, text, open := map[string]int{}, map[string]time.Duration{}, map[string]string{}, map[string]bool{}
	for _, h := range n.holds {
		if times[h.cause] == 0 {
			order = append(order, h.cause)
			text[h.cause], _, _ = strings.Cut(h.text, " (")
		}
		times[h.cause]++
		to := h.to
		if to < 0 {
			to, open[h.cause] = n.length(), true
		}
		total[h.cause] += to - h.from
	}
	var lines []string
	for _, cause := range order {
		still := ""
		if open[cause] {
			still = ", still active"
		}
		lines = append(lines, fmt.Sprintf("%-22s %d×, %s in all%s: %s", cause, times[cause], durationWords(total[cause]), still, text[cause]))
	}
	return lines
}

func durationWords(d time.Duration) string {
	if d < 2*time.Minute {
		return fmt.Sprintf("%.0f s", d.Seconds())
	}
	return fmt.Sprintf("%.0f min", d.Minutes())
}

// words is the report as a page of text.
func (s *stage) words(r *Report) string {
	var b strings.Builder
	fmt.Fprintf(&b, "Night report: %s simulated, speed %.0f× of %.0f× asked for, seed %d\n", clockWords(r.Simulated), r.Reached, r.Wanted, r.Seed)
	for i, t := range r.Tanks {
		n := s.nights[i]
		fmt.Fprintf(&b, "\n%s\n", t.Name)
		fmt.Fprintf(&b, "  pH in ±%.2f: %3.0f %% of the night, %3.0f %% of the last hour; settled %s; overshoot %.2f\n", dosing.StartBand.PH,
			100*t.PHInBand, 100*t.LastHourPH, settledWords(t.PHSettled), t.PHOvershoot)
		for _, l := range textPlot(n, func(m sample) float64 { return m.pH }, func(m sample) float64 { return m.wantPH }, dosing.StartBand.PH, 72, 8) {
			fmt.Fprintf(&b, "  %s\n", l)
		}
		fmt.Fprintf(&b, "  EC in ±%.2f mS/cm: %3.0f %% of the night, %3.0f %% of the last hour; settled %s; overshoot %.2f\n", dosing.StartBand.EC,
			100*t.ECInBand, 100*t.LastHourEC, settledWords(t.ECSettled), t.ECOvershoot)
		for _, l := range textPlot(n, func(m sample) float64 { return m.ec }, func(m sample) float64 { return m.wantEC }, dosing.StartBand.EC, 72, 8) {
			fmt.Fprintf(&b, "  %s\n", l)
		}
		list(&b, "interlocks", t.Holds)
		list(&b, "alarms", t.Alarms)
	}
	r.reagentTable(&b)
	if n := len(r.OrderWaits); n > 0 {
		fmt.Fprintf(&b, "\nFrom decision over the durable record to the order at the broker: half within %s, 99 of 100 within %s (wall time, %d orders).\n",
			shortTime(r.OrderWaits[n/2]), shortTime(r.OrderWaits[n*99/100]), n)
	}
	fmt.Fprintf(&b, "\nrecord   %d rows, chain verified, head %s…; leat report -state %s\npicture  %s\n", r.Rows, r.Head, s.state, cmp.Or(r.Picture, "none"))
	return b.String()
}

func (r *Report) reagentTable(b *strings.Builder) {
	fmt.Fprintf(b, "\n%-16s %6s %12s %12s %14s\n", "doses by reagent", "doses", "record mL", "nodes mL", "left stock mL")
	for _, line := range r.Reagents {
		note := ""
		if line.Uncertain > 0 {
			note = fmt.Sprintf("   %d uncertain, counted in full", line.Uncertain)
		}
		fmt.Fprintf(b, "%-16s %6d %12.1f %12.1f %14.1f%s\n", line.Pump, line.Doses, line.Ledger.Millilitres(), line.Nodes.Millilitres(), line.Left.Millilitres(), note)
	}
	fmt.Fprintf(b, "What left a stock differs from the count by the error of its pump, at most 3 %% in the demo.\n")
}

func shortTime(d time.Duration) string { return d.Round(10 * time.Microsecond).String() }

func list(b *strings.Builder, title string, lines []string) {
	if len(lines) == 0 {
		fmt.Fprintf(b, "  %s: none\n", title)
		return
	}
	fmt.Fprintf(b, "  %s:\n", title)
	for _, l := range lines {
		fmt.Fprintf(b, "    %s\n", l)
	}
}

func settledWords(at time.Duration) string {
	if at < 0 {
		return "not yet"
	}
	return "at " + clockWords(at)
}
