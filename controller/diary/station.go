package diary

import (
	"encoding/json"
	"time"

	"leat/controller"
	"leat/dosing"
	"leat/dosing/blend"
)

// Station is what a reader must know of the farm that wrote a record.
type Station struct {
	Name  string `json:"name"`
	Zone  string `json:"zone"` // IANA name, or Local
	Tanks []Tank `json:"tanks"`
	Pumps []Pump `json:"pumps"`
}

// Tank is one tank. Inputs are by their names in the history.
type Tank struct {
	Name   string   `json:"name"`
	Litres float64  `json:"litres"`
	Recipe string   `json:"recipe,omitempty"`
	PH     []string `json:"ph_inputs"`
	EC     []string `json:"ec_inputs"`
	Level  string   `json:"level_input,omitempty"`
	Area   float64  `json:"plant_area_m2,omitempty"` // 0 = not stated
	Probes []Probe  `json:"probes,omitempty"`
	// Water is mg of each nutrient in a litre of source water; empty = not known.
	Water map[string]float64 `json:"water_mg_per_l,omitempty"`
	Chemistry
}

// Chemistry is what a reader must know of a tank's water to say why its pH moves. All zero =
// a record of an older leat, which does not tell.
type Chemistry struct {
	Alkalinity float64 `json:"top_up_meq_per_l,omitempty"`         // of the top-up
	Carbonate  float64 `json:"carbonate_mmol_per_l,omitempty"`     // total inorganic carbon, as expected
	Buffer     float64 `json:"buffer_meq_per_l_per_ph,omitempty"`  // as commissioned, at the file's setpoint
	Setpoint   float64 `json:"file_ph,omitempty"`                  // of pH
	MaxNH4     float64 `json:"max_ammonium_of_nitrogen,omitempty"` // of the recipe; 0 = none is stated
	Mixing     float64 `json:"mixing_min,omitempty"`               // minutes until a dose has mixed in
}

// Probe is one probe of pH or EC, by its name in the configuration.
type Probe struct {
	Name          string  `json:"name"`
	Quantity      string  `json:"quantity"`
	CalibrateDays float64 `json:"calibrate_days,omitempty"` // after how long its next calibration is due
}

// Pump is one pump with its container.
type Pump struct {
	Name      string   `json:"name"`
	Liquid    string   `json:"liquid"`
	Role      string   `json:"role"`
	Rate      float64  `json:"rate_ml_per_s,omitempty"`
	Container float64  `json:"container_ml,omitempty"` // when full; 0 = not stated
	Tanks     []string `json:"tanks"`
	// Salts is g of each in a litre of a stock, Parts how many times as strong an acid's or
	// base's label is; empty = not known.
	Salts map[string]float64 `json:"salts_g_per_l,omitempty"`
	Parts float64            `json:"parts,omitempty"`
	Acid  float64            `json:"acid_meq_per_ml,omitempty"` // of a mL; a base has it negative
	EC    float64            `json:"ec_ms_per_cm_l_per_ml,omitempty"`
	Share float64            `json:"share,omitempty"`            // of the blend by volume, as commissioned
	Usual float64            `json:"usual_ml_per_day,omitempty"` // what a usual crop draws; 0 = not foreseen
	// Holds is mg of each nutrient in a mL, by the symbols of analyses; empty = not known.
	Holds map[string]float64 `json:"holds_mg_per_ml,omitempty"`
}

// StationOf is the station of these settings, and of the crop's stage at a time.
func StationOf(set *controller.Settings, zone string, at time.Time) *Station {
	s := &Station{Name: set.Safety.Station, Zone: zone}
	for i := range set.Tanks {
		plant := &set.Safety.Tanks[i]
		tank := Tank{Name: plant.Name, Litres: float64(plant.Volume), Area: set.Tanks[i].PlantArea}
		if plan := set.Tanks[i].Ratio; plan != nil {
			tank.Recipe, tank.MaxNH4, tank.Water = plan.Recipe.Name, plan.MaxNH4, milligrams(plan.Water, 1)
		}
		tank.Alkalinity, tank.Carbonate, tank.Setpoint = plant.TopUp.Alkalinity, plant.Carbonate, set.Tanks[i].PH.Value
		tank.Buffer = controller.CommissionedBuffer(plant.Tank, tank.Setpoint)
		tank.Mixing = plant.MixingTime().Minutes()
		for k := range set.Safety.Inputs {
			in := &set.Safety.Inputs[k]
			if in.NotFitted != "" || in.Tank != dosing.TankID(i) {
				continue
			}
			if in.Quantity == dosing.QuantityPH || in.Quantity == dosing.QuantityEC {
				tank.Probes = append(tank.Probes, Probe{Name: in.Name, Quantity: in.Quantity.String(), CalibrateDays: in.CalibrateEvery.Hours() / 24})
			}
			switch name := plant.Name + "/" + in.Name; in.Quantity {
			case dosing.QuantityPH:
				tank.PH = append(tank.PH, name)
			case dosing.QuantityLevel:
				tank.Level = name
			case dosing.QuantityEC:
				tank.EC = append(tank.EC, name)
			}
		}
		s.Tanks = append(s.Tanks, tank)
	}
	usual := controller.UsualDay(set, at)
	for i := range set.Safety.Pumps {
		p := pumpOf(set, dosing.PumpID(i))
		p.Usual = usual[i]
		s.Pumps = append(s.Pumps, p)
	}
	return s
}

func pumpOf(set *controller.Settings, id dosing.PumpID) Pump {
	pump := &set.Safety.Pumps[id]
	p := Pump{Name: pump.Name, Liquid: pump.Liquid(), Role: pump.Role.String(), Rate: pump.PerSecond.Millilitres(), Container: pump.Container.Millilitres(), Acid: pump.AcidPerML, EC: pump.ECPerML, Share: pump.Share, Salts: pump.Salts, Parts: pump.Parts}
	var content blend.Content
	for i := range set.Tanks {
		if !pump.ServesTank(dosing.TankID(i)) {
			continue
		}
		p.Tanks = append(p.Tanks, set.Safety.Tanks[i].Name)
		if plan := set.Tanks[i].Ratio; plan != nil && int(id) < len(plan.Stocks) {
			content = plan.Stocks[id].Content
		}
	}
	if content == (blend.Content{}) {
		ions := &pump.Ions
		content = blend.Content{blend.NO3: ions.NO3, blend.NH4: ions.NH4, blend.P: ions.P, blend.K: ions.K, blend.Ca: ions.Ca, blend.Mg: ions.Mg, blend.S: ions.SO4}
	}
	p.Holds = milligrams(content, 1000)
	return p
}

// milligrams are mg of each nutrient, by its symbol, in a share of what a litre holds.
func milligrams(content blend.Content, parts float64) map[string]float64 {
	mg := map[string]float64{}
	for s := blend.NO3; s < blend.Carbon; s++ {
		if v := content.Milligrams(s) / parts; v > 0 {
			mg[s.Symbol()] = v
		}
	}
	return mg
}

// Text is the station as an event holds it.
func (s *Station) Text() string {
	text, err := json.Marshal(s)
	if err != nil { // names and finite numbers only
		return ""
	}
	return string(text)
}

// ReadStation reads what Text wrote.
func ReadStation(text string) (*Station, error) {
	var s Station
	if err := json.Unmarshal([]byte(text), &s); err != nil {
		return nil, err
	}
	return &s, nil
}
