package campaign

import (
	"errors"
	"fmt"
	"math"
	"time"

	"leat/controller"
	"leat/controller/sim"
	"leat/dosing"
	"leat/dosing/blend"
	"leat/dosing/chem"
	ions "leat/dosing/ratio"
	"leat/safety/ledger"
)

// Month is a month of a farm whose plants take by another ratio than the recipe's:
// once with the shares of the first blend for good, once with the account of the
// ions and an analysis whenever the account wants one, and at least every fortnight. Both
// are the same plants, water and noise under the shipped core.
type Month struct {
	Seed  uint64
	Days  int           // 0 = 30
	Every time.Duration // at the longest, from one analysis to the next; 0 = 14 days. The first is on the first day
	Pace  float64       // of what the plants take and evaporate; 0 = 1: about a tank and a half of nutrients, and as much of water, in 30 days
	Tick  func(done float64)
}

// labError is the standard error of a laboratory's figure, each ion by itself.
const labError = 0.03

// bent is the crop's appetite beside the recipe: more potassium and magnesium, less
// calcium and sulfate. Half of the plants' base flux takes nitrate in place of
// potassium, which leaves them a little less potassium than the recipe's share.
func bent(target blend.Content) chem.Totals {
	u := target.Ions()
	return chem.Totals{NH4: u.NH4, P: u.P, K: 1.15 * u.K, Ca: 0.9 * u.Ca, Mg: 1.1 * u.Mg, SO4: 0.9 * u.SO4}
}

// MonthIons are the ions that are judged. Ammonium is not among them: plants take it
// first and microbes turn it into nitrate, so no share keeps it.
var MonthIons = []blend.Substance{blend.NO3, blend.P, blend.K, blend.Ca, blend.Mg, blend.S}

// MonthReport is both months of the first tank.
type MonthReport struct {
	Farm    string   `json:"farm"`
	Tank    string   `json:"tank"`
	Recipe  string   `json:"recipe"`
	Days    int      `json:"days"`
	Seed    uint64   `json:"seed"`
	Every   float64  `json:"analysis_every_days"`
	Taken   float64  `json:"taken_ms_per_cm"` // EC that the plants took in all
	ToppedL float64  `json:"topped_up_l"`
	Fixed   MonthRun `json:"fixed"`
	Live    MonthRun `json:"live"`

	DumpDue []DumpDue `json:"dump_due"` // by the account, each ion the first time

	Missed []Missed `json:"missed_by_water_and_row"` // what no analysis and no dump brings nearer
	Held   IonOff   `json:"worst_of_the_others"`     // with account and analyses
}

// Missed is an ion that a fresh filling from this water and this row does not bring to
// its target.
type Missed struct {
	Ion string  `json:"ion"`
	Off float64 `json:"off"` // share of the target
	Why string  `json:"why"`
}

// reaches is how near a fresh filling must come to a target for an ion to be judged, as a
// share of it.
const reaches = 0.05

// judge parts what water and row cannot reach from what account and analyses are to hold.
func (r *MonthReport) judge(fresh *blend.Mix) {
	for i, s := range MonthIons {
		if off := fresh.Off(s); math.Abs(off) > reaches {
			r.Missed = append(r.Missed, Missed{s.Symbol(), off, fresh.Why(s)})
			continue
		}
		if w := r.Live.worstOf(i); math.Abs(w.Off) > math.Abs(r.Held.Off) {
			r.Held = w
		}
	}
}

// worstOf is the hour in which an ion was furthest from its target.
func (run *MonthRun) worstOf(ion int) (worst IonOff) {
	for _, h := range run.hours {
		if !h.refilled && math.Abs(h.off[ion]) > math.Abs(worst.Off) {
			worst = IonOff{MonthIons[ion].Symbol(), h.day, h.off[ion]}
		}
	}
	return worst
}

