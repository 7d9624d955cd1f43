package campaign

import (
	"fmt"
	"math"
	"strings"
	"time"

	"leat/controller"
	"leat/controller/sim"
	"leat/dosing"
	"leat/dosing/chem"
)

// between is a range from which a parameter is drawn.
type between [2]float64

// Set is a family of nights: from which ranges its waters, plants and pumps are drawn.
type Set struct {
	Name, Text string
	hours      float64

	// Log-uniform.
	litres, phosphate, alkalinity, evaporation between
	// Uniform.
	flux, uptake, exchange between

	floods    [2]int            // how many in a night
	floodMost float64           // share of the water
	untold    bool              // in half of the nights the switch goes back when the benches begin to drain
	turnover  between           // per hour, log-uniform; sets the lag
	deadTime  between           // s
	lag       between           // s, where turnover does not set it
	wrong     between           // commissioned ÷ true buffer capacity, log-uniform
	measured  float64           // sd of ln(buffer capacity) of which the daemon is told; 0 = it is told nothing
	mistimed  float64           // largest relative error of the commissioned dead time and lag
	slow      between           // share of the water that stands in ponds
	apart     between           // h in which pond water is exchanged once, log-uniform
	unknown   bool              // nobody told of the ponds
	day       bool              // light, CO2 in steps, a warm day
	ammonium  bool              // taken up first
	whole     bool              // tanks, stocks, acid and water of the station are drawn, too
	shifted   float64           // largest shift of a constant, pK
	fits      []dosing.Quantity // inputs that only some nights have: those of faults that nothing else shows
	warms     bool              // and cools by a few degrees in a day
	recorded  bool              // probes, days and plants as recordings of small units show them

	// Of a drawn station only these tanks, from 1, and so many stocks are kept; nothing = all.
	kept   []int
	stocks int
}

var standard = Set{Name: "standard", Text: "the night by which control is judged", hours: 10,
	litres: between{20, 1000}, phosphate: between{0.3, 2.5}, alkalinity: between{0.2, 5}, evaporation: between{0.001, 0.02},
	flux: between{-0.03, 0.1}, uptake: between{0, 0.03}, exchange: between{0.05, 1},
	deadTime: between{20, 180}, lag: between{30, 300}, wrong: between{1.0 / 3, 3}}

// Sets are all sets of nights.
func Sets() []Set {
	vary := func(name, text string, change func(*Set)) Set {
		s := standard
		s.Name, s.Text = name, text
		change(&s)
		return s
	}
	return []Set{
		standard,
		vary("large", "tanks of 500 to 5000 L", func(s *Set) { s.litres = between{500, 5000} }),
		vary("floods", "flood zones that take up to 40 % of the water, up to six times", func(s *Set) { s.floods, s.floodMost = [2]int{0, 6}, 0.4 }),
		vary("day", "sixteen hours of light with floods, strong evaporation, CO2 in steps, a warm day", func(s *Set) {
			s.hours, s.floods, s.floodMost, s.day = 16, [2]int{2, 8}, 0.4, true
			s.evaporation, s.uptake = between{0.002, 0.05}, between{0, 0.06}
		}),
		vary("soft", "top-up of rain or reverse osmosis", func(s *Set) { s.alkalinity = between{0, 0.1} }),
		vary("measured", "buffer capacity, dead time and lag measured to within 15 %", func(s *Set) {
			s.wrong, s.mistimed, s.measured = between{0.85, 1.15}, 0.15, 0.2
		}),
		vary("quick", "small tanks that mix in seconds, with floods", func(s *Set) {
			s.deadTime, s.lag, s.floods, s.floodMost, s.untold = between{5, 30}, between{10, 60}, [2]int{0, 6}, 0.4, true
		}),
		vary("ponds", "30 to 70 % of the water stands in ponds that exchange theirs in hours", func(s *Set) {
			s.slow, s.apart = between{0.3, 0.7}, between{0.5, 4}
		}),
		vary("untold", "the same ponds, of which the daemon is told nothing", func(s *Set) {
			s.slow, s.apart, s.unknown = between{0.3, 0.7}, between{0.5, 4}, true
		}),
		vary("farms", "whole stations: one to three tanks, two to eight stocks, nitric or phosphoric acid, soft to hard water", func(s *Set) {
			s.whole, s.litres, s.alkalinity = true, between{60, 4000}, between{0, 5}
			s.deadTime, s.lag, s.floods, s.floodMost, s.untold = between{6, 100}, between{12, 180}, [2]int{0, 6}, 0.4, true
		}),
		vary("slow", "tanks of 1 to 10 m³ that take hours to mix", func(s *Set) {
			s.hours, s.litres, s.turnover = 24, between{1000, 10000}, between{0.5, 6}
		}),
		vary("ammonium", "acid and base from the roots, ammonium taken up first", func(s *Set) { s.flux, s.ammonium = between{-0.15, 0.15}, true }),
		vary("recorded", "days of 24 h as recordings of small units show them: quiet probes that wander, cool to warm water, raw EC, and water, uptake and base flux tied together by day and by night", func(s *Set) {
			s.hours, s.recorded = 24, true
			// The most that water taken up can bring of each, for sizing.
			s.flux, s.uptake = between{-2 * s.evaporation[1], 5 * s.evaporation[1]}, between{0, 2.5 * s.evaporation[1]}
		}),
		vary("depleted", "phosphate run down to a tenth, buffer capacity commissioned before: up to twelve times the true", func(s *Set) {
			s.phosphate, s.wrong = between{0.03, 0.3}, between{1, 12}
		}),
		vary("shifted", "water whose constants lie up to 0.1 pK off the model's", func(s *Set) { s.shifted = 0.1 }),
	}
}

