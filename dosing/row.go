package dosing

import (
	"time"

	"leat/dosing/chem"
)

// Role says what a pump's reagent is for. The zero value may not dose.
type Role uint8

// The roles.
const (
	RoleNone Role = iota
	RoleAcid
	RoleBase
	RoleStock
	RoleWater // source water through a valve, which counts its litres as a pump its millilitres
	RoleCount
)

func (r Role) String() string {
	return [...]string{"none", "acid", "base", "stock", "water", "none"}[min(r, RoleCount)]
}

// Opposite is base to acid and acid to base; the others have none.
func (r Role) Opposite() (opposite Role, has bool) {
	switch r {
	case RoleAcid:
		return RoleBase, true
	case RoleBase:
		return RoleAcid, true
	}
	return r, false
}

// Group tells which concentrates must not meet undiluted in a line or in the
// plume of the injection: two different non-zero groups wait for one another.
type Group uint8

// The groups of a row of stocks.
const (
	GroupNeutral  Group = iota // meets anything (potassium nitrate, magnesium nitrate)
	GroupCalcium               // precipitates with sulfate, phosphate, silicate, carbonate
	GroupSulfate               // sulfates and phosphates
	GroupSilicate              // alkaline; first and alone
	GroupAcid                  // never follows chelate or silicate unflushed
	GroupBase
	GroupChelate // iron chelate: never beside acid
	GroupCount
)

var groupNames = [GroupCount]string{"neutral", "calcium", "sulfate-phosphate", "silicate", "acid", "base", "chelate"}

func (g Group) String() string { return groupNames[min(g, GroupCount-1)] }

// ParseGroup finds a group by name.
func ParseGroup(name string) (Group, bool) {
	for g, n := range groupNames {
		if n == name {
			return Group(g), true
		}
	}
	return GroupNeutral, false
}

// MayMeet says whether two concentrates may follow one another without waiting
// for the first to be flushed and mixed.
func (g Group) MayMeet(other Group) bool {
	if g == other || g == GroupNeutral && other != GroupSilicate || other == GroupNeutral && g != GroupSilicate {
		return true
	}
	pair := func(a, b Group) bool { return g == a && other == b || g == b && other == a }
	// Acid beside the acidic sulfate and phosphate stocks or beside calcium
	// nitrate makes nothing fall out.
	return pair(GroupAcid, GroupSulfate) || pair(GroupAcid, GroupCalcium) || pair(GroupChelate, GroupSulfate) ||
		pair(GroupChelate, GroupCalcium)
}

// Pump is one pump of the row with what it draws from and what its liquid does.
type Pump struct {
	Name      string // as in topics, metrics and texts
	Node      string // the node that drives it
	Role      Role
	Reagent   string // what stands in the container, in the grower's words
	Strength  string // of an acid or base, as on its label
	Group     Group
	PerSecond Volume // delivered per second of run time
	MinDose   Volume // smallest repeatable dose

	// What 1 mL does in 1 L of tank water.
	AcidPerML float64 // meq/L of strong acid; negative for a base
	ECPerML   float64 // mS/cm

	Share     float64 // of the blend by volume, stocks only; the shares of a row sum to 1
	MacroIon  bool    // carries N, P, K, Ca, Mg or S: holds all nutrients when it is missing
	Container Volume  // what a full container holds; 0 = not stated

	Serves TankSet // the tanks it can dose into; zero = all of the station

	Salts map[string]float64 // of a stock, g in a litre of it; nil = not stated
	Parts float64            // of an acid or base, how many times as strong its label is; 0 = of no label

	Ions chem.Totals // what the liquid holds, mmol per litre of it; all zero = not stated
}

// Liquid is the pump's reagent with its strength, which tells two containers of one acid
// apart.
func (p *Pump) Liquid() string {
	if p.Strength == "" {
		return p.Reagent
	}
	return p.Reagent + " " + p.Strength
}

// TankSet is a set of tanks, one bit by TankID.
type TankSet uint64

// With adds a tank to the set.
func (s TankSet) With(id TankID) TankSet { return s | 1<<id }

// ServesTank says whether the pump can dose into the tank.
func (p *Pump) ServesTank(id TankID) bool { return p.Serves == 0 || p.Serves&(1<<id) != 0 }

// Water is the composition that a tank's titration curve is computed from, in
// mmol per L unless said otherwise. Zero values mean a safe default was filled in
// by the configuration, never "none".
type Water struct {
	Alkalinity float64 // meq/L, of the top-up
	EC         Conductivity
}

