package campaign

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"leat/controller"
	"leat/controller/payload"
	"leat/dosing"
	"leat/safety"
	"leat/safety/ledger"
)

// ReplayReport is what leat would have said to a recording.
type ReplayReport struct {
	Rows     int           `json:"rows"`
	From     time.Time     `json:"from"`
	Hours    float64       `json:"hours"`
	Interval float64       `json:"interval_s"`
	Assumed  []string      `json:"assumed"` // what the recording does not say and was taken for it
	Inputs   []ReplayInput `json:"inputs"`
	Alarms   []ReplayAlarm `json:"alarms"`
	// RawECPerKelvin is by how much of its value at 25 °C what the EC probe sends rises per
	// kelvin; nil where the temperature hardly moves or EC does not follow it.
	RawECPerKelvin *Ratio `json:"sent_ec_per_kelvin"`
}

// ReplayInput is one column.
type ReplayInput struct {
	Name      string             `json:"name"`
	Sent      int                `json:"sent"`
	Valid     int                `json:"valid"`
	Invalid   map[string]int     `json:"invalid,omitempty"`      // readings, by why
	ValidTime float64            `json:"valid_time"`             // share of the time in which one could dose by it
	Holds     map[string]float64 `json:"invalid_time,omitempty"` // share of the time, by cause
	Scatter   float64            `json:"scatter"`                // sd between one reading and the next, in the quantity's unit
	unit      string
	last      [3]float64
	seen      int
	bends     []float64
}

// ReplayAlarm is one alarm with how often it called a person and for how long it stood.
type ReplayAlarm struct {
	Cause    string  `json:"cause"`
	Text     string  `json:"text"`
	Priority string  `json:"priority"`
	Times    int     `json:"times"`
	Hours    float64 `json:"hours"`
	since    time.Duration
	stands   bool
}

// replayEvery is how often the core looks: as often as it decides.
const replayEvery = 10 * time.Second

// replay plays a recording.
type replay struct {
	recording *Recording
	core      *controller.Core
	intake    *payload.Intake
	inputs    []*ReplayInput // by input of the settings; nil = not in the recording
	fill      []fill
	report    *ReplayReport
	alarms    map[safety.Cause]*ReplayAlarm
	now       dosing.Instant
	looks     float64
	sent      []sentEC
	celsius   float64
	warm      bool
}

// fill is an input that the recording lacks and is told what lets the others be judged.
type fill struct {
	slot int
	body []byte
}

// sentEC is what the EC probe sent at a temperature.
type sentEC struct{ celsius, ec float64 }

// Replay feeds a recording to parsers, quality tests and interlocks, as a station of one
// tank that observes. Farm is the user's own, of which the first tank is taken, or nil for
// a tank of which nothing is known.
func (r *Recording) Replay(farm *Farm) (*ReplayReport, error) {
	p := &replay{recording: r, alarms: map[safety.Cause]*ReplayAlarm{}, report: &ReplayReport{Rows: len(r.rows), From: r.rows[0].at,
		Hours: r.rows[len(r.rows)-1].at.Sub(r.rows[0].at).Hours(), Interval: r.interval().Seconds()}}
	settings, feeds := p.station(farm)
	thermal, err := dosing.NewThermal(settings.Safety.Tanks[0].Expected())
	if err != nil {
		return nil, err
	}
	p.intake = payload.NewIntake(feeds, []*dosing.Thermal{thermal})
	p.now = dosing.Instant{Wall: r.rows[0].at}
	if p.core, err = controller.New(settings, ledger.State{}, p.now); err != nil {
		return nil, err
	}
	p.step(&controller.Event{Kind: controller.EventLedger, Ledger: safety.LedgerReady})
	p.step(&controller.Event{Kind: controller.EventLink, Up: true})
	for i := range r.rows {
		p.pass(r.rows[i].at)
		p.row(&r.rows[i])
	}
	p.pass(p.now.Wall.Add(min(r.interval(), time.Minute)))
	p.end()
	return p.report, nil
}

