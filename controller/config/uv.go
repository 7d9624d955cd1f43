package config

import (
	"leat/dosing"
	"leat/safety/line"
)

// UVReport is what a lamp may treat.
type UVReport struct {
	Dose    float64 `json:"dose_mj_per_cm2"`
	Does    string  `json:"published,omitempty"` // what that dose did
	Clear   float64 `json:"transmittance"`       // of 1 cm, taken where it is not measured
	MaxFlow float64 `json:"max_l_per_min"`       // at which a new lamp gives it
}

func (f *File) uvReport(id dosing.TankID) *UVReport {
	l := &f.Settings.Tanks[id].Line.Lamp
	if l.Chamber <= 0 {
		return nil
	}
	return &UVReport{Dose: l.Dose, Does: line.Did(l.Dose), Clear: l.Transmittance, MaxFlow: line.Dose(l.New, l.Chamber, l.Layer, l.Transmittance, 1) / l.Dose}
}

// uv prints it.
func (p *printer) uv(u *UVReport) {
	if u == nil {
		return
	}
	did := ""
	if u.Does != "" {
		did = " (published: " + u.Does + ")"
	}
	p.line("  UV: %s mJ/cm² asked for%s; a new lamp gives it up to %s L/min where %s %% pass 1 cm of the water, at best", figure(u.Dose), did, figure(u.MaxFlow), figure(100*u.Clear))
}
