package config

import (
	"fmt"
	"math"

	"leat/dosing"
)

// Report is what the daemon would do with a file, as figures.
type Report struct {
	File      string       `json:"file"`
	OK        bool         `json:"ok"`
	Version   string       `json:"version,omitempty"`
	Station   string       `json:"station,omitempty"`
	Faults    Faults       `json:"faults"`
	Warnings  []string     `json:"warnings"`
	Tanks     []TankReport `json:"tanks,omitempty"`
	Pumps     []PumpReport `json:"pumps,omitempty"`
	Waived    []Waived     `json:"not_fitted,omitempty"`
	Inputs    int          `json:"inputs"`
	BrokerURL string       `json:"broker,omitempty"`
	Page      string       `json:"page,omitempty"`
	State     string       `json:"state_folder,omitempty"`
	Cautions  []string     `json:"cautions,omitempty"`
}

// TankReport is one tank.
type TankReport struct {
	Name        string        `json:"name"`
	Volume      float64       `json:"volume_l"`
	MinVolume   float64       `json:"min_volume_l"`
	PH          float64       `json:"ph"`
	EC          float64       `json:"ec_ms_per_cm"`
	Buffer      float64       `json:"buffer_meq_per_l_ph"`
	Phosphate   float64       `json:"phosphate_mmol_per_l"`
	Carbonate   float64       `json:"carbonate_mmol_per_l"`
	Ammonium    float64       `json:"ammonium_mmol_per_l"`
	Mixing      float64       `json:"mixing_s"`
	BlendGain   float64       `json:"blend_ms_per_cm_per_ml_l"`
	HalvedCaps  bool          `json:"halved_caps"`
	Sustainable []Sustained   `json:"sustainable"`
	Waters      *WatersReport `json:"waters,omitempty"` // null: all of it is one water
	UV          *UVReport     `json:"uv,omitempty"`     // null: no chamber is stated
	Gas         *GasReport    `json:"gas_exchange"`
	Zones       []ZoneReport  `json:"zones_run"`
	Recipe      *RecipeReport `json:"recipe,omitempty"`
}

// RecipeReport is the blend that a tank's recipe makes of its source water: what a
// fresh tank is filled with, and the first shares.
type RecipeReport struct {
	Name           string         `json:"name"`
	Source         string         `json:"source,omitempty"`
	MaxAmmonium    float64        `json:"max_ammonium"` // share of the nitrogen
	Stocks         []BlendReport  `json:"blend"`
	Ions           []TargetReport `json:"ions"`
	AmmoniumAdvice string         `json:"ammonium_advice,omitempty"`
	Gathers        []GatherReport `json:"gathers,omitempty"`
}

// GatherReport is an ion of which the source water brings more than a usual crop takes.
type GatherReport struct {
	Name    string  `json:"name"`
	Water   float64 `json:"water_mg_per_l"`
	Takes   float64 `json:"crop_takes_mg_per_l"`
	PerWeek float64 `json:"dump_share_per_week,omitempty"` // of the tank; 0 = no dump helps: the water itself holds too much
	Text    string  `json:"text"`
}

// BlendReport is one liquid of it.
type BlendReport struct {
	Pump     string  `json:"pump"`
	PerLitre float64 `json:"ml_per_l"`
	Share    float64 `json:"share"` // by volume; 0 of acid and base
}

// TargetReport is one element of it.
type TargetReport struct {
	Name    string  `json:"name"`
	Target  float64 `json:"target_mg_per_l"` // 0 = the recipe does not name it
	Reached float64 `json:"reached_mg_per_l"`
	Water   float64 `json:"water_mg_per_l"`
	Why     string  `json:"why_not,omitempty"` // what keeps it from its target; empty where it is met
}

