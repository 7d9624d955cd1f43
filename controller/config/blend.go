package config

import (
	"fmt"

	"leat/dosing"
	"leat/dosing/blend"
	"leat/dosing/ratio"
)

// Row is what a tank is blended from, as configured.
type Row struct {
	Tank   string
	Litres float64
	PH, EC float64 // setpoints
	Stocks []blend.Stock
	// Unknown names the pumps whose contents the file does not state; they cannot
	// be blended.
	Unknown []string
	// Ratio is the tank's recipe with its source water; nil where it has none.
	Ratio *ratio.Plan
}

// Row finds a tank's row of stocks with acid and base; "" takes the only tank.
func (f *File) Row(tank string) (Row, error) {
	tanks := f.Settings.Safety.Tanks
	id := -1
	var names []string
	for i := range tanks {
		names = append(names, tanks[i].Name)
		if tanks[i].Name == tank || tank == "" && len(tanks) == 1 {
			id = i
		}
	}
	if id < 0 && tank == "" {
		return Row{}, fmt.Errorf("%s has more than one tank: name one with -tank: %s", f.Name, listed(names))
	}
	if id < 0 {
		return Row{}, fmt.Errorf("there is no tank %q in %s; tanks are %s: name one with -tank", tank, f.Name, listed(names))
	}
	row := Row{Tank: tanks[id].Name, Litres: float64(tanks[id].Volume), PH: f.Settings.Tanks[id].PH.Value, EC: f.Settings.Tanks[id].EC.Value,
		Ratio: f.Settings.Tanks[id].Ratio}
	for i := range f.Settings.Safety.Pumps {
		p, l := &f.Settings.Safety.Pumps[i], &f.liquids[i]
		if !p.ServesTank(dosing.TankID(id)) {
			continue
		}
		if !l.known {
			row.Unknown = append(row.Unknown, p.Name)
			continue
		}
		s := stockOf(p, l)
		s.Share = p.Share
		row.Stocks = append(row.Stocks, s)
	}
	return row, nil
}

// stockOf is a pump's liquid as the blend counts it.
func stockOf(p *dosing.Pump, l *liquid) blend.Stock {
	s := blend.MadeStock(p.Name, l.made)
	if p.Role != dosing.RoleStock {
		s = blend.Stock{Name: p.Name, Content: blend.ContentOf(l.ions), Molar: l.molar}
	}
	s.Role, s.Group, s.Smallest = p.Role, p.Group, p.MinDose.Millilitres()
	return s
}