// DumpDue is a dump, and the first hour in which the account asked for it.
type DumpDue struct {
	Ion   string  `json:"ion"` // or "nutrients", of which something else takes the place
	Day   float64 `json:"day"`
	Off   float64 `json:"off"`   // share above the target; of the nutrients, the share of EC that what plants leave takes of them
	Share float64 `json:"share"` // of the tank to replace with source water; 0: that water itself holds too much
	Text  string  `json:"text"`
}

// due is what the account asked for, each ion the first time.
func (run *MonthRun) due() (all []DumpDue) {
	asked := map[blend.Substance]bool{}
	for _, h := range run.hours {
		for _, d := range h.dumps {
			if asked[d.Ion] {
				continue
			}
			asked[d.Ion] = true
			name := d.Ion.Symbol()
			if d.Ion == blend.Rest {
				name = "nutrients"
			}
			all = append(all, DumpDue{Ion: name, Day: h.day, Off: d.Off, Share: d.Share, Text: d.String()})
		}
	}
	return all
}

// MonthRun is one of the two.
type MonthRun struct {
	Worst    IonOff             `json:"worst"` // of all hours
	Last     map[string]float64 `json:"last"`  // off target at the end, by ion, as a share
	ECBand   float64            `json:"ec_in_band"`
	Within2  float64            `json:"estimates_within_two_u"` // share of the estimates; 0 without an account
	Cleared  int                `json:"stops_cleared_by_a_person"`
	Dumps    int                `json:"dumps"`
	Dumped   float64            `json:"dumped_tanks"` // litres replaced ÷ litres of the tank
	Setpoint []SetpointMoved    `json:"ec_setpoints"` // that a person set by what the account said
	Analyses []MonthAnalysis    `json:"analyses"`

	hours []hourOfMonth
}

// SetpointMoved is an EC setpoint that a person took from the account.
type SetpointMoved struct {
	Day   float64 `json:"day"`
	Value float64 `json:"ms_per_cm"`
	Text  string  `json:"text"`
}

// IonOff is how far an ion is from its target.
type IonOff struct {
	Ion string  `json:"ion"`
	Day float64 `json:"day"`
	Off float64 `json:"off"` // share of the target
}

// MonthAnalysis is an analysis as it was entered.
type MonthAnalysis struct {
	Day      float64 `json:"day"`
	Accepted bool    `json:"accepted"`
	Text     string  `json:"text"`
}

// hourOfMonth is the truth of one hour as shares of the targets, in the order of
// MonthIons, and what was thought.
type hourOfMonth struct {
	day              float64
	ec               float64
	off, thought, u  [6]float64
	thoughtAvailable bool
	refilled         bool // after a dump, EC is still on its way back
	dumps            []ions.Dump
}

// errNoRecipe says what a month needs.
var errNoRecipe = errors.New("the first tank has no recipe, so there is nothing to keep; state [tank.recipe], as deploy/leat.toml does")

// Play plays both months of a farm.
func (m Month) Play(f *Farm) (*MonthReport, error) {
	if m.Days == 0 {
		m.Days = 30
	}
	if m.Every == 0 {
		m.Every = 14 * 24 * time.Hour
	}
	if m.Pace == 0 {
		m.Pace = 1
	}
	plan := f.Settings.Tanks[0].Ratio
	if plan == nil {
		return nil, errNoRecipe
	}
	r := &MonthReport{Farm: f.Name, Tank: f.Settings.Safety.Tanks[0].Name, Recipe: plan.Recipe.Name, Days: m.Days, Seed: m.Seed, Every: m.Every.Hours() / 24}
	for live, run := range []*MonthRun{&r.Fixed, &r.Live} {
		if err := m.play(f, live == 1, run, r); err != nil {
			return nil, err
		}
	}
	fresh, _, err := plan.Fresh()
	if err != nil {
		return nil, err
	}
	r.DumpDue = r.Live.due()
	r.judge(fresh)
	return r, nil
}

