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
	case p.Role != dosing.RoleAcid && p.Role != dosing.RoleBase && p.Role != dosing.RoleStock:
		return "neither acid, base nor stock"
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
	}
	return ""
}