// pass lets time go on to a moment.
func (p *replay) pass(to time.Time) {
	for p.now.Wall.Before(to) {
		p.now = p.now.Add(min(replayEvery, to.Sub(p.now.Wall)))
		for _, f := range p.fill {
			p.tell(f.slot, f.body)
		}
		p.step(&controller.Event{Kind: controller.EventTick})
		p.look()
	}
}

// row is one moment of the recording.
func (p *replay) row(row *recordedRow) {
	// EC is brought to 25 °C with the temperature of its own row.
	for _, warm := range []bool{true, false} {
		for i := range p.recording.columns {
			if c := &p.recording.columns[i]; c.quantity != dosing.QuantityNone && (c.quantity == dosing.QuantityTemperature) == warm {
				p.cell(c, strings.TrimSpace(row.cells[i]))
			}
		}
	}
}

// cell is what one probe sent.
func (p *replay) cell(c *recordedColumn, text string) {
	if text == "" {
		return
	}
	slot := slices.Index(recordedQuantities, c.quantity)
	in := p.inputs[slot]
	in.Sent++
	if sent, err := c.format.Decode(dosing.InputID(slot), c.quantity, p.now, []byte(text), false); err == nil {
		switch c.quantity {
		case dosing.QuantityTemperature:
			p.celsius, p.warm = sent.Value(), true
		case dosing.QuantityEC:
			if p.warm {
				p.sent = append(p.sent, sentEC{p.celsius, sent.Value()})
			}
		}
	}
	why := p.tell(slot, []byte(text))
	if why == "" {
		in.Valid++
		return
	}
	in.Invalid[why]++
}

// tell gives the core one payload and returns why the reading is not fit; "" = it is.
func (p *replay) tell(slot int, body []byte) (why string) {
	reading, err := p.intake.Decode(slot, p.now, body, false)
	if err != nil {
		p.step(&controller.Event{Kind: controller.EventRejected, Input: dosing.InputID(slot), Text: err.Error()})
		return "refused: not a number that this quantity can have, or no temperature to compensate with"
	}
	if in := p.inputs[slot]; in != nil {
		in.take(reading.Value())
	}
	p.step(&controller.Event{Kind: controller.EventReading, Reading: reading})
	why, _ = p.core.Doubt(p.now, dosing.InputID(slot))
	return why
}

// take keeps what the scatter is told by.
func (in *ReplayInput) take(value float64) {
	in.last = [3]float64{value, in.last[0], in.last[1]}
	if in.seen++; in.seen >= 3 {
		in.bends = append(in.bends, math.Abs(in.last[0]-2*in.last[1]+in.last[2]))
	}
}

// step gives the core an event and keeps what it says.
func (p *replay) step(event *controller.Event) {
	for _, n := range p.core.Step(p.now, event).Notices {
		if n.Kind != controller.NoticeAlarm {
			continue
		}
		a := p.alarms[n.Cause]
		if a == nil {
			a = &ReplayAlarm{Cause: n.Cause.String(), Text: safety.Of(n.Cause).Text, Priority: safety.Of(n.Cause).Priority.String()}
			p.alarms[n.Cause] = a
		}
		switch {
		case n.Active && !a.stands:
			a.stands, a.since = true, p.now.Up
			a.Times++
		case !n.Active && a.stands:
			a.stands = false
			a.Hours += (p.now.Up - a.since).Hours()
		}
	}
}

// look counts for each input whether one could dose by it now.
func (p *replay) look() {
	p.looks++
	for slot, in := range p.inputs {
		if in == nil {
			continue
		}
		if _, why := p.core.Doubt(p.now, dosing.InputID(slot)); why != "" {
			in.Holds[why]++
		}
	}
}

