package controller

// UsualTankExchange is the gas exchange of a tank for which nobody has measured it, per
// hour: the middle of 0.2 to 0.6, which is common practice (from memory, no paper) for a
// covered tank that a return pipe stirs. Still water alone would give a tenth of it: CO2
// crosses a calm surface at 0.35 to 0.74 m a day (Cole et al., Limnol. Oceanogr. Methods
// 8 (2010) 285, small lakes under little wind), 1.5 to 3 cm an hour, and the rate is that
// divided by the depth.
const UsualTankExchange = 0.35

// UsualGasExchange is the gas exchange of a zone of this kind, per hour, where nobody has
// measured it. Of a pond without air, 25 cm deep, the velocity above makes 0.1 instead.
func (k ZoneKind) UsualGasExchange() float64 {
	switch k {
	case ZoneFlood:
		return 0.6 // 4 cm of standing water, by the velocity above: 0.4 to 0.8
	case ZoneFilm:
		return 2.2 // the middle of 1 to 5: a centimetre or two of water on the move, by the same velocity
	case ZoneRaft:
		return 2.2 // the middle of 1 to 5, common practice (from memory) for a pond with air stones
	}
	return 0
}
