package campaign

import (
	"fmt"
	"time"

	"leat/controller"
	"leat/controller/sim"
	"leat/dosing"
)

// slip is a mistake of a person's, and when it is noticed and put right.
type slip struct {
	kind     slipKind
	at, seen time.Duration // of the night
	tank     dosing.TankID
	pump     dosing.PumpID
	volume   dosing.Volume // truly poured
	wrong    entry         // as it was written down
	quantity dosing.Quantity
	value    float64 // of the setpoint
	confirms bool    // says yes when asked again
}

// entry is an entry by hand.
type entry struct {
	tank   dosing.TankID
	pump   dosing.PumpID
	volume dosing.Volume
}

type slipKind uint8

const (
	slipAmount   slipKind = iota // ten times, or a tenth of, what was poured
	slipLiquid                   // another pump's liquid
	slipTank                     // another tank; with one tank, the same pour written down twice
	slipSetpoint                 // a setpoint ten times too high, or off by a digit
	slipKinds
)

var slipNames = [slipKinds]string{"amount", "liquid", "tank or twice", "setpoint"}

// What people pour is worth as much, by the commissioned buffer capacity.
var (
	pourPH = between{0.02, 0.10}
	pourEC = between{0.02, 0.08} // mS/cm
)

// drawSlips draws a night's: two to four, an hour and more apart, each put right two to
// twenty minutes later.
func (s *Scene) drawSlips() (all []slip) {
	from := source(s.Seed, "people")
	count := from.whole(2, 4)
	each := s.Hours / time.Duration(count)
	for i := range count {
		x := slip{kind: slipKind(from.whole(0, int(slipKinds)-1)), tank: dosing.TankID(from.whole(0, len(s.Settings.Tanks)-1))}
		x.at = time.Duration(i)*each + span(float64(int(from.uniform(0.05, 0.7)*each.Seconds())))
		x.seen = x.at + span(float64(int(from.uniform(120, 1200))))
		x.confirms = from.uniform(0, 1) < 0.5
		s.drawPour(from, &x)
		s.drawWrong(from, &x)
		all = append(all, x)
	}
	return all
}

// drawPour draws what is poured into the tank.
func (s *Scene) drawPour(from *stream, x *slip) {
	row := s.Settings.Pumps()
	serving := serving(row, x.tank)
	x.pump = serving[from.whole(0, len(serving)-1)]
	p, litres := &row[x.pump], float64(s.Settings.Safety.Tanks[x.tank].Volume)
	ph, ec := from.logUniform(pourPH[0], pourPH[1]), from.logUniform(pourEC[0], pourEC[1])
	ml := ec * litres / max(p.ECPerML, 1e-9)
	if p.Role != dosing.RoleStock {
		ml = ph * s.bufferOf(x.tank) * litres / max(p.AcidPerML, -p.AcidPerML, 1e-9)
	}
	x.volume = max(dosing.FromMillilitres(min(ml, litres/500)), dosing.Millilitre/10)
}

// drawWrong draws what is written down in place of it.
func (s *Scene) drawWrong(from *stream, x *slip) {
	row := s.Settings.Pumps()
	serving := serving(row, x.tank)
	more, other, up := from.uniform(0, 1) < 0.5, from.whole(0, len(serving)-1), from.uniform(0, 1) < 0.5
	x.wrong = entry{x.tank, x.pump, x.volume}
	switch x.kind {
	case slipAmount:
		if x.wrong.volume = 10 * x.volume; !more {
			x.wrong.volume = max(x.volume/10, 1)
		}
	case slipLiquid:
		if x.wrong.pump = serving[other]; x.wrong.pump == x.pump {
			x.wrong.pump = serving[(other+1)%len(serving)]
		}
	case slipTank:
		x.wrong.tank = (x.tank + 1) % dosing.TankID(len(s.Settings.Tanks))
	case slipSetpoint:
		x.quantity, x.value = dosing.QuantityPH, s.Settings.Tanks[x.tank].PH.Value
		off := 0.6
		if other%2 == 0 {
			x.quantity, x.value, off = dosing.QuantityEC, s.Settings.Tanks[x.tank].EC.Value, 0.5
		}
		switch {
		case more:
			x.value *= 10
		case up:
			x.value += off
		default:
			x.value -= off
		}
	}
}

func serving(row []dosing.Pump, id dosing.TankID) (all []dosing.PumpID) {
	for i := range row {
		if row[i].ServesTank(id) {
			all = append(all, dosing.PumpID(i))
		}
	}
	return all
}

// PeopleCount is what people did in a rehearsal and what was answered.
type PeopleCount struct {
	Slips     map[string]int `json:"slips"` // by kind
	Taken     int            `json:"taken"`
	Asked     int            `json:"asked_again"`
	Refused   int            `json:"refused"`
	TakenBack int            `json:"taken_back"`
	// Quarrelled is how often more or less was asked for while the disk was slow.
	Quarrelled int `json:"quarrelled"`
	// Chores is ordinary work that was done, by kind.
	Chores map[string]int `json:"chores"`
}