// PumpReport is one pump.
type PumpReport struct {
	Name          string   `json:"name"`
	Role          string   `json:"role"`
	Reagent       string   `json:"reagent"`
	Diluted       string   `json:"diluted,omitempty"` // strength that is left of a labelled acid or base
	Compatibility string   `json:"compatibility"`
	AcidPerML     float64  `json:"acid_meq_per_ml"`
	ECPerML       float64  `json:"ec_ms_per_cm_per_ml_l"`
	Share         float64  `json:"share,omitempty"`
	PerMinute     float64  `json:"ml_per_min"`
	MinDose       float64  `json:"min_dose_ml"`
	OnTime        float64  `json:"on_time_limit_s"`
	Hang          float64  `json:"hang_s"` // longest run after daemon, link or node failed
	DoseCap       float64  `json:"dose_cap_ml"`
	HourlyCap     float64  `json:"hourly_cap_ml"`
	DailyCap      float64  `json:"daily_cap_ml"`
	Container     float64  `json:"container_ml,omitempty"`
	Node          string   `json:"node"`
	Channel       string   `json:"channel,omitempty"`
	Order         string   `json:"order_topic"`
	Effects       []Effect `json:"effects"`
}

// Waived is an input that is not fitted, with the reason given.
type Waived struct {
	Tank   string `json:"tank"`
	Input  string `json:"input"`
	Reason string `json:"reason"`
}

// Check is what the daemon would do with a valid file.
func Check(f *File) Report {
	r := Report{File: f.Name, OK: true, Version: f.Settings.Version, Station: f.Settings.Safety.Station, Faults: Faults{},
		Inputs: len(f.InputTopics), BrokerURL: f.Broker.URL, State: f.State, Warnings: append([]string{}, f.Warnings...)}
	if !f.Web.Off {
		r.Page = f.Web.Listen
	}
	s := &size{f: f, station: f.station(f.watchdogs), hangs: f.hangs}
	for id := range f.Settings.Safety.Tanks {
		r.Tanks = append(r.Tanks, f.tankReport(s, dosing.TankID(id)))
	}
	for i := range f.Settings.Safety.Pumps {
		r.Pumps = append(r.Pumps, f.pumpReport(s, i))
		r.Warnings = append(r.Warnings, wholeWarnings(&r.Pumps[i])...)
	}
	for _, in := range f.Settings.Safety.Inputs {
		if in.NotFitted != "" {
			owner := f.Settings.Safety.Station
			if in.Tank != dosing.AllTanks {
				owner = f.Settings.Safety.Tanks[in.Tank].Name
			}
			r.Waived = append(r.Waived, Waived{Tank: owner, Input: in.Name, Reason: in.NotFitted})
		}
	}
	r.Cautions = f.cautions()
	return r
}

// CheckFile checks a file on disk, faults and dangerous sizes included. The error
// says that it could not be read at all.
func CheckFile(path string) (Report, error) {
	text, env, several, err := readOne(path)
	if err != nil {
		return Report{}, err
	}
	env.Passwords, env.Several = PasswordsChecked, several
	return check(path, text, env), nil
}

func check(name string, text []byte, env Env) Report {
	f, faults := parse(name, text, env)
	r := Report{File: name, Warnings: []string{}}
	if f != nil {
		r = Check(f)
	}
	r.Faults = append(Faults{}, faults.sorted()...)
	r.OK = len(faults) == 0
	return r
}

func (f *File) tankReport(s *size, id dosing.TankID) TankReport {
	t, set, plant := &f.Settings.Safety.Tanks[id], &f.Settings.Tanks[id], &f.plants[id]
	r := TankReport{Name: t.Name, Volume: float64(t.Volume), MinVolume: float64(t.MinVolume), PH: set.PH.Value, EC: set.EC.Value, Buffer: plant.buffer,
		Phosphate: t.Phosphate, Carbonate: t.Carbonate, Ammonium: t.Ammonium, Mixing: t.MixingTime().Seconds(), BlendGain: plant.blendEC,
		HalvedCaps: t.HalvedCaps, Sustainable: []Sustained{}, Waters: watersReport(&t.Tank, f.quickStated[id]), UV: f.uvReport(id), Gas: f.gasReport(id), Zones: f.zoneReports(id)}
	for _, role := range []dosing.Role{dosing.RoleAcid, dosing.RoleBase, dosing.RoleStock} {
		if sustained := s.station.Sustained(id, role); sustained != nil {
			r.Sustainable = append(r.Sustainable, *sustained)
		}
	}
	if plant.fresh != nil {
		r.Recipe = f.recipeReport(id)
	}
	return r
}

