package report

import (
	"fmt"
	"math"
	"time"

	"leat/controller/diary"
	"leat/dosing/blend"
	"leat/safety/ledger"
)

// Drifts is why the pH of each tank of a station moves.
type Drifts struct {
	Station string      `json:"station"`
	At      time.Time   `json:"at"` // the end of the record
	Tanks   []TankDrift `json:"tanks"`
}

// TankDrift is why the pH of one tank moves. What moves it is told as the acid that it asks
// for: meq for a litre of the tank and day. All of it is known by what was dosed and by how
// pH changed; top-up, carbonate and probe are reckoned, and plants are what remains.
type TankDrift struct {
	Name     string    `json:"tank"`
	From     time.Time `json:"from"`
	To       time.Time `json:"to"`
	Untold   string    `json:"not_told,omitempty"` // why it cannot be said; else empty
	All      Cause     `json:"all"`
	Plants   Cause     `json:"plants"`
	CO2      Cause     `json:"carbonate_and_co2"`
	TopUp    Cause     `json:"top_up"`
	Probe    Cause     `json:"probe"`
	Buffer   float64   `json:"buffer_meq_per_l_per_ph"`
	Nitrogen float64   `json:"nitrogen_given_mmol_per_l_day"`
	Ammonium float64   `json:"ammonium_of_nitrogen"`
	Lever    string    `json:"ammonium_lever,omitempty"`
	// Point is how much less acid one per cent of the nitrogen more as ammonium asks for.
	Point float64  `json:"one_percent_more_ammonium_meq_per_l_day,omitempty"`
	Notes []string `json:"notes,omitempty"`
	probe string   // by what the probe is judged
}

// Cause is one of the causes. Positive lets pH climb.
type Cause struct {
	Meq     float64 `json:"meq_per_l_day"`
	U       float64 `json:"uncertainty"`             // standard, of it
	PerHour float64 `json:"ph_per_hour"`             // what it would move without doses
	PHU     float64 `json:"ph_per_hour_uncertainty"` // standard, of that
}

// How far the parts of it may be off, as standard uncertainties.
const (
	driftDays    = 7    // that are looked at, at most
	driftLeast   = 12   // hours: in less, what a tank holds of carbonate hides all else
	doseOff      = 0.05 // of what the pumps gave, with its strength
	waterOff     = 0.12 // of the top-up: its litres, and its alkalinity as stated
	carbonOff    = 1.0  // of the carbonate that a tank is expected to hold, at either end
	leastCarbon  = 0.1  // mmol/L
	bufferOff    = 0.4  // of the buffer capacity: salts bend it and nobody measures it daily
	endOff       = 0.02 // of pH at either end
	probeUnknown = 0.01 // pH a day that a probe may drift of which nothing is known
	bufferSpread = 0.25 // of the buffer capacity, where meq become pH
	carbonicPK   = 6.35 // of carbonic acid at 25 °C
)

// ReadDrift says why pH moved in the last week of a record.
func ReadDrift(record Record) (*Drifts, error) {
	past, station, err := lastDays(record, driftDays)
	if err != nil {
		return nil, err
	}
	probes, err := ReadProbes(record)
	if err != nil {
		return nil, err
	}
	return DriftOf(past, station, probes), nil
}

// DriftOf says why pH moved in a past; probes tell how the probes drift, nil = nothing does.
func DriftOf(past *diary.Past, station *diary.Station, probes *Probes) *Drifts {
	d := &Drifts{Station: station.Name, At: past.To}
	for i := range station.Tanks {
		d.Tanks = append(d.Tanks, tankDrift(past, station, &station.Tanks[i], probes))
	}
	return d
}

func tankDrift(past *diary.Past, station *diary.Station, tank *diary.Tank, probes *Probes) TankDrift {
	t := TankDrift{Name: tank.Name, Buffer: tank.Buffer, From: later(past.From, past.First).In(past.Zone), To: earlier(past.To, past.Last).In(past.Zone)}
	if tank.Buffer == 0 {
		t.Untold = "the record does not tell what its water is made of: start the daemon once, which writes it down"
		return t
	}
	t.beginAfterOtherWater(past)
	begin, end, known := endsOf(past, tank.PH, t.From, t.To)
	days := t.To.Sub(t.From).Hours() / 24
	if !known || days*24 < driftLeast {
		t.Untold = fmt.Sprintf("less than %d hours of pH are on record since the water was changed or the record began", driftLeast)
		return t
	}
	given := t.given(past, station, tank)
	t.All = Cause{Meq: (given.meq + tank.Buffer*(end-begin)) / days,
		U: math.Hypot(doseOff*given.gross, tank.Buffer*math.Hypot(bufferOff*(end-begin), endOff*math.Sqrt2)) / days}
	t.reckon(past, tank, days, probes)
	t.lever(&given, tank, days)
	for _, c := range []*Cause{&t.All, &t.Plants, &t.CO2, &t.TopUp, &t.Probe} {
		c.PerHour = c.Meq / tank.Buffer / 24
		c.PHU = math.Hypot(c.U/tank.Buffer/24, bufferSpread*c.PerHour)
	}
	return t
}