// SetNamed finds a set.
func SetNamed(name string) (Set, error) {
	var names []string
	for _, s := range Sets() {
		if s.Name == name {
			return s, nil
		}
		names = append(names, s.Name)
	}
	return Set{}, fmt.Errorf("no set %q; there are: %s", name, strings.Join(names, ", "))
}

// parameters are one drawn night.
type parameters struct {
	litres, phosphate, alkalinity, evaporation float64
	worth, wrong                               float64    // pH of a smallest dose; commissioned ÷ true buffer capacity
	stockWorth                                 [2]float64 // mS/cm of a smallest dose of each stock
	carbonate, flux, exchange, uptake          float64
	deadTime, lag                              time.Duration
	toldDeadTime, toldLag                      time.Duration // as commissioned
	toldSpread                                 float64       // sd of ln(buffer capacity) of which the daemon is told
	slow                                       float64       // share of the water in ponds
	apart                                      time.Duration // in which their water is exchanged once
	toldSlow                                   float64       // the same as commissioned, within a factor of one and a half
	toldApart                                  time.Duration
	noise, ecNoise, wander, celsius            float64
	perKelvin, toldPerKelvin                   float64 // by which raw EC rises; 0 = the probe compensates as told
	hour                                       float64 // of the day at the start
	inDark                                     *sim.DarkHours
	lightFrom, lightUntil                      float64
	startPH, startEC, ec                       float64
	run                                        [4]float64 // s that a dose worth 0.10 pH or 0.10 mS/cm runs, by pump
	floods                                     []time.Duration
	floodShare                                 float64
	floodFor                                   time.Duration
	floodUntold                                bool
	fits                                       []dosing.Quantity
	gas                                        map[controller.ZoneKind]float64 // gas exchange ÷ that of its kind
	room                                       []sim.RoomStep
	swing                                      float64
	shift                                      map[chem.Species]float64
}

// sources are the streams of one night; a night that is drawn again goes on where
// the refused one ended.
type sources struct{ tank, water, room, mixing, probes, pumps, start, floods, constants, told, gas, recorded, waters *stream }

func sourcesOf(seed uint64) *sources {
	return &sources{source(seed, "tank"), source(seed, "water"), source(seed, "room"), source(seed, "mixing"), source(seed, "probes"),
		source(seed, "pumps"), source(seed, "start"), source(seed, "floods"), source(seed, "constants"), source(seed, "told"), source(seed, "gas"), source(seed, "recorded"), source(seed, "waters")}
}

// toldWithin is how well the quick share and the exchange time are known, and mostQuick the
// largest share that is told of a tank with ponds.
const toldWithin, mostQuick = 1.5, 0.95

// draw draws one night. Every draw takes the same number from each stream, so that
// one parameter's range does not move another's.
func (s *Set) draw(from *sources) *parameters {
	p := &parameters{
		litres:      from.tank.logUniform(s.litres[0], s.litres[1]),
		phosphate:   from.water.logUniform(s.phosphate[0], s.phosphate[1]),
		carbonate:   from.water.uniform(0, 2),
		evaporation: from.room.logUniform(s.evaporation[0], s.evaporation[1]),
		exchange:    from.room.uniform(s.exchange[0], s.exchange[1]),
		celsius:     from.room.uniform(20, 24),
		flux:        from.tank.uniform(s.flux[0], s.flux[1]),
		uptake:      from.tank.uniform(s.uptake[0], s.uptake[1]),
		deadTime:    span(from.mixing.uniform(s.deadTime[0], s.deadTime[1])),
		lag:         span(from.mixing.uniform(s.lag[0], s.lag[1])),
		noise:       from.probes.uniform(0.005, 0.030),
		worth:       from.pumps.logUniform(0.003, 0.05),
		wrong:       from.pumps.logUniform(s.wrong[0], s.wrong[1]),
		startPH:     from.start.uniform(5.4, 6.6),
		startEC:     from.start.uniform(0.6, 1),
		ec:          from.start.uniform(0.8, 2.6),
	}
	p.alkalinity = from.water.uniform(s.alkalinity[0], s.alkalinity[1])
	if s.alkalinity[0] > 0 {
		p.alkalinity = sixDigits(s.alkalinity[0] * math.Pow(s.alkalinity[1]/s.alkalinity[0], (p.alkalinity-s.alkalinity[0])/(s.alkalinity[1]-s.alkalinity[0])))
	}
	if s.turnover[1] > 0 {
		hours := 1 / from.mixing.logUniform(s.turnover[0], s.turnover[1])
		p.lag = span(from.mixing.uniform(0.2, 1) * hours * 3600)
	}
	for i := range p.run {
		p.run[i] = from.pumps.uniform(5, 40)
	}
	for i := range p.stockWorth {
		p.stockWorth[i] = from.pumps.logUniform(0.001, 0.01)
	}
	s.drawTold(from, p)
	p.gas = map[controller.ZoneKind]float64{}
	for _, kind := range []controller.ZoneKind{controller.ZoneFlood, controller.ZoneFilm, controller.ZoneRaft} {
		p.gas[kind] = from.gas.logUniform(0.5, 2)
	}
	s.drawFloods(from.floods, p)
	s.drawDay(from.room, p)
	p.ecNoise, p.hour, p.lightUntil, p.fits = 0.005, 6, 24, s.fits
	if s.recorded {
		p.record(from.recorded)
	}
	if s.warms {
		p.swing = max(p.swing, dayWarms)
	}
	for _, species := range []chem.Species{chem.HCO3, chem.CO2, chem.HPO4, chem.H2PO4, chem.NH3} {
		by := from.constants.uniform(-1, 1)
		if s.shifted > 0 {
			if p.shift == nil {
				p.shift = map[chem.Species]float64{}
			}
			p.shift[species] = by * s.shifted
		}
	}
	return p
}

