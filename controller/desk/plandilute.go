package desk

import (
	"fmt"
	"io"
	"slices"

	"leat/controller/config"
	"leat/safety"
)

// Dilution is what leat plan dilute is asked.
type Dilution struct {
	Config, Tank string
	From, To     float64 // EC, mS/cm: what the tank has, and what it is to have; 0 = the setpoint of the file
	JSON         bool
}

// dilutionTold is the answer; its keys are promised.
type dilutionTold struct {
	From   float64 `json:"from_ec_ms_per_cm"`
	To     float64 `json:"to_ec_ms_per_cm"`
	Water  float64 `json:"water_ec_ms_per_cm"`
	Tank   float64 `json:"tank_litres"`
	Added  float64 `json:"add_litres_without_dumping"`
	Room   float64 `json:"room_litres"` // from the working volume to where the tank may be filled; 0 = not stated
	Dumped float64 `json:"dump_litres"` // and so much is filled in, where there is no room
}

// Run prints how much water lowers EC: added where there is room, else in place of what is dumped.
func (d *Dilution) Run(stdout io.Writer) error {
	file, err := config.Look(d.Config)
	if err != nil {
		return err
	}
	row, err := file.Row(d.Tank)
	if err != nil {
		return err
	}
	tanks := file.Settings.Safety.Tanks
	at := slices.IndexFunc(tanks, func(t safety.Tank) bool { return t.Name == row.Tank })
	plant, to := &tanks[at], d.To
	if to == 0 {
		to = file.Settings.Tanks[at].EC.Value
	}
	told := dilutionTold{From: d.From, To: to, Water: float64(plant.TopUp.EC), Tank: float64(plant.Volume), Room: max(float64(plant.MaxVolume-plant.Volume), 0)}
	switch {
	case !(d.From > 0 && d.From <= 20):
		return Misuse("say with -from-ec what EC the tank has, in mS/cm")
	case !(to < d.From):
		return Misuse("EC %g is not above %g mS/cm: there is nothing to dilute", d.From, to)
	case !(told.Water < to):
		return fmt.Errorf("the source water has %g mS/cm: it cannot bring EC to %g; use weaker water", told.Water, to)
	}
	told.Added = told.Tank * (d.From - to) / (to - told.Water)
	told.Dumped = told.Tank * (d.From - to) / (d.From - told.Water)
	if d.JSON {
		return WriteJSON(stdout, told)
	}
	fmt.Fprintf(stdout, "%s, %.0f L: EC from %.2f to %.2f mS/cm with source water of %.2f mS/cm\n", plant.Name, told.Tank, d.From, to, told.Water)
	if told.Added <= told.Room {
		fmt.Fprintf(stdout, "Add %.0f L of water; there is room for %.0f L. Nothing has to be dumped.\n", told.Added, told.Room)
	} else {
		fmt.Fprintf(stdout, "Dump %.0f L and fill in as much water: without dumping it would take %.0f L, and there is room for %.0f L.\n", told.Dumped, told.Added, told.Room)
		fmt.Fprintf(stdout, "What remains then, and what it still needs: leat plan dump -config %s -tank %s -litres %.0f\n", d.Config, plant.Name, told.Dumped)
	}
	_, err = fmt.Fprintln(stdout, "Pause the tank meanwhile (leat mode pause), and say afterwards which water came in (leat mode confirm-water). Where it may be dumped to is a matter of local code.")
	return err
}