// reckon splits all of it. Source water asks at once for the acid that its alkalinity takes,
// less what stays bicarbonate; that is asked for as it leaves as carbon dioxide, so that the
// two make up the alkalinity of the water.
func (t *TankDrift) reckon(past *diary.Past, tank *diary.Tank, days float64, probes *Probes) {
	litres := 0.0
	for i := range past.Events {
		if e := &past.Events[i]; e.Kind == diary.KindTopUp && e.Tank == tank.Name && !e.At.Before(t.From) && e.At.Before(t.To) {
			litres += e.Value
		}
	}
	if litres == 0 {
		t.Notes = append(t.Notes, "no top-up was told by level or valve: what it brought, if any, counts as the plants'")
	}
	stays := 1 / (1 + math.Pow(10, carbonicPK-tank.Setpoint)) // as bicarbonate
	brought := litres / tank.Litres * tank.Alkalinity / days
	t.TopUp = Cause{Meq: brought * (1 - stays), U: waterOff * brought * (1 - stays)}
	stored := carbonOff * max(tank.Carbonate, leastCarbon) * math.Sqrt2 * stays / days
	t.CO2 = Cause{Meq: brought * stays, U: math.Hypot(waterOff*brought*stays, stored)}
	perDay, off := t.probeDrift(tank, probes)
	t.Probe = Cause{Meq: tank.Buffer * perDay, U: tank.Buffer * math.Hypot(off, bufferOff*perDay)}
	t.Plants = Cause{Meq: t.All.Meq - t.TopUp.Meq - t.CO2.Meq - t.Probe.Meq,
		U: math.Sqrt(t.All.U*t.All.U + waterOff*waterOff*brought*brought + stored*stored + t.Probe.U*t.Probe.U)}
}

// beginAfterOtherWater leaves out what was before other water was let in: a dump is no drift.
func (t *TankDrift) beginAfterOtherWater(past *diary.Past) {
	for i := range past.Entries {
		if e := &past.Entries[i]; e.Change == ledger.ChangeConfirmed && e.Tank == t.Name && e.Text != "" && e.Text != sameWater && e.At.Wall.After(t.From) {
			t.From = e.At.Wall.In(past.Zone)
			t.Notes = append(t.Notes, "reckoned from the last time that other water was let in")
		}
	}
}

// sameWater is what a person says who found the tank's own water in it.
const sameWater = "same"

// endsOf are pH at the beginning and at the end: means of a quarter of an hour, so that one
// reading is no drift.
func endsOf(past *diary.Past, inputs []string, from, to time.Time) (begin, end float64, known bool) {
	const window = 15 * time.Minute
	for _, input := range inputs {
		minutes := past.Minutes[input]
		for len(minutes) > 0 && minutes[0].At.Before(from) {
			minutes = minutes[1:]
		}
		for len(minutes) > 0 && !minutes[len(minutes)-1].At.Before(to) {
			minutes = minutes[:len(minutes)-1]
		}
		if len(minutes) == 0 {
			continue
		}
		first, last := minutes[0].At, minutes[len(minutes)-1].At
		n, m := 0.0, 0.0
		for _, minute := range minutes {
			if minute.At.Sub(first) < window {
				begin, n = begin+minute.Mean, n+1
			}
			if last.Sub(minute.At) < window {
				end, m = end+minute.Mean, m+1
			}
		}
		return begin / n, end / m, last.Sub(first) > (to.Sub(from))*9/10
	}
	return 0, 0, false
}

// givenMeq is what doses gave in a time, for a litre of the tank.
type givenMeq struct{ meq, gross, nitrogen, ammonium float64 }

