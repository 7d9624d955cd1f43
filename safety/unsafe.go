package safety

import (
	"fmt"

	"leat/dosing"
)

// mandatory inputs cannot be waived.
var mandatory = [...]dosing.Quantity{dosing.QuantityPH, dosing.QuantityEC, dosing.QuantityTemperature, dosing.QuantityLevel, dosing.QuantityCirculation}

// stated inputs are fitted or waived with a reason; silence on them is no answer.
var stated = [...]dosing.Quantity{dosing.QuantityLeak, dosing.QuantityStop}

// unsafeTank says why a tank's settings are not safe to dose with, or nothing.
// The configuration was checked before it came here; the gate trusts no one.
func (s *Settings) unsafeTank(id dosing.TankID, curve dosing.Titration, inputs *[dosing.QuantityCount][]dosing.InputID, waived *[dosing.QuantityCount]bool) string {
	t := &s.Tanks[id]
	for _, q := range mandatory {
		if len(inputs[q]) == 0 {
			return fmt.Sprintf("no %s input: it cannot be waived", q)
		}
	}
	for _, q := range stated {
		if len(inputs[q]) == 0 && !waived[q] {
			return fmt.Sprintf("no %s input is given and none is waived", q)
		}
	}
	switch {
	case !(t.Volume > 0 && t.Volume < 1e6):
		return "no volume"
	case !(t.MinVolume > 0 && t.MinVolume <= t.Volume):
		return "the least volume for dosing is not between nothing and the volume"
	case !(t.MaxVolume >= t.MinVolume && t.MaxVolume < 1e6):
		return "the greatest volume is below the least"
	case !(t.Slow >= 0 && float64(t.Slow*float64(t.Volume)) < float64(t.MinVolume)) || t.Slow > 0 && t.Exchange <= 0:
		return "the slow water is not part of the least volume, or has no exchange time"
	case !(t.Later >= 0 && t.Later+t.Slow < 1):
		return "all of the water answers late"
	case !(t.DeadTime > 0) || t.TimeConstant < 0 || t.MixingTime() <= 0:
		return "no dead time or a negative mixing lag"
	case !(t.BufferScale > 0 && t.BufferScale < 100):
		return "the commissioned buffer scale is no positive number"
	case !(t.BufferSpread >= 0):
		return "the spread of the buffer capacity is no number"
	case !(t.TopUp.Alkalinity >= 0 && t.TopUp.Alkalinity < 100):
		return "the top-up's alkalinity is no number"
	case !(t.MinTemperature < t.MaxTemperature):
		return "the temperature limits are not in order"
	case curve == nil:
		return "no titration curve"
	}
	if buffer := curve.Buffer(6); !(buffer > 0 && buffer < 1e6) {
		return "the titration curve has no buffer capacity"
	}
	return ""
}

// unsafePump says why a pump's settings are not safe to dose with, or nothing.
func (s *Settings) unsafePump(id dosing.PumpID) string {
	p := &s.Pumps[id]
	if int(id) >= len(s.Caps) {
		return "no caps"
	}
	if int(id) >= len(s.PumpNode) || int(s.PumpNode[id]) >= len(s.Nodes) {
		return "no node"
	}
	c := s.Caps[id]
	switch {
	case p.Role != dosing.RoleAcid && p.Role != dosing.RoleBase && p.Role != dosing.RoleStock && p.Role != dosing.RoleWater:
		return "neither acid, base, stock nor water"
	case p.Group >= dosing.GroupCount:
		return "no group"
	case p.PerSecond <= 0 || p.MinDose <= 0:
		return "no rate or no smallest dose"
	case c.PerDose < p.MinDose || c.PerHour < p.MinDose || c.PerDay < p.MinDose || c.OnTime <= 0:
		return "a cap is below one smallest dose"
	case !(p.AcidPerML > -1e6 && p.AcidPerML < 1e6) || !(p.ECPerML >= 0 && p.ECPerML < 1e6):
		return "strength or conductivity is no number"
	case p.Role == dosing.RoleAcid && !(p.AcidPerML > 0):
		return "an acid that is none"
	case p.Role == dosing.RoleBase && !(p.AcidPerML < 0):
		return "a base that is none"
	case p.Role == dosing.RoleStock && !(p.ECPerML > 0):
		return "a stock without conductivity"
	case p.Role == dosing.RoleWater:
		return s.unsafeValve(p, c)
	}
	return ""
}

// unsafeValve says why a valve must not let water in, or nothing. What its water does to pH and EC
// is counted as it shows at the level, by what is known of the source; counted with the order as
// well it would count twice.
func (s *Settings) unsafeValve(p *dosing.Pump, c Caps) string {
	served := 0
	for i := range s.Tanks {
		if !p.ServesTank(dosing.TankID(i)) {
			continue
		}
		served++
		t, b := &s.Tanks[i], &s.Tanks[i].TopUpBand
		if !(b.Low > 0 && b.Low < b.High && b.High < t.MaxVolume && b.High < b.Overflow && b.Overflow < 1e6) {
			return "the levels between which it keeps the tank are not below the greatest volume and the overflow"
		}
		if room := float64(b.Overflow - b.High); !(c.PerDose.Litres() <= room) {
			return "one pulse does not fit below the overflow"
		}
	}
	switch {
	case served != 1:
		return "a valve for other than one tank"
	case p.AcidPerML != 0 || p.ECPerML != 0:
		return "water whose strength is counted with the order"
	}
	return ""
}