func (c *PeopleCount) add(d *PeopleCount) {
	if c.Slips == nil {
		c.Slips, c.Chores = map[string]int{}, map[string]int{}
	}
	for kind, n := range d.Chores {
		c.Chores[kind] += n
	}
	for kind, n := range d.Slips {
		c.Slips[kind] += n
	}
	c.Taken, c.Asked, c.Refused, c.TakenBack = c.Taken+d.Taken, c.Asked+d.Asked, c.Refused+d.Refused, c.TakenBack+d.TakenBack
	c.Quarrelled += d.Quarrelled
}

func (c *PeopleCount) write(p *printer) {
	if c == nil {
		return
	}
	sum, kinds := 0, ""
	for i, name := range slipNames {
		if i > 0 {
			kinds += ", "
		}
		sum += c.Slips[name]
		kinds += fmt.Sprintf("%s %d", name, c.Slips[name])
	}
	p.line("people: %d slips (%s); of their wrong words %d were taken, %d of them and others asked again first, %d refused; %d taken back; %d requests for less and more while the disk was slow", sum, kinds, c.Taken, c.Asked, c.Refused, c.TakenBack, c.Quarrelled)
	p.line("their work: %s", counts(c.Chores))
}

// grower plays a night's slips.
type grower struct {
	slips    []slip
	settings *controller.Settings
	night    *sim.Night
	farm     *sim.Farm
	begin    time.Duration // of the night
	open     bool          // the first of slips is made and not put right
	name     string        // of its entry; empty = none was taken
	taken    bool          // the setpoint was
	count    PeopleCount
}

// second does what is due.
func (p *grower) second(now dosing.Instant) {
	if len(p.slips) == 0 {
		return
	}
	x := &p.slips[0]
	switch at := now.Up - p.begin; {
	case !p.open && at >= x.at:
		p.open = true
		p.make(x)
	case p.open && at >= x.seen:
		p.open = false
		p.putRight(x)
		p.slips = p.slips[1:]
	}
}

// make pours and writes the wrong thing down.
func (p *grower) make(x *slip) {
	p.count.Slips[slipNames[x.kind]]++
	if x.kind == slipSetpoint {
		p.taken = p.wrongly(controller.Request{Kind: controller.RequestSetpoint, Tank: x.tank, Quantity: x.quantity, Value: x.value}, x)
		return
	}
	p.farm.AddByHand(x.tank, x.pump, x.volume)
	if x.kind == slipTank && x.wrong.tank == x.tank {
		p.enter(entry{x.tank, x.pump, x.volume})
	}
	if p.name = ""; p.wrongly(p.handDose(x.wrong), x) {
		p.name = p.newest(x.wrong.tank)
	}
}

// putRight takes back what was wrong and says what was so.
func (p *grower) putRight(x *slip) {
	if x.kind == slipSetpoint {
		if !p.taken {
			return
		}
		set := &p.settings.Tanks[x.tank]
		value := set.PH.Value
		if x.quantity == dosing.QuantityEC {
			value = set.EC.Value
		}
		if p.certainly(controller.Request{Kind: controller.RequestSetpoint, Tank: x.tank, Quantity: x.quantity, Value: value}) {
			p.count.TakenBack++
		}
		return
	}
	if p.name != "" && p.certainly(controller.Request{Kind: controller.RequestVoid, Tank: x.wrong.tank, Entry: p.name, Note: "a slip"}) {
		p.count.TakenBack++
	}
	if x.kind != slipTank || x.wrong.tank != x.tank {
		p.enter(entry{x.tank, x.pump, x.volume})
	}
}

func (p *grower) handDose(e entry) controller.Request {
	return controller.Request{Kind: controller.RequestHandDose, Tank: e.tank, Pump: e.pump, Volume: e.volume}
}

// enter writes down what is so.
func (p *grower) enter(e entry) { p.certainly(p.handDose(e)) }

// certainly asks, and says yes when asked again.
func (p *grower) certainly(r controller.Request) bool {
	a := p.ask(r)
	if !a.Accepted && a.Confirm != "" {
		r.Confirm = a.Confirm
		a = p.ask(r)
	}
	return a.Accepted
}

// wrongly asks what is a mistake; whoever is asked again says yes or sees it.
func (p *grower) wrongly(r controller.Request, x *slip) bool {
	a := p.ask(r)
	if !a.Accepted && a.Confirm != "" {
		p.count.Asked++
		if x.confirms {
			r.Confirm = a.Confirm
			a = p.ask(r)
		}
	}
	if a.Accepted {
		p.count.Taken++
	} else {
		p.count.Refused++
	}
	return a.Accepted
}

func (p *grower) ask(r controller.Request) controller.Answer {
	r.By, r.From, r.Role = "rehearsal", "page", controller.RoleOperate
	return p.night.Ask(r)
}

// newest is the name of the tank's newest entry, as the page shows it.
func (p *grower) newest(id dosing.TankID) string {
	view := p.night.Core.Tank(p.night.Now(), id)
	if len(view.Hands) == 0 {
		return ""
	}
	return view.Hands[0].Name
}