func (t *TankDrift) given(past *diary.Past, station *diary.Station, tank *diary.Tank) (g givenMeq) {
	const nitrogen = 14.007 // mg in a mmol
	for _, dose := range dosesOf(past, tank.Name) {
		if dose.At.Before(t.From) || !dose.At.Before(t.To) || dose.Outcome == ledger.OutcomeWithdrawn.String() {
			continue
		}
		for i := range station.Pumps {
			p := &station.Pumps[i]
			if p.Name != dose.Pump {
				continue
			}
			meq := p.Acid * dose.ML / tank.Litres
			g.meq += meq
			g.gross += math.Abs(meq)
			g.nitrogen += (p.Holds["NO3-N"] + p.Holds["NH4-N"]) * dose.ML / nitrogen / tank.Litres
			g.ammonium += p.Holds["NH4-N"] * dose.ML / nitrogen / tank.Litres
		}
	}
	return g
}

// lever says what another share of ammonium would do: at a steady EC plants take the
// nitrogen that is given, and each mmol of it that is ammonium in place of nitrate asks for
// two meq less of acid.
func (t *TankDrift) lever(given *givenMeq, tank *diary.Tank, days float64) {
	if !(given.nitrogen > 0) {
		return
	}
	t.Nitrogen, t.Ammonium = given.nitrogen/days, given.ammonium/given.nitrogen
	t.Point = 2 * t.Nitrogen / 100
	most := tank.MaxNH4
	if most == 0 {
		most = blend.UsualNH4
	}
	if advice, ok := blend.AdviseAmmonium(t.All.Meq, t.Nitrogen, t.Ammonium, most); ok {
		t.Lever = advice.String()
	}
}

// probeDrift is by how much the probe of pH reads higher each day: by the hand meter where
// it tells, else by what two calibrations found, else nothing is known of it.
func (t *TankDrift) probeDrift(tank *diary.Tank, probes *Probes) (perDay, off float64) {
	t.probe = "nothing tells how it drifts: hold a hand meter beside it once a week"
	if probes == nil {
		return 0, probeUnknown
	}
	for i := range probes.Probes {
		p := &probes.Probes[i]
		if p.Tank != tank.Name || p.Quantity != diary.PH {
			continue
		}
		if p.Trend != nil && p.Trend.WeekU > 0 {
			t.probe = fmt.Sprintf("by %d readings of the hand meter", len(p.Metered))
			return p.Trend.PerWeek / 7, p.Trend.WeekU / 7
		}
		if n := len(p.Calibrations); n >= 2 {
			was, is := p.Calibrations[n-2], p.Calibrations[n-1]
			if apart := is.At.Sub(was.At).Hours() / 24; apart >= 1 {
				t.probe = "by its last two calibrations"
				return (is.at(tank.Setpoint) - was.at(tank.Setpoint)) / apart, max(calibrationOff/apart, probeUnknown/2)
			}
		}
		break
	}
	return 0, probeUnknown
}

// calibrationOff is by how much two calibrations of a probe differ that has not changed.
const calibrationOff = 0.03

// at is by how much a probe, as a calibration found it, reads above a pH.
func (c *Calibration) at(pH float64) float64 { return c.Offset + (c.Slope-1)*(pH-7) }

// Verdict says it in a sentence.
func (t *TankDrift) Verdict() string {
	if t.Untold != "" {
		return "cannot be told: " + t.Untold
	}
	way := "Without doses pH would climb by %.2g ± %.1g an hour"
	if t.All.PerHour < 0 {
		way = "Without doses pH would fall by %.2g ± %.1g an hour"
	}
	text := fmt.Sprintf(way, math.Abs(t.All.PerHour), t.All.PHU)
	most, name := t.Plants, "plants"
	for _, c := range t.Causes()[1:] {
		if math.Abs(c.Meq) > math.Abs(most.Meq) {
			most, name = c.Cause, c.Name
		}
	}
	if most.Meq*t.All.Meq > 0 && math.Abs(most.Meq) > 2*most.U {
		return fmt.Sprintf("%s; most of it is %s.", text, name)
	}
	return text + "; which cause is the largest cannot be told yet."
}

// NamedCause is a cause with its name and by what it is reckoned.
type NamedCause struct {
	Cause
	Name, By string
}

// Causes are the causes in the order in which they are told.
func (t *TankDrift) Causes() []NamedCause {
	return []NamedCause{
		{t.Plants, "plants", "what remains: they take more nitrate than potassium, calcium and ammonium"},
		{t.CO2, "carbonate and CO2", "bicarbonate of the top-up that leaves as carbon dioxide"},
		{t.TopUp, "top-up", "its alkalinity, as it mixes in"},
		{t.Probe, "probe", t.probe},
	}
}