func (f *File) pumpReport(s *size, i int) PumpReport {
	p, c := &f.Settings.Safety.Pumps[i], &f.Settings.Safety.Caps[i]
	r := PumpReport{Name: p.Name, Role: p.Role.String(), Reagent: p.Reagent, Compatibility: p.Group.String(), AcidPerML: p.AcidPerML, ECPerML: p.ECPerML, Share: p.Share,
		PerMinute: p.PerSecond.Millilitres() * 60, MinDose: p.MinDose.Millilitres(), OnTime: c.OnTime.Seconds(), Hang: s.hangs[i].Seconds(),
		DoseCap: c.PerDose.Millilitres(), HourlyCap: c.PerHour.Millilitres(), DailyCap: c.PerDay.Millilitres(), Container: p.Container.Millilitres(),
		Node: p.Node, Channel: f.channels[i], Effects: []Effect{}}
	if l := &f.liquids[i]; l.reagent != nil && l.diluted.Stated() {
		r.Diluted = fmt.Sprintf("%s: %s", l.diluted, l.reagent.Strength(l.molar))
	}
	if f.Topics != nil {
		r.Order = f.Topics.Order(p.Name)
	}
	for id := range f.Settings.Safety.Tanks {
		if p.ServesTank(dosing.TankID(id)) {
			r.Effects = append(r.Effects, s.effect(i, dosing.TankID(id)))
		}
	}
	return r
}

// A container that drains into the tank is a hazard that no software ends: the
// bounds at which roots are harmed.
const wholeLow, wholeHigh = 4.5, 8.0

func wholeWarnings(p *PumpReport) (warnings []string) {
	var what []string
	for _, e := range p.Effects {
		if e.WholePH != nil && (*e.WholePH < wholeLow || *e.WholePH > wholeHigh) {
			what = append(what, fmt.Sprintf("%q to pH %s", e.Tank, phText(*e.WholePH)))
		}
	}
	if len(what) == 0 {
		return nil
	}
	return []string{fmt.Sprintf("pump[%s]: its whole container, %s L, would take tank %s: no software ends a siphon; an anti-siphon valve, a container below the injection point and a contactor in series do. Until they are fitted, not unattended",
		p.Name, figure(p.Container/1000), listed(what))}
}

// phText keeps to what the activity model covers.
func phText(ph float64) string {
	switch {
	case math.IsNaN(ph):
		return "unknown"
	case ph <= 1:
		return "1 or less"
	case ph >= 13:
		return "13 or more"
	}
	return fmt.Sprintf("%.1f", ph)
}

// cautions are what software cannot do, by what the file says is in the row.
func (f *File) cautions() []string {
	acid, base, oxidising := false, false, false
	for i := range f.Settings.Safety.Pumps {
		p := &f.Settings.Safety.Pumps[i]
		acid = acid || p.Role == dosing.RoleAcid
		base = base || p.Role == dosing.RoleBase
		if r := f.liquids[i].reagent; r != nil && r.Name == "nitric acid" && f.liquids[i].molar > 4 {
			oxidising = true
		}
	}
	list := []string{"A software stop is no emergency stop. Fit a hard-wired stop, a float switch and a fuse for each pump; leat never replaces them."}
	if acid {
		list = append(list, "Acid into water, never water into acid. Gloves, goggles and an apron; running water within reach.")
	}
	if oxidising {
		list = append(list, "Nitric acid of this strength burns skin and feeds fire: away from metal, wood and anything organic, under ventilation.")
	}
	if base {
		list = append(list, "Dissolving a base heats: base into cold water, a little at a time, gloves and goggles.")
	}
	if acid && base {
		list = append(list, "Acid and base stand in separate bunds with couplings that cannot be swapped.")
	}
	if acid {
		list = append(list, "Never run acid into a tank that holds chlorine bleach: it gives off chlorine gas. Rinse, then confirm the water.")
	}
	list = append(list,
		"Day containers on a drip tray, below the injection point, each with an anti-siphon valve; the drinking-water side behind an air gap or a backflow preventer.",
		"Where the local electrical, plumbing or chemical code asks for more, it goes first. Mains wiring is a licensed electrician's work.")
	return list
}
