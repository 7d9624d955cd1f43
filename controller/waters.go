package controller

import (
	"time"

	"leat/dosing"
)

// UsualExchange is the time in which a zone of this kind exchanges its water with the tank
// once, where nobody has stated it; 0 of a zone that fills and drains. Common practice,
// from memory: a pond's pump moves its water in half an hour to four, a channel of some
// metres keeps its film for a minute or three.
func (k ZoneKind) UsualExchange() time.Duration {
	switch k {
	case ZoneFilm:
		return 2 * time.Minute
	case ZoneRaft:
		return 90 * time.Minute
	}
	return 0
}

// SlowWater is the share of a tank's volume in zones that exchange their water in more than
// this time, and the time in which that water is exchanged once.
func SlowWater(volume dosing.Litres, longer time.Duration, zones []Zone) (share float64, exchange time.Duration) {
	litres, perSecond := 0.0, 0.0
	for i := range zones {
		if z := &zones[i]; z.Exchange > longer {
			litres += float64(z.Litres)
			perSecond += float64(z.Litres) / z.Exchange.Seconds()
		}
	}
	if !(litres > 0) || !(volume > 0) {
		return 0, 0
	}
	return litres / float64(volume), time.Duration(litres / perSecond * float64(time.Second)).Round(time.Second)
}