// The crop of a month: what it takes in the light, mS/cm and meq/L of base an hour,
// and the share of the water that it and the room use.
const (
	monthUptake = 0.004
	monthFlux   = 0.01
	monthWater  = monthUptake / ions.UsualUptake
)

// plants are the farm's own waters under the month's crop: where the source is
// analysed, that is what tops up.
func (m Month) plants(set *controller.Settings) (all []sim.Plant, err error) {
	for i := range set.Safety.Tanks {
		p := sim.DrawPlant(set, dosing.TankID(i), m.Seed)
		p.Uptake, p.BaseFlux, p.Evaporation = m.Pace*monthUptake, m.Pace*monthFlux, m.Pace*monthWater
		if plan := set.Tanks[i].Ratio; plan != nil {
			account, err := ions.New(plan)
			if err != nil {
				return nil, err
			}
			target := account.Target(set.Tanks[i].EC.Value)
			p.TopUp, p.Appetite, p.Usual = plan.Water.Ions(), bent(target), target.Ions()
		}
		all = append(all, p)
	}
	return all, nil
}

// fixed are the settings with the first blend's shares for good.
func fixed(s *controller.Settings) (*controller.Settings, error) {
	c := *s
	c.Tanks = append([]controller.TankSettings(nil), s.Tanks...)
	c.Safety.Pumps = append([]dosing.Pump(nil), s.Safety.Pumps...)
	account, err := ions.New(s.Tanks[0].Ratio)
	if err != nil {
		return nil, err
	}
	for i := range c.Tanks {
		c.Tanks[i].Ratio = nil
	}
	for i, share := range account.Shares() {
		if c.Safety.Pumps[i].Role == dosing.RoleStock {
			c.Safety.Pumps[i].Share = share
		}
	}
	return &c, nil
}

func (m Month) play(f *Farm, live bool, run *MonthRun, report *MonthReport) error {
	account, err := ions.New(f.Settings.Tanks[0].Ratio)
	if err != nil {
		return err
	}
	target := account.Target(f.Settings.Tanks[0].EC.Value)
	set, farm, n, err := m.begin(f, live)
	if err != nil {
		return err
	}
	from := source(m.Seed, "laboratory")
	begin, hours := n.Now().Up, time.Duration(m.Days)*24
	next, inBand := time.Hour, 0 // of the analyses
	dumped, morning := -refillTime, max(time.Duration(24/m.Pace), 1)
	for hour := range hours {
		n.Run(time.Hour, nil)
		at := n.Now().Up - begin
		var asked []ions.Dump
		if view := n.Core.View(n.Now()).Tanks[0].Ions; view != nil {
			asked = view.Dumps
		}
		if hour%morning == 2 {
			run.Cleared += person(n, farm, set)
			if live && run.dump(n, farm) {
				dumped = at
			} else if live {
				run.setpoint(n, at)
			}
		}
		if live && (at >= next || hour > 0 && hour%morning == 2 && m.wanted(n, at-next+m.Every)) {
			next = at + m.Every
			run.analyse(n, farm, len(set.Tanks), from, at)
		}
		view := n.Core.View(n.Now()).Tanks[0]
		h := look(at, farm.Truth(0), &view, &target)
		h.dumps = asked
		if math.Abs(h.ec-view.EC.Working) <= dosing.StartBand.EC {
			inBand++
		} else {
			h.refilled = at-dumped < refillTime
		}
		run.hours = append(run.hours, h)
		if m.Tick != nil {
			done := float64(hour+1) / float64(hours) / 2
			if live {
				done += 0.5
			}
			m.Tick(done)
		}
	}
	run.ECBand = float64(inBand) / float64(len(run.hours))
	run.sum()
	books := farm.Balance(0)
	report.ToppedL = books.ToppedUp.Litres
	report.Taken = chargeOf(books.Taken.Ions) / f.Settings.Tanks[0].Ratio.Litres * 0.1
	return farm.Err()
}

