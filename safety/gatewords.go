package safety

import (
	"fmt"
	"math"

	"leat/dosing"
)

// words puts in figures why no volume is allowed.
func (s *sight) words(cause Cause) string {
	switch {
	case s.watch == nil && cause == CauseConfigurationUnsafe:
		return "no such tank or pump, or the pump does not serve the tank"
	case s.watch == nil:
		return "the gate has no watch"
	case cause == s.trip.Cause:
		return s.trip.Detail
	case s.pump.Role == dosing.RoleWater && s.pulseWords(cause) != "":
		return s.pulseWords(cause)
	case cause == CauseNodeBusy:
		return "its last heartbeat says that it is busy"
	case cause == CauseDoseOpen && len(s.watch.open) > 0:
		d := s.watch.open[0]
		return fmt.Sprintf("%s of %s is under way", d.Volume, s.watch.settings.Pumps[d.Pump].Name)
	case cause == CauseDoseOpen:
		return "this dose was not counted before it was judged again"
	case cause == CauseAwayFromSetpoint:
		return s.directionWords()
	case cause == CauseAcidBaseChangeover:
		if s.wait <= 0 {
			return "the opposite reagent is still on its way, or the error is within 0.05 pH"
		}
		return "the opposite reagent was dosed; " + words(s.wait) + " to go"
	case cause == CauseIncompatibleWait || cause == CauseAnswerWait:
		return words(s.wait) + " to go"
	}
	return ""
}

func (s *sight) directionWords() string {
	target := s.tank.target
	switch {
	case !s.tank.aimed:
		return "no setpoint"
	case s.pump.Role == dosing.RoleStock && s.sours():
		return fmt.Sprintf("pH will settle at %.2f, and this stock would lead it further from %.2f", s.pH, float64(target.PH))
	case s.pump.Role == dosing.RoleStock:
		return fmt.Sprintf("EC will settle at %.2f mS/cm; wanted %.2f", s.ec, float64(target.EC))
	}
	return fmt.Sprintf("pH will settle at %.2f; wanted %.2f", s.pH, float64(target.PH))
}

// tooMuch puts in figures which limit the volume exceeds.
func (s *sight) tooMuch(l limit) string {
	most := max(l.most, 0)
	ml := s.plan.Volume.Millilitres()
	pH := math.Abs(float64(ml*s.pump.AcidPerML)) / (s.volume * s.floor)
	ec := float64(ml*s.pump.ECPerML) / s.volume
	switch l.cause {
	case CauseEffectCap:
		return fmt.Sprintf("%s would move pH by %.2f or EC by %.2f mS/cm; at most %s", s.plan.Volume, pH, ec, most)
	case CauseInTransitCap:
		return fmt.Sprintf("on its way: acid %.2f and base %.2f pH, EC %.2f mS/cm; at most %s more",
			s.transit.acid/s.floor, s.transit.base/s.floor, s.transit.ec, most)
	case CauseUnconfirmed:
		return fmt.Sprintf("%s; at most %s more", s.watch.UnseenWords(s.tank.id, s.pump.Role), most)
	case CauseHourlyCap:
		return fmt.Sprintf("%s in the last hour; at most %s more", s.hour, most)
	case CauseDailyCap:
		return fmt.Sprintf("%s in the last 24 h; at most %s more", s.day, most)
	case CauseContainerCap:
		return fmt.Sprintf("the container holds %s", most)
	}
	return fmt.Sprintf("%s; at most %s", s.plan.Volume, most)
}