// drawTold draws how wrong the daemon is told how the water mixes, and ponds.
func (s *Set) drawTold(from *sources, p *parameters) {
	p.toldDeadTime, p.toldLag, p.toldSpread = p.deadTime, p.lag, s.measured
	if s.mistimed > 0 {
		off := func(d time.Duration) time.Duration {
			return span(d.Seconds() * from.told.uniform(1-s.mistimed, 1+s.mistimed))
		}
		p.toldDeadTime, p.toldLag = off(p.deadTime), off(p.lag)
	}
	if s.slow[1] > 0 {
		p.slow, p.apart = from.told.uniform(s.slow[0], s.slow[1]), span(from.told.logUniform(s.apart[0], s.apart[1])*3600)
		quick := min((1-p.slow)*from.waters.logUniform(1/toldWithin, toldWithin), mostQuick)
		apart := span(p.apart.Seconds() * from.waters.logUniform(1/toldWithin, toldWithin))
		if !s.unknown {
			p.toldSlow, p.toldApart = 1-quick, apart
		}
	}
}

// drawFloods spreads a night's floods so that one ends before the next begins.
func (s *Set) drawFloods(from *stream, p *parameters) {
	count := from.whole(s.floods[0], max(s.floods[1], s.floods[0]))
	p.floodShare = from.uniform(0, s.floodMost)
	p.floodFor = span(float64(int(from.uniform(5, 20) * 60)))
	if count == 0 || p.floodShare < 0.005 {
		p.floodShare = 0
		return
	}
	each := s.hours * 3600 / float64(count)
	p.floodUntold = s.untold && p.floodFor%(2*time.Second) == 0
	for i := range count {
		room := each - p.floodFor.Seconds() - 120
		p.floods = append(p.floods, span(float64(int(float64(i)*each+60+from.uniform(0, room)))))
	}
}

// record draws probes, water and plants as recordings show them. What plants take and
// give off goes with the water that they drink, by day and by night each in its own
// proportion.
func (p *parameters) record(from *stream) {
	p.noise, p.wander = from.logUniform(0.0015, 0.010), from.uniform(0.003, 0.010)
	p.ecNoise = from.logUniform(0.0005, 0.012)
	p.perKelvin = from.uniform(0.019, 0.030)
	// As a day's readings tell it.
	p.toldPerKelvin = p.perKelvin + from.uniform(-0.001, 0.001)
	p.swing = from.uniform(3, 10) / 2
	p.celsius = from.uniform(14+p.swing, 30-p.swing)
	p.hour = from.uniform(0.1, 23.9)
	p.lightFrom, p.lightUntil = 6, from.uniform(18, 24)
	p.uptake, p.flux = p.evaporation*from.uniform(0.8, 2.5), p.evaporation*from.uniform(-2, 5)
	drunk := p.evaporation * from.uniform(0.1, 0.6)
	p.inDark = &sim.DarkHours{Evaporation: drunk, Uptake: drunk * from.uniform(0.8, 2.5), BaseFlux: drunk * from.uniform(-2, 5)}
}

// drawDay is the room of a day: CO2 that changes every few hours, warmth that comes
// and goes.
func (s *Set) drawDay(from *stream, p *parameters) {
	if !s.day {
		return
	}
	p.swing = from.uniform(0, 4)
	if p.litres > 200 {
		// Only small sumps lose a twentieth of their water in an hour.
		p.evaporation = min(p.evaporation, 0.02)
	}
	for at := 0.0; at < s.hours; at += from.uniform(1, 4) {
		p.room = append(p.room, sim.RoomStep{At: span(at * 3600), CO2: from.uniform(400e-6, 1200e-6)})
	}
}