// end sums up.
func (p *replay) end() {
	for _, in := range p.inputs {
		if in == nil {
			continue
		}
		in.ValidTime = 1
		for why, looks := range in.Holds {
			in.Holds[why] = looks / max(p.looks, 1)
			in.ValidTime -= in.Holds[why]
		}
		// The median of |second differences| of noise is 0.6745 √6 of its sd; a dose or a
		// jump moves it by nothing.
		slices.Sort(in.bends)
		in.Scatter = quantile(in.bends, 0.5) / (0.6745 * math.Sqrt(6))
		if math.IsNaN(in.Scatter) {
			in.Scatter = 0
		}
		p.report.Inputs = append(p.report.Inputs, *in)
	}
	for _, a := range p.alarms {
		if a.stands {
			a.Hours += (p.now.Up - a.since).Hours()
		}
		p.report.Alarms = append(p.report.Alarms, *a)
	}
	slices.SortFunc(p.report.Alarms, func(a, b ReplayAlarm) int { return strings.Compare(a.Cause, b.Cause) })
	p.report.RawECPerKelvin = perKelvin(p.sent)
}

// perKelvin is how the sent EC follows the temperature: over stretches in which it moved
// by half a kelvin, the median of the rise, by the value at 25 °C that follows from it.
func perKelvin(sent []sentEC) *Ratio {
	const least, stretches = 0.5, 8
	var slopes []float64
	from := 0
	for i := range sent {
		if moved := sent[i].celsius - sent[from].celsius; math.Abs(moved) >= least {
			if here := sent[from]; here.ec > 0 && sent[i].ec > 0 {
				relative := (sent[i].ec - here.ec) / here.ec / moved
				// Relative to what it was there; to 25 °C by the same line.
				slopes = append(slopes, relative/(1+relative*(25-here.celsius)))
			}
			from = i
		}
	}
	if len(slopes) < stretches {
		return nil
	}
	slices.Sort(slopes)
	return ratio(quantile(slopes, 0.5))
}

// Write prints the report.
func (r *ReplayReport) Write(w io.Writer) error {
	p := &printer{w: w}
	p.line("%d rows from %s over %.1f h, one every %.0f s", r.Rows, r.From.UTC().Format(time.DateTime), r.Hours, r.Interval)
	for _, a := range r.Assumed {
		p.line("  %s", a)
	}
	p.line("")
	for i := range r.Inputs {
		in := &r.Inputs[i]
		p.line("%s: %d of %d readings fit to dose by, %.1f %% of the time; scatter %s", in.Name, in.Valid, in.Sent, 100*in.ValidTime, in.scatter())
		for _, why := range ordered(in.Invalid) {
			p.line("    %s: %s", counted(in.Invalid[why], "reading"), why)
		}
		for _, why := range ordered(in.Holds) {
			p.line("    %.1f %% of the time: %s", 100*in.Holds[why], why)
		}
	}
	if k := r.RawECPerKelvin; k != nil {
		p.line("the EC that was sent rises by %.1f %% per kelvin (about 2 is a raw value, 0 one that the probe compensated): compensation = \"measured %.1f %%/K\" where it is raw", 100*float64(*k), 100*float64(*k))
	}
	p.line("")
	if len(r.Alarms) == 0 {
		p.line("no alarm")
	}
	for i := range r.Alarms {
		a := &r.Alarms[i]
		p.line("alarm %s (%s): %s, %.1f h in all: %s", a.Cause, a.Priority, counted(a.Times, "time"), a.Hours, a.Text)
	}
	return p.err
}

func (in *ReplayInput) scatter() string {
	if in.Name == "ph" {
		return fmt.Sprintf("%.1f mpH", 1000*in.Scatter)
	}
	return fmt.Sprintf("%.3g %s", in.Scatter, in.unit)
}

// ordered are the keys of what was counted, the most first.
func ordered[N int | float64](of map[string]N) []string {
	keys := make([]string, 0, len(of))
	for k := range of {
		keys = append(keys, k)
	}
	slices.SortFunc(keys, func(a, b string) int {
		if of[a] != of[b] {
			if of[a] > of[b] {
				return -1
			}
			return 1
		}
		return strings.Compare(a, b)
	})
	return keys
}