// begin makes the farm as the first blend has filled it, whatever the daemon is told, and
// arms the daemon: live with the account of the ions, else with fixed shares.
func (m Month) begin(f *Farm, live bool) (*controller.Settings, *sim.Farm, *sim.Night, error) {
	set, err := fixed(f.Settings)
	if err != nil {
		return nil, nil, nil, err
	}
	plants, err := m.plants(f.Settings)
	if err != nil {
		return nil, nil, nil, err
	}
	farm, err := sim.New(set, f.Topics, f.Wires, sim.Options{Seed: m.Seed, StartHour: 6, Plants: plants, Rest: f.Settings.Safety.StartSettling})
	if err != nil {
		return nil, nil, nil, err
	}
	if live {
		copied := *f.Settings
		set = &copied
	}
	n, err := sim.NewNight(set, f.Topics, f.Feeds, farm, &ledger.Memory{}, time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC))
	if err != nil {
		return nil, nil, nil, err
	}
	n.Arm()
	return set, farm, n, nil
}

// analyse has a laboratory tell the daemon of each of so many tanks.
func (run *MonthRun) analyse(n *sim.Night, farm *sim.Farm, tanks int, from *stream, at time.Duration) {
	for id := range tanks {
		answer := n.Ask(controller.Request{Kind: controller.RequestAnalysis, Tank: dosing.TankID(id), Analysis: analyse(farm.Truth(dosing.TankID(id)), from),
			By: "laboratory", From: "rehearsal", Role: controller.RoleEngineer})
		if id == 0 {
			run.Analyses = append(run.Analyses, MonthAnalysis{Day: at.Hours() / 24, Accepted: answer.Accepted, Text: answer.Text})
		}
	}
}

// look is what truly is in the tank at the end of an hour, and what is thought to be.
func look(at time.Duration, truth sim.Truth, view *controller.TankView, target *blend.Content) hourOfMonth {
	h := hourOfMonth{day: at.Hours() / 24, ec: truth.EC, thoughtAvailable: view.Ions != nil}
	held := blend.ContentOf(truth.Ions)
	for i, s := range MonthIons {
		h.off[i] = held[s]/target[s] - 1
		if view.Ions == nil {
			continue
		}
		for _, ion := range view.Ions.Ions {
			if ion.Name == s.Symbol() {
				h.thought[i], h.u[i] = ion.Amount/target[s]-1, ion.Off/target[s]
			}
		}
	}
	return h
}

// sum draws the month's figures from its hours.
func (run *MonthRun) sum() {
	within, thoughts := 0, 0
	run.Last = map[string]float64{}
	for _, h := range run.hours {
		for i, s := range MonthIons {
			run.Last[s.Symbol()] = h.off[i]
			if !h.refilled && math.Abs(h.off[i]) > math.Abs(run.Worst.Off) {
				run.Worst = IonOff{s.Symbol(), h.day, h.off[i]}
			}
			if !h.thoughtAvailable {
				continue
			}
			if thoughts++; math.Abs(h.thought[i]-h.off[i]) <= 2*h.u[i] {
				within++
			}
		}
	}
	if thoughts > 0 {
		run.Within2 = float64(within) / float64(thoughts)
	}
}

// Why says in a sentence what the month shows.
func (r *MonthReport) Why() string {
	return fmt.Sprintf("plants took %.1f mS/cm by a ratio of their own and %.0f L were topped up; fixed shares end %.0f %% off in %s; with %d analyses, when the account wants one and at the latest after %.0f days, the worst of all hours is %.0f %% in %s",
		r.Taken, r.ToppedL, 100*math.Abs(r.Fixed.Worst.Off), r.Fixed.Worst.Ion, len(r.Live.Analyses), r.Every, 100*math.Abs(r.Live.Worst.Off), r.Live.Worst.Ion)
}