// Tank is the plant as commissioned.
type Tank struct {
	Name         string
	Volume       Litres        // in circulation at the working level
	MinVolume    Litres        // least volume at which dosing is permitted
	MaxVolume    Litres        // level high
	DeadTime     time.Duration // θ: dose to first response
	TimeConstant time.Duration // τ: mixing lag after it
	Phosphate    float64       // total phosphorus, mmol/L, expected in the solution at setpoint EC
	Carbonate    float64       // total inorganic carbon, mmol/L, expected in the solution
	Ammonium     float64       // total ammonia, mmol/L
	TopUp        Water
	// Slow is the share of the volume that answers late, in ponds and long channels, and
	// Exchange the time in which that water is exchanged once. 0 = all of it is one water.
	Slow     float64
	Exchange time.Duration
	// Later is the share in zones that exchange too fast to count as slow water, and yet not within a mixing time.
	Later       float64
	BufferScale float64 // commissioned buffer capacity ÷ that of the curve; 1 when not measured
	// BufferSpread is the sd of ln(true ÷ commissioned buffer capacity) where that was measured;
	// 0 = it was only computed.
	BufferSpread float64
	PHNoise      float64 // sd of the pH readings as commissioned
	ECNoise      float64 // mS/cm
}

// quickLeast is the share of the quick water that a level is never thought to leave: a
// volume of nothing would make every dose infinite.
const quickLeast = 0.05

// Quick is the water that pump and probe see within a mixing time. The rest, in ponds and
// long channels, follows over the exchange time.
func (t Tank) Quick() Litres { return t.Volume * Litres(1-t.Slow) }

// QuickOf is the quick water at a level: what is missing or out on a bench is missing of
// the quick water, the ponds stay full.
func (t Tank) QuickOf(level Litres) Litres {
	if !(t.Slow > 0) {
		return level
	}
	return max(level-Litres(float64(t.Volume)*t.Slow), quickLeast*t.Quick())
}

// Expected is the solution that the tank's titration curve is drawn for: its weak
// acids as configured over the strong ions of a nutrient solution of common
// strength, which only set the ionic strength and the ion pairs.
func (t Tank) Expected() chem.Totals {
	return chem.Totals{NO3: 8, K: 4, Ca: 2.5, Mg: 1, SO4: 1, NH4: t.Ammonium, P: t.Phosphate, DIC: t.Carbonate}
}

// UnmeasuredSpread is the sd of ln(true ÷ commissioned buffer capacity) of water in which nobody
// measured it: a third to three times, in 19 of 20.
const UnmeasuredSpread = 0.55

// StartSpread is how unsure the buffer capacity is before any dose has been answered.
func (t *Tank) StartSpread() float64 {
	if t.BufferSpread > 0 && t.BufferSpread < UnmeasuredSpread {
		return t.BufferSpread
	}
	return UnmeasuredSpread
}

// MixingTime is θ + 4τ: after it a dose has settled.
func (t Tank) MixingTime() time.Duration { return t.DeadTime + 4*t.TimeConstant }

// PlumeTime is θ + τ, at least 60 s: concentrates that must not meet are apart
// by this much.
func (t Tank) PlumeTime() time.Duration { return max(t.DeadTime+t.TimeConstant, time.Minute) }

// Target is what a tank is steered to now, after ramp and schedule.
type Target struct {
	PH PH
	EC Conductivity
}

// Band is the half-width around a target that a loop leaves alone, or an alarm
// names.
type Band struct {
	PH float64
	EC float64 // mS/cm
}

// The bands of the control specification: the start band scores a night, the
// warn and harm bands time the alarms.
var (
	StartBand = Band{PH: 0.1, EC: 0.05}
	WarnBand  = Band{PH: 0.2, EC: 0.1}
	HarmBand  = Band{PH: 0.5, EC: 0.3}
)

// Reason is why a dose is planned, from a closed set.
type Reason uint8

// The reasons.
const (
	ReasonNone      Reason = iota
	ReasonPHHigh           // settled pH above setpoint
	ReasonPHLow            // settled pH below setpoint
	ReasonECLow            // settled EC below setpoint
	ReasonBlendOwed        // the rest of a blend already begun
	ReasonTopUp            // alkalinity or dilution that top-up brings
	ReasonTest             // whether a probe that stands still is alive
	ReasonTitration        // how much the water buffers
	ReasonLevelLow         // the level is below the band in which top-up keeps it
	ReasonECHigh           // settled EC above setpoint: water dilutes it
	ReasonCount
)

var reasonTexts = [ReasonCount]string{"no reason", "pH high", "pH low", "EC low", "rest of the blend", "top-up", "test of the pH probe", "titration", "level low", "EC high"}

func (r Reason) String() string { return reasonTexts[min(r, ReasonCount-1)] }

// Plan is advice: this pump, this much, for this reason. It has no power to act;
// only the gate can turn it into a clearance.
type Plan struct {
	Tank   TankID
	Pump   PumpID
	Volume Volume
	Reason Reason
}
